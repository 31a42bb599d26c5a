import { createHash, randomBytes } from "node:crypto";
import { hash, verify } from "@node-rs/argon2";
import type { SessionsView } from "../contract/api.ts";
import { after, hours, isoOf } from "../domain/instant.ts";
import type { Ports, RemovalResult, SessionDetails, SessionRow, SoleKeeperYard } from "../ports.ts";
import { texts } from "../text/index.ts";
import { endConnections } from "./endConnections.ts";
import { tryDueEscalations } from "./escalations.ts";
import type { FeederKeys } from "./feederKeys.ts";
import { type PassphraseProblem, passphraseProblem } from "./passphrase.ts";
import { removePicturesOf } from "./pictures.ts";
import { idOf } from "./publicId.ts";
import { openSession, type SignInResult } from "./signIn.ts";

/** What a person does with their own account: passphrase, signed-in devices, and its end. */

export type WrongField = { readonly kind: "wrong"; readonly field: "old" | "passphrase"; readonly problem: string };

export type PassphraseChange = { readonly kind: "changed" } | WrongField | PassphraseProblem;

/** Ends all other sessions and all export keys of the person, and closes their live sockets. */
export async function changePassphrase(
  ports: Ports,
  session: SessionRow,
  request: { readonly old: string; readonly passphrase: string },
): Promise<PassphraseChange> {
  const person = session.keeper;
  const old = await ownHash(ports, person.id, request.old);
  if (old === null) return wrongPassphrase("old");
  const problem = await passphraseProblem(ports.guessEstimator, request.passphrase, person.name);
  if (problem !== null) return problem;
  const others = await otherSessions(ports, session);
  const hashes = { old, new: await hash(request.passphrase) };
  if (!(await ports.store.accounts.changePassphrase(person.id, hashes, session.tokenHash)))
    return wrongPassphrase("old");
  closeSockets(ports, others);
  return { kind: "changed" };
}

/** @returns the stored hash if the passphrase is right; null otherwise */
export async function ownHash({ store }: Ports, person: string, passphrase: string): Promise<string | null> {
  const own = await store.accounts.passphraseHashOf(person);
  return own !== null && (await verify(own, passphrase)) ? own : null;
}

export const wrongPassphrase = (field: WrongField["field"]): WrongField => ({
  kind: "wrong",
  field,
  problem: texts.signIn.wrongPassphrase,
});

// --- a link for a new passphrase, created on the server's command line -------------------------------------------------

/** Long enough to send it to a phone, short for a link that gives access to an account. Our choice. */
const resetHolds = hours(1);

export type ResetMade =
  | { readonly kind: "made"; readonly token: string; readonly name: string }
  | { readonly kind: "noSuchPerson"; readonly known: readonly string[] };

/** @returns the token, shown only once: only its hash is stored */
export async function makeReset({ clock, store }: Pick<Ports, "clock" | "store">, name: string): Promise<ResetMade> {
  const person = await store.keepers.keeperNamed(name);
  if (person === null) return { kind: "noSuchPerson", known: await store.accounts.names() };
  const now = clock.now();
  const token = randomBytes(32).toString("base64url");
  await store.accounts.addReset(hashOf(token), person.id, now, after(now, resetHolds));
  return { kind: "made", token, name: person.name };
}

/** Sets the passphrase, ends all sessions of that person, and signs this browser in. @param device the kind of browser as text */
export async function resetPassphrase(
  ports: Ports,
  request: { readonly token: string; readonly passphrase: string },
  device: string,
): Promise<SignInResult> {
  const token = hashOf(request.token);
  const person = await ports.store.accounts.reset(token, ports.clock.now());
  if (person === null) return noReset;
  const problem = await passphraseProblem(ports.guessEstimator, request.passphrase, person.name);
  if (problem !== null) return problem;
  const passphraseHash = await hash(request.passphrase);
  if (!(await ports.store.accounts.useReset(token, passphraseHash, ports.clock.now()))) return noReset;
  ports.liveFeed.closeSocketsOf({ person: person.id });
  return {
    kind: "signedIn",
    token: await openSession(ports.store.keepers, person.id, ports.clock.now(), device),
    keeper: { name: person.name },
  };
}

const noReset = {
  kind: "refused",
  reason: texts.signIn.noReset,
} as const;

