import type { Instant } from "../domain/instant.ts";
import type { ExportKeyStore } from "./exportKeys.ts";

/** Data of a person, not of a yard: passphrase, sessions, and the end of the account. */

export interface SessionDetails {
  readonly tokenHash: string;
  readonly device: string; // empty where it isn't known
  readonly createdAt: Instant;
  readonly lastSeenAt: Instant;
  readonly expiresAt: Instant;
}

export interface NamedPerson {
  readonly id: string;
  readonly name: string;
}

/** A yard that would have no keeper without this person. */
export interface SoleKeeperYard {
  readonly id: string;
  readonly name: string;
  readonly practice: boolean;
  readonly feeders: number;
  readonly otherPeople: number;
}

/** What was removed together: ids of feeders, whose keys are not valid any more, and of people who have no account any more. */
export interface RemovalResult {
  readonly feeders: readonly string[];
  readonly people: readonly string[];
}

export interface AccountStore extends ExportKeyStore {
  /** Null where there is no such account. */
  passphraseHashOf(person: string): Promise<string | null>;
  names(): Promise<readonly string[]>;
  /**
   * Sets the new hash if the old one is still stored, ends all sessions but `keep`, and removes export keys and links for a new
   * passphrase.
   * @returns false where the old one is not stored any more: nothing was changed
   */
  changePassphrase(
    person: string,
    hashes: { readonly old: string; readonly new: string },
    keep: string, // token hash
  ): Promise<boolean>;
  /** Those that have not expired, the last used first. */
  sessionsOf(person: string, now: Instant): Promise<readonly SessionDetails[]>;
  endSessions(person: string, tokenHashes: readonly string[], exportKeys: "keep" | "remove"): Promise<void>;
  /** There is one open link for this person: an older one is no longer valid. The hash is hexadecimal SHA-256. */
  addReset(tokenHash: string, person: string, now: Instant, expiresAt: Instant): Promise<void>;
  /** The person whose passphrase the link sets; null where it isn't valid. */
  reset(tokenHash: string, now: Instant): Promise<NamedPerson | null>;
  /** Uses the link, sets the hash, ends all sessions and removes export keys, all or nothing. @returns false where the link isn't valid. */
  useReset(tokenHash: string, passphraseHash: string, now: Instant): Promise<boolean>;
  soleKeeperYards(person: string): Promise<readonly SoleKeeperYard[]>;
  /**
   * Removes the account with all its data, and these yards with all theirs. @returns null where the person is the only keeper of
   * another yard: nothing was changed
   */
  removeAccount(person: string, withYards: readonly string[], now: Instant): Promise<RemovalResult | null>;
}
