import type { Instant } from "../domain/instant.ts";

/** Keys with which a person's own program reads the export of the training record, and nothing else. */

export interface ExportKeyRow {
  readonly id: string;
  readonly person: string;
  readonly keyHash: string; // hexadecimal SHA-256; the key itself is not stored
  readonly name: string;
  readonly createdAt: Instant;
  readonly expiresAt: Instant;
  readonly lastUsedAt: Instant | null;
}

export interface FoundExportKey extends Pick<ExportKeyRow, "id" | "lastUsedAt"> {
  readonly person: { readonly id: string; readonly name: string };
}

export interface ExportKeyStore {
  /** Also those that have expired, until they are pruned; in the order in which they were made. */
  exportKeysOf(person: string): Promise<readonly ExportKeyRow[]>;
  /** @returns false where the person has so many already: nothing is stored */
  addExportKey(key: ExportKeyRow, most: number): Promise<boolean>;
  /** Null where there is none with this hash, or it has expired. */
  exportKeyWith(keyHash: string, now: Instant): Promise<FoundExportKey | null>;
  /** Of a key that was removed meanwhile nothing is stored. */
  touchExportKey(id: string, now: Instant): Promise<void>;
  /** @returns whether the person has such a key */
  removeExportKey(person: string, id: string): Promise<boolean>;
}
