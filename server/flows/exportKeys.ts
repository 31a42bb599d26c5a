import { randomBytes, randomUUID } from "node:crypto";
import type { ExportKeysView } from "../contract/api.ts";
import { after, days, isoOf, minutes } from "../domain/instant.ts";
import type { FoundExportKey, Ports } from "../ports.ts";
import { ownHash, type WrongField, wrongPassphrase } from "./accounts.ts";
import { hashOf } from "./feederKeys.ts";

/**
 * Keys with which a person's own program reads the export of the training record, and nothing else. As a feeder's key, each is 256 random
 * bits, of which only the SHA-256 is stored. What it may read is what its person may at that moment.
 */

type Stored = Pick<Ports, "store" | "clock">;

/** Of a person. Chosen, no source. */
const keysMax = 10;

export async function exportKeysView({ store }: Stored, person: string): Promise<ExportKeysView> {
  const found = await store.accounts.exportKeysOf(person);
  return {
    keys: found.map(({ id, name, createdAt, expiresAt, lastUsedAt }) => ({
      ...{ id, name, madeAt: isoOf(createdAt), expiresAt: isoOf(expiresAt) },
      lastUsedAt: lastUsedAt === null ? null : isoOf(lastUsedAt),
    })),
    most: keysMax,
  };
}

export type ExportKeyMade =
  | { readonly kind: "made"; readonly key: string }
  | { readonly kind: "tooMany"; readonly most: number }
  | WrongField;

/** Asks for the passphrase: the key goes on where the browser is closed. */
export async function makeExportKey(
  ports: Ports,
  person: string,
  request: { readonly name: string; readonly days: number; readonly passphrase: string },
): Promise<ExportKeyMade> {
  if ((await ownHash(ports, person, request.passphrase)) === null) return wrongPassphrase("passphrase");
  const now = ports.clock.now();
  const key = `pw_read_${randomBytes(32).toString("base64url")}`;
  const row = {
    ...{ id: randomUUID(), person, keyHash: hashOf(key), name: request.name, createdAt: now, lastUsedAt: null },
    expiresAt: after(now, days(request.days)),
  };
  const isAdded = await ports.store.accounts.addExportKey(row, keysMax);
  return isAdded ? { kind: "made", key } : { kind: "tooMany", most: keysMax };
}

/** A use within this time of the last one is not stored: a program may ask for a table after the other. */
const usedAgainAfter = minutes(1);

/** @returns null where there is no such key, or it has expired */
export async function useExportKey({ store, clock }: Stored, key: string): Promise<FoundExportKey | null> {
  const now = clock.now();
  const found = await store.accounts.exportKeyWith(hashOf(key), now);
  if (found === null) return null;
  if (found.lastUsedAt === null || after(found.lastUsedAt, usedAgainAfter) <= now)
    await store.accounts.touchExportKey(found.id, now);
  return found;
}
