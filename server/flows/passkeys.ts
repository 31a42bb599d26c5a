import { randomUUID } from "node:crypto";
import { verify } from "@node-rs/argon2";
import { type NewCredential, type PasskeysView, passkeysMax, type UsedCredential } from "../contract/passkeys.ts";
import { after, type Instant, isoOf, minutes } from "../domain/instant.ts";
import type { Ports, SessionRow } from "../ports.ts";
import { challengeLife, type PasskeyChallenges, passkeyChallenges } from "./passkeyChallenges.ts";
import { loadPasskeyLibrary } from "./passkeyLibrary.ts";
import { algorithms, type PasskeyRefusal, proveNew, proveUse, refusalTexts } from "./passkeyProof.ts";
import type { RelyingParty } from "./relyingParty.ts";
import { openSession, type SignInResult } from "./signIn.ts";

/** Passkeys: signing in with one, adding and removing them, and confirming who a person is. */

/** State of the running server, in memory. */
export interface Passkeys {
  readonly challenges: PasskeyChallenges;
  /** Until when a session counts as confirmed, by the hash of its token. */
  readonly confirmed: Map<string, Instant>;
}
export const openPasskeys = (ports: Ports): Passkeys => ({
  challenges: passkeyChallenges(ports.clock),
  confirmed: new Map(),
});

/** How long a passphrase or passkey entered just now allows changes to how one signs in. Common practice, no source. */
const confirmationLife = minutes(5);

export interface RefusedPasskey {
  readonly kind: "refused";
  readonly why: PasskeyRefusal;
  readonly text: string;
  /** For the log: whose passkey it was, where that is known. */
  readonly person: string | null;
  readonly passkey: string | null;
}
const refusedFor = (why: PasskeyRefusal, known: { keeper: string; id: string } | null = null): RefusedPasskey => ({
  kind: "refused",
  why,
  text: refusalTexts[why],
  person: known?.keeper ?? null,
  passkey: known?.id ?? null,
});

// --- signing in ------------------------------------------------------------------------------------------------------

/** The request to the device. No name is needed: the device knows whose its passkeys are. */
export async function askToSignIn({ challenges }: Passkeys, party: RelyingParty, browser: string) {
  const { generateAuthenticationOptions } = await loadPasskeyLibrary();
  const options = await generateAuthenticationOptions({ rpID: party.id, ...asksForPerson });
  challenges.open(options.challenge, "signIn", browser);
  return options;
}
const asksForPerson = { userVerification: "required", timeout: challengeLife } as const;

export async function signInByPasskey(
  ports: Ports,
  { challenges }: Passkeys,
  party: RelyingParty,
  request: UsedCredential,
  { browser, device }: { readonly browser: string; readonly device: string },
): Promise<Extract<SignInResult, { kind: "signedIn" }> | RefusedPasskey> {
  const used = await usePasskey(
    ports,
    party,
    request,
    (challenge) => challenges.use(challenge, "signIn", browser),
    null,
  );
  if (used.kind === "refused") return used;
  const token = await openSession(ports.store.keepers, used.keeper, ports.clock.now(), device);
  return { kind: "signedIn", token, keeper: { name: used.name } };
}

/** @param of whose passkey it must be; null: anybody's */
async function usePasskey(
  ports: Ports,
  party: RelyingParty,
  request: UsedCredential,
  use: Parameters<typeof proveUse>[3],
  of: string | null,
): Promise<{ readonly kind: "used"; readonly keeper: string; readonly name: string } | RefusedPasskey> {
  const known = await ports.store.keepers.passkeyWith(request.id);
  const proof = await proveUse(request, known, party, use);
  if (proof.kind === "refused") return refusedFor(proof.why, known);
  if (known === null) return refusedFor("unknown");
  if (of !== null && known.keeper !== of) return refusedFor("otherPerson", known);
  const wentOn = await ports.store.keepers.usePasskey(known.id, proof.proved, ports.clock.now());
  if (!wentOn) return refusedFor("counter", known);
  return { kind: "used", keeper: known.keeper, name: known.name };
}

// --- confirming who it is --------------------------------------------------------------------------------------------

/** Whether this session's person has proved who they are within the last minutes: by signing in, or by confirming. */
export function isConfirmed(ports: Ports, { confirmed }: Passkeys, session: SessionRow): boolean {
  const now = ports.clock.now();
  return after(session.createdAt, confirmationLife) > now || (confirmed.get(session.tokenHash) ?? 0) > now;
}

