import { z } from "zod";

/** What the client sends about passkeys, and the answers. */

export const passkeysMax = 10; // a person

const label = z.string().trim().min(1, "must not be empty").max(60, "must be at most 60 characters");
const passphrase = z.string().max(200, "must be at most 200 characters");
const base64url = (most: number) =>
  z
    .string()
    .max(most, `must be at most ${most} characters`)
    .regex(/^[A-Za-z0-9_-]+$/, "must be base64url");

// WebAuthn level 3, section 5.1: credential ids have at most 1,023 octets; the rest has no limit there, and this one here.
const credentialId = base64url(1_364);
const part = base64url(16_384);
// The standard defines these fields and may add others, so fields that we don't use are left out, not refused.
const madeBy = { id: credentialId, rawId: credentialId, type: z.literal("public-key") };
/** RegistrationResponseJSON of WebAuthn level 3, section 5.1.8. */
const newCredential = z.object({
  ...madeBy,
  response: z.object({
    clientDataJSON: part,
    attestationObject: part,
    transports: z.array(z.string().max(20)).max(10).optional(),
  }),
});
/** AuthenticationResponseJSON of the same section. */
const usedCredential = z.object({
  ...madeBy,
  response: z.object({
    clientDataJSON: part,
    authenticatorData: part,
    signature: part,
    userHandle: base64url(100).nullish(),
  }),
});
export type NewCredential = z.infer<typeof newCredential>;
export type UsedCredential = z.infer<typeof usedCredential>;

export const passkeySignInRequest = z.strictObject({ credential: usedCredential });
export const passkeyOptionsRequest = z.strictObject({ passphrase: passphrase.optional() });
export const addPasskeyRequest = z.strictObject({ label, credential: newCredential });
export const renamePasskeyRequest = z.strictObject({ label });
/** One of the two: the passphrase, or a passkey of the same person. */
export const confirmRequest = z
  .strictObject({ passphrase: passphrase.optional(), credential: usedCredential.optional() })
  .superRefine(({ passphrase, credential }, context) => {
    if ((passphrase === undefined) === (credential !== undefined)) return;
    const message =
      passphrase === undefined ? "or credential is needed" : "and credential say the same: give one of them";
    context.addIssue({ code: "custom", path: ["passphrase"], message });
  });

export interface PasskeyView {
  readonly id: string;
  readonly label: string;
  /** Whether the device's maker keeps a copy of it for the person's other devices. */
  readonly synced: boolean;
  readonly addedAt: string;
  readonly lastUsedAt: string | null;
}
export interface PasskeysView {
  readonly passkeys: readonly PasskeyView[];
  /** The only address at which they work; null where this server has none that passkeys accept. */
  readonly origin: string | null;
  readonly most: number;
}
