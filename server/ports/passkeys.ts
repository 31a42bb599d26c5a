import type { Instant } from "../domain/instant.ts";

/** Public key credentials with which people sign in, as well as with their passphrase. */

export interface PasskeyRow {
  readonly id: string;
  readonly keeper: string;
  readonly credentialId: string; // base64url
  readonly publicKey: string; // COSE key, base64url
  readonly counter: number; // 0: the device doesn't count
  readonly transports: readonly string[];
  readonly label: string;
  readonly synced: boolean;
  readonly createdAt: Instant;
  readonly lastUsedAt: Instant | null;
}

/** `known`: a passkey with this credential id exists already. */
export type AddPasskeyResult = "added" | "known" | "tooMany";

export interface PasskeyStore {
  /** In the order in which they were added. */
  passkeysOf(keeper: string): Promise<readonly PasskeyRow[]>;
  /** With the name of its person. */
  passkeyWith(credentialId: string): Promise<(PasskeyRow & { readonly name: string }) | null>;
  addPasskey(passkey: PasskeyRow, most: number): Promise<AddPasskeyResult>;
  /**
   * Stores the device's counter. @returns false, with nothing changed, where the passkey was removed or its counter has not
   * increased; two uses at once can't both store the same counter.
   */
  usePasskey(id: string, counter: number, now: Instant): Promise<boolean>;
  /** @returns whether the person has such a passkey */
  renamePasskey(keeper: string, id: string, label: string): Promise<boolean>;
  removePasskey(keeper: string, id: string): Promise<boolean>;
}