function confirm(ports: Ports, { confirmed }: Passkeys, session: SessionRow): void {
  const now = ports.clock.now();
  for (const [other, until] of confirmed) if (until <= now) confirmed.delete(other);
  confirmed.set(session.tokenHash, after(now, confirmationLife));
}

/** @returns whether it is this person's passphrase; then the session counts as confirmed. */
export async function confirmByPassphrase(
  ports: Ports,
  passkeys: Passkeys,
  session: SessionRow,
  passphrase: string,
): Promise<boolean> {
  const keeper = await ports.store.keepers.keeperNamed(session.keeper.name);
  const right = keeper?.id === session.keeper.id && (await verify(keeper.passphraseHash, passphrase));
  if (right) confirm(ports, passkeys, session);
  return right;
}

/** @returns null where this person has no passkey */
export async function askToConfirm(ports: Ports, { challenges }: Passkeys, party: RelyingParty, session: SessionRow) {
  const own = await ports.store.keepers.passkeysOf(session.keeper.id);
  if (own.length === 0) return null;
  const { generateAuthenticationOptions } = await loadPasskeyLibrary();
  const options = await generateAuthenticationOptions({
    rpID: party.id,
    allowCredentials: own.map(descriptor),
    ...asksForPerson,
  });
  challenges.open(options.challenge, "confirm", session.tokenHash);
  return options;
}
const descriptor = (own: { credentialId: string; transports: readonly string[] }) => ({
  id: own.credentialId,
  transports: [...own.transports],
});

export async function confirmByPasskey(
  ports: Ports,
  passkeys: Passkeys,
  party: RelyingParty,
  session: SessionRow,
  request: UsedCredential,
): Promise<{ readonly kind: "confirmed" } | RefusedPasskey> {
  const use = (challenge: string) => passkeys.challenges.use(challenge, "confirm", session.tokenHash);
  const used = await usePasskey(ports, party, request, use, session.keeper.id);
  if (used.kind === "refused") return used;
  confirm(ports, passkeys, session);
  return { kind: "confirmed" };
}

// --- one's own passkeys ----------------------------------------------------------------------------------------------

export async function passkeysView(ports: Ports, party: RelyingParty | null, person: string): Promise<PasskeysView> {
  const rows = await ports.store.keepers.passkeysOf(person);
  return {
    passkeys: rows.map(({ id, label, synced, createdAt, lastUsedAt }) => {
      return {
        id,
        label,
        synced,
        addedAt: isoOf(createdAt),
        lastUsedAt: lastUsedAt === null ? null : isoOf(lastUsedAt),
      };
    }),
    origin: party?.origin ?? null,
    most: passkeysMax,
  };
}

/** @returns null where this person has as many as a person may have */
export async function askToAdd(ports: Ports, { challenges }: Passkeys, party: RelyingParty, session: SessionRow) {
  const own = await ports.store.keepers.passkeysOf(session.keeper.id);
  if (own.length >= passkeysMax) return null;
  const { generateRegistrationOptions } = await loadPasskeyLibrary();
  const options = await generateRegistrationOptions({
    rpName: "Pieward",
    rpID: party.id,
    userID: new TextEncoder().encode(session.keeper.id), // random, and no name: section 14.6.1
    userName: session.keeper.name,
    userDisplayName: session.keeper.name,
    attestationType: "none",
    excludeCredentials: own.map(descriptor),
    authenticatorSelection: { residentKey: "required", userVerification: "required" },
    supportedAlgorithmIDs: algorithms,
    timeout: challengeLife,
  });
  challenges.open(options.challenge, "add", session.tokenHash);
  return options;
}

export async function addPasskey(
  ports: Ports,
  { challenges }: Passkeys,
  party: RelyingParty,
  session: SessionRow,
  request: { readonly label: string; readonly credential: NewCredential },
): Promise<
  { readonly kind: "added"; readonly passkey: string } | { readonly kind: "known" | "tooMany" } | RefusedPasskey
> {
  const proof = await proveNew(request.credential, party, (challenge) =>
    challenges.use(challenge, "add", session.tokenHash),
  );
  if (proof.kind === "refused") return { ...refusedFor(proof.why), person: session.keeper.id };
  const id = randomUUID();
  const keeper = session.keeper.id;
  const row = { id, keeper, label: request.label, createdAt: ports.clock.now(), lastUsedAt: null, ...proof.proved };
  const added = await ports.store.keepers.addPasskey(row, passkeysMax);
  return added === "added" ? { kind: "added", passkey: id } : { kind: added };
}
