import type { Instant } from "../domain/instant.ts";
import type { RestoreAdvice, StoreDamage } from "../domain/storeDamage.ts";
import type { Subscription } from "./notification.ts";

/** What is known of the database as a whole, in memory: it must be known where the database can't be read. */
export interface StoreCondition {
  /** The gravest that was found since the start; null while nothing was. */
  damage(): StoreDamage | null;
  /** Remembers it, unless something as grave is known already. */
  recordDamage(damage: StoreDamage): void;
  /** How to get back what was stored, as of now. */
  restoreAdvice(): RestoreAdvice;
}

/** Who is notified of damage: the keepers of yards. */
export interface DamageRecipients {
  readonly phones: readonly (Subscription & { readonly id: string; readonly keeper: string; readonly label: string })[];
  readonly addresses: readonly string[];
}

/** Outlives the process, beside the database. */
export interface DamageFile {
  read(): StoredRecipients | null;
  /** @throws the file system's own error */
  write(kept: StoredRecipients): void;
}

export interface StoredRecipients extends DamageRecipients {
  /** When each endpoint or address was last notified, so that a server that is restarted again and again doesn't repeat it. */
  readonly notifiedAt: Readonly<Record<string, Instant>>;
}

/**
 * Reads the whole database file without holding up anything.
 * @returns problems in SQLite's words, at most five; none where the file is whole; null where it wasn't finished in that time
 */
export type StoreCheck = (milliseconds: number) => Promise<readonly string[] | null>;
