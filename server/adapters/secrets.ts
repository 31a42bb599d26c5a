import { randomBytes } from "node:crypto";
import { chmodSync, existsSync, mkdirSync, readFileSync, renameSync, statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import webPush from "web-push";
import { z } from "zod";

/**
 * The server's own keys, made at the first start and kept: with other VAPID keys every phone would have to be added anew, with
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

/** The key file can't be understood. It is never replaced, since phones depend on it. */
export class KeysProblem extends Error {
  override readonly name = "KeysProblem";
}

/** @throws KeysProblem; or the file system's own error where the folder can't be written. */
export function keepSecrets(dataDir: string): Secrets {
  mkdirSync(dataDir, { recursive: true, mode: 0o700 });
  const file = join(dataDir, "keys.json");
  if (!existsSync(file)) {
    const made: Secrets = { vapid: webPush.generateVAPIDKeys(), sessionKey: randomBytes(32).toString("base64url") };
    // Written beside and renamed, so that a power cut leaves no half of a key file.
    writeFileSync(`${file}.new`, `${JSON.stringify(made, null, 2)}\n`, { mode: 0o600, flush: true });
    renameSync(`${file}.new`, file);
    return made;
  }
  if ((statSync(file).mode & 0o077) !== 0) chmodSync(file, 0o600);
  const read = schema.safeParse(readJson(file));
  if (!read.success) {
    const where = read.error.issues.map((issue) => issue.path.join(".") || "the whole").join(", ");
    throw new KeysProblem(
      `${file} is damaged (${where}). Restore it from a backup; removing it makes every phone sign up anew.`,
    );
  }
  return read.data;
}

function readJson(file: string): unknown {
  try {
    return JSON.parse(readFileSync(file, "utf8"));
  } catch (error) {
    if (error instanceof SyntaxError) return null;
    throw error;
  }
}
