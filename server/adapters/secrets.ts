import { createECDH, randomBytes } from "node:crypto";
import { chmodSync, existsSync, readFileSync, renameSync, statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import webPush from "web-push";
import { z } from "zod";

/**
 * The server's own keys, made at the first start and stored: with other VAPID keys every phone would have to be added again, with
 * another session key every keeper would have to sign in again.
 */
export interface Secrets {
  readonly vapid: { readonly publicKey: string; readonly privateKey: string };
  readonly sessionKey: string;
}

const schema = z.object({
  vapid: z.object({ publicKey: z.string().length(87), privateKey: z.string().length(43) }),
  sessionKey: z.string().min(32),
});

/** The key file can't be read. It is never replaced, since phones depend on it. */
export class KeysProblem extends Error {
  override readonly name = "KeysProblem";
}

export const keysFile = (dataDir: string): string => join(dataDir, "keys.json");

/** @throws the file system's own error where the folder can't be written. */
export function makeSecrets(dataDir: string): Secrets {
  const file = keysFile(dataDir);
  const made: Secrets = { vapid: webPush.generateVAPIDKeys(), sessionKey: randomBytes(32).toString("base64url") };
  // Written beside and renamed, so that a power cut leaves no half of a key file.
  writeFileSync(`${file}.new`, `${JSON.stringify(made, null, 2)}\n`, { mode: 0o600, flush: true });
  renameSync(`${file}.new`, file);
  return made;
}

/** @returns null where there are none yet. @throws KeysProblem; or the file system's own error. */
export function readSecrets(dataDir: string): Secrets | null {
  const file = keysFile(dataDir);
  if (!existsSync(file)) return null;
  if ((statSync(file).mode & 0o077) !== 0) chmodSync(file, 0o600);
  const read = schema.safeParse(readJson(file));
  if (!read.success) {
    const where = read.error.issues.map((issue) => issue.path.join(".") || "the whole").join(", ");
    throw new KeysProblem(
      `${file} is damaged (${where}). Restore it from a backup; without it every phone has to be added again.`,
    );
  }
  if (!isKeyPair(read.data.vapid)) {
    throw new KeysProblem(
      `${file} is damaged (the two vapid keys don't belong together). Restore it from a backup; without it every phone has to be added again.`,
    );
  }
  return read.data;
}

function isKeyPair({ publicKey, privateKey }: Secrets["vapid"]): boolean {
  const pair = createECDH("prime256v1");
  try {
    pair.setPrivateKey(privateKey, "base64url");
  } catch {
    return false; // no key of this curve at all
  }
  return pair.getPublicKey("base64url") === publicKey;
}

function readJson(file: string): unknown {
  try {
    return JSON.parse(readFileSync(file, "utf8"));
  } catch (error) {
    if (error instanceof SyntaxError) return null;
    throw error;
  }
}
