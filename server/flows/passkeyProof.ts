import { createHash } from "node:crypto";
import type { NewCredential, UsedCredential } from "../contract/passkeys.ts";
import type { PasskeyRow } from "../ports.ts";
import { texts } from "../text/index.ts";
import type { ChallengeUse } from "./passkeyChallenges.ts";
import { loadPasskeyLibrary, type PasskeyLibrary } from "./passkeyLibrary.ts";
import type { RelyingParty } from "./relyingParty.ts";

/**
 * Whether a device's answer proves a passkey (WebAuthn level 3, sections 7.1 and 7.2). The library verifies; frequent causes of
 * refusal are checked before, so that each has its own text.
 */

export type PasskeyRefusal =
  | "unreadable"
  | "challengeUsed"
  | "challengeOfOther"
  | "origin"
  | "host"
  | "notVerified"
  | "attested"
  | "signature"
  | "unknown"
  | "otherPerson"
  | "counter";

export const refusalTexts: Readonly<Record<PasskeyRefusal, string>> = texts.signIn.passkey;

type Proof<Proved> =
  | { readonly kind: "proved"; readonly proved: Proved }
  | { readonly kind: "refused"; readonly why: PasskeyRefusal };
const refused = (why: PasskeyRefusal) => ({ kind: "refused", why }) as const;

/** COSE numbers of EdDSA, ES256 and RS256: each current device has one of them. */
export const algorithms = [-8, -7, -257];

export type UseChallenge = (challenge: string) => ChallengeUse;

type MadePasskey = Pick<PasskeyRow, "credentialId" | "publicKey" | "counter" | "transports" | "synced">;

/** For a new passkey. @param use invalidates the challenge, whatever the result */
export async function proveNew(
  request: NewCredential,
  party: RelyingParty,
  use: UseChallenge,
): Promise<Proof<MadePasskey>> {
  const { clientDataJSON, attestationObject, transports = [] } = request.response;
  const library = await loadPasskeyLibrary();
  const read = readAnswer(library, () => {
    const attestation = library.decodeAttestationObject(Buffer.from(attestationObject, "base64url"));
    const certified = attestation.get("attStmt").get("x5c") !== undefined;
    return { data: library.parseAuthenticatorData(attestation.get("authData")), clientDataJSON, certified };
  });
  if (read === null) return refused("unreadable");
  const wrong = wrongIn(read, "webauthn.create", party, use);
  if (wrong !== null) return refused(wrong);
  // Certificates are not used, and to check one the library may fetch the addresses in it.
  if (read.certified) return refused("attested");
  const response = { ...request, response: { clientDataJSON, attestationObject }, clientExtensionResults: {} };
  const verified = await tried(() =>
    library.verifyRegistrationResponse({
      response,
      expectedChallenge: read.client.challenge,
      expectedOrigin: party.origin,
      expectedRPID: party.id,
      supportedAlgorithmIDs: algorithms,
    }),
  );
  if (verified === null) return refused("unreadable");
  if (!verified.verified) return refused("signature");
  const { credential, credentialBackedUp } = verified.registrationInfo;
  return {
    kind: "proved",
    proved: {
      credentialId: credential.id,
      publicKey: Buffer.from(credential.publicKey).toString("base64url"),
      counter: credential.counter,
      transports,
      synced: credentialBackedUp,
    },
  };
}

/**
 * For a known passkey; `proved` has its present counter. The store decides, in the step that saves it, whether the counter has
 * increased.
 */
export async function proveUse(
  request: UsedCredential,
  known: Pick<PasskeyRow, "credentialId" | "publicKey" | "keeper"> | null,
  party: RelyingParty,
  use: UseChallenge,
): Promise<Proof<number>> {
  const { clientDataJSON, authenticatorData, signature, userHandle } = request.response;
  const library = await loadPasskeyLibrary();
  const read = readAnswer(library, () => {
    return { data: library.parseAuthenticatorData(Buffer.from(authenticatorData, "base64url")), clientDataJSON };
  });
  if (read === null) return refused("unreadable");
  const wrong = wrongIn(read, "webauthn.get", party, use);
  if (wrong !== null) return refused(wrong);
  if (known === null) return refused("unknown");
  if (userHandle && Buffer.from(userHandle, "base64url").toString() !== known.keeper) return refused("otherPerson");
  const verified = await tried(() =>
    library.verifyAuthenticationResponse({
      response: { ...request, response: { clientDataJSON, authenticatorData, signature }, clientExtensionResults: {} },
      expectedChallenge: read.client.challenge,
      expectedOrigin: party.origin,
      expectedRPID: party.id,
      // The library checks the counter before the signature. Here it is checked after it, or anybody could cause a false warning.
      credential: { id: known.credentialId, publicKey: Buffer.from(known.publicKey, "base64url"), counter: 0 },
    }),
  );
  if (verified === null) return refused("unreadable");
  return verified.verified ? { kind: "proved", proved: verified.authenticationInfo.newCounter } : refused("signature");
}

/** The browser's data about where the passkey was used, section 5.8.1. */
interface ClientData {
  readonly type: string;
  readonly challenge: string;
  readonly origin: string;
  readonly crossOrigin?: boolean;
}
interface Read {
  readonly client: ClientData;
  readonly data: ReturnType<PasskeyLibrary["parseAuthenticatorData"]>;
}

function readAnswer<Answer extends Pick<Read, "data"> & { readonly clientDataJSON: string }>(
  { decodeClientDataJSON }: PasskeyLibrary,
  read: () => Answer,
): (Answer & Read) | null {
  try {
    const answer = read();
    const client = decodeClientDataJSON(answer.clientDataJSON) as ClientData | null;
    return client !== null && typeof client.challenge === "string" ? { ...answer, client } : null;
  } catch {
    return null; // anybody may send anything; the caller reports it
  }
}

function wrongIn({ client, data }: Read, type: string, party: RelyingParty, use: UseChallenge): PasskeyRefusal | null {
  const challenge = use(client.challenge);
  if (challenge === "unknown") return "challengeUsed";
  if (challenge !== "fine" || client.type !== type) return "challengeOfOther";
  if (client.origin !== party.origin || client.crossOrigin === true) return "origin";
  if (!Buffer.from(data.rpIdHash).equals(createHash("sha256").update(party.id).digest())) return "host";
  return data.flags.up && data.flags.uv ? null : "notVerified";
}

/** The library throws for answers that no correct device gives. Its message may contain a challenge, so it is not shown. */
async function tried<Verified>(verify: () => Promise<Verified>): Promise<Verified | null> {
  try {
    return await verify();
  } catch {
    return null;
  }
}
