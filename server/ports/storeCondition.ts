import type { Instant } from "../domain/instant.ts";
import type { RestoreAdvice, StoreDamage } from "../domain/storeDamage.ts";
import type { Subscription } from "./notification.ts";

/** The condition of the whole database, in memory: it must be known where the database can't be read. */
export interface StoreCondition {
  /** The most serious damage that was found since the start; null while none was. */
  damage(): StoreDamage | null;
  /** Stores it, unless damage that is as serious is known already. */
  recordDamage(damage: StoreDamage): void;
  /** How to restore a backup, at present. */
  restoreAdvice(): RestoreAdvice;
}

/** Who is notified of damage: the keepers of yards. */
export interface DamageRecipients {
  readonly phones: readonly (Subscription & { readonly id: string; readonly keeper: string; readonly label: string })[];
  readonly addresses: readonly string[];
}

/** A file beside the database, for the next start. */
export interface DamageFile {
  read(): StoredRecipients | null;
  /** @throws the file system's own error */
  write(recipients: StoredRecipients): void;
}

export interface StoredRecipients extends DamageRecipients {
  /** When each endpoint or address was last notified, so that repeated restarts don't repeat it. */
  readonly notifiedAt: Readonly<Record<string, Instant>>;
}

/**
 * Checks the whole database file without delaying the server.
 * @returns SQLite's messages, at most five; none where the file is whole; null where the check wasn't finished in that time
 */
export type StoreCheck = (milliseconds: number) => Promise<readonly string[] | null>;
