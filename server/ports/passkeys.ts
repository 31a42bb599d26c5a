import type { Instant } from "../domain/instant.ts";

/** Public key credentials by which people sign in beside their passphrase. */

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

/** `known`: somebody has a passkey with this credential id already. */
export type AddPasskeyResult = "added" | "known" | "tooMany";

export interface PasskeyStore {
  /** In the order in which they were added. */
  passkeysOf(keeper: string): Promise<readonly PasskeyRow[]>;
  /** With the name of whose it is. */
  passkeyWith(credentialId: string): Promise<(PasskeyRow & { readonly name: string }) | null>;
  addPasskey(passkey: PasskeyRow, most: number): Promise<AddPasskeyResult>;
  /**
   * Keeps the counter that the device gave. @returns false, with nothing changed, where the passkey is gone or its counter
   * didn't go on; two uses at once can't both give the same counter.
   */
  usePasskey(id: string, counter: number, now: Instant): Promise<boolean>;
  /** @returns whether the person has such a passkey */
  renamePasskey(keeper: string, id: string, label: string): Promise<boolean>;
  removePasskey(keeper: string, id: string): Promise<boolean>;
}