// --- signed-in devices ---------------------------------------------------------------------------------------------------

export async function sessionsView({ clock, store }: Ports, session: SessionRow): Promise<SessionsView> {
  const found = await store.accounts.sessionsOf(session.keeper.id, clock.now());
  return {
    sessions: found.map(({ tokenHash, device, createdAt, lastSeenAt, expiresAt }) => ({
      id: idOf(tokenHash),
      here: tokenHash === session.tokenHash,
      device,
      signedInAt: isoOf(createdAt),
      lastUsedAt: isoOf(lastSeenAt),
      endsAt: isoOf(expiresAt),
    })),
  };
}

/** @param id null: all but the session of the request, and all export keys. @returns false where the person has no such session */
export async function endSessions(ports: Ports, session: SessionRow, id: string | null): Promise<boolean> {
  const all = await ports.store.accounts.sessionsOf(session.keeper.id, ports.clock.now());
  const ended = all.filter(({ tokenHash }) => (id === null ? tokenHash !== session.tokenHash : idOf(tokenHash) === id));
  if (id !== null && ended.length === 0) return false;
  const hashes = ended.map(({ tokenHash }) => tokenHash);
  await ports.store.accounts.endSessions(session.keeper.id, hashes, id === null ? "remove" : "keep");
  closeSockets(ports, ended);
  return true;
}

async function otherSessions({ clock, store }: Ports, { keeper, tokenHash }: SessionRow): Promise<SessionDetails[]> {
  const all = await store.accounts.sessionsOf(keeper.id, clock.now());
  return all.filter((each) => each.tokenHash !== tokenHash);
}

const closeSockets = ({ liveFeed }: Ports, sessions: readonly SessionDetails[]): void => {
  for (const { tokenHash } of sessions) liveFeed.closeSocketsOf({ session: tokenHash });
};

// --- the end of an account -----------------------------------------------------------------------------------------------

export type AccountRemoval =
  | { readonly kind: "removed" }
  | { readonly kind: "lastKeeper"; readonly why: string }
  | WrongField;

/** The person's actions stay in the logs of the feeders, with their name: the logs belong to the yard. */
export async function removeAccount(
  ports: Ports,
  keys: FeederKeys,
  person: string,
  request: { readonly passphrase: string; readonly withYards: boolean },
): Promise<AccountRemoval> {
  if ((await ownHash(ports, person, request.passphrase)) === null) return wrongPassphrase("passphrase");
  const { accounts, people } = ports.store;
  const alone = await accounts.soleKeeperYards(person);
  const real = alone.filter(({ practice }) => !practice); // nothing real is lost with a practice yard
  if (real.length > 0 && !request.withYards) return { kind: "lastKeeper", why: whyLastKeeper(real) };
  const yards = (await people.membershipsOf(person)).map(({ yard }) => yard);
  if (alone.length > real.length) await ports.practiceRunner.stop();
  const removed = await accounts.removeAccount(
    person,
    alone.map(({ id }) => id),
    ports.clock.now(),
  );
  if (removed === null) return { kind: "lastKeeper", why: texts.signIn.lastKeeperMeanwhile };
  keys.clearCache();
  await tellRemoval(ports, removed, yards);
  await removePicturesOf(
    ports.pictureFiles,
    alone.map(({ id }) => id),
  );
  return { kind: "removed" };
}

/**
 * After the commit: removed keys and sessions have no open connection any more, and all other browsers load anew what has
 * changed.
 */
export async function tellRemoval(ports: Ports, removed: RemovalResult, yards: readonly string[]): Promise<void> {
  for (const feeder of removed.feeders) endConnections(ports, feeder);
  for (const person of removed.people) ports.liveFeed.closeSocketsOf({ person });
  for (const yard of yards) ports.liveFeed.announceChange(yard, null, null);
  await tryDueEscalations(ports);
}

function whyLastKeeper(yards: readonly SoleKeeperYard[]): string {
  const feeders = yards.reduce((sum, yard) => sum + yard.feeders, 0);
  const others = yards.reduce((sum, yard) => sum + yard.otherPeople, 0);
  const names = yards.map(({ name }) => name).join(", ");
  return texts.signIn.lastKeeper({ names, count: yards.length, feeders, others });
}

const hashOf = (token: string): string => createHash("sha256").update(token).digest("hex");
