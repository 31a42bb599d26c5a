import { createHash, randomBytes, randomUUID } from "node:crypto";
import { hash, verify } from "@node-rs/argon2";
import { after, days, type Instant, instant, minutes } from "../domain/instant.ts";
import type { AtomicStores, Ports, SessionRow } from "../ports.ts";
import { texts } from "../text/index.ts";
import { firstYard } from "./firstYard.ts";
import { type PassphraseProblem, passphraseProblem } from "./passphrase.ts";
import { isInvited, type JoinResult, joinYard, yardJoinedBy } from "./people.ts";

/** Who may sign in: the first keeper by a one-time link, later by name and passphrase. Sessions can be ended at any time. */

export type SignInResult =
  | { readonly kind: "signedIn"; readonly token: string; readonly keeper: { readonly name: string } }
  | { readonly kind: "refused"; readonly reason: string }
  | PassphraseProblem;

const newSecret = () => randomBytes(32).toString("base64url");
const tokenHash = (token: string) => createHash("sha256").update(token).digest("hex");

/** A browser signs in again after this time without use, and in any case after `sessionMax`. Our choice (ASVS 5.0, 7.3). */
const sessionIdleMax = days(30);
const sessionMax = days(180);
/** Storing the last use on each request would make every read a write. */
const touchEvery = minutes(10);

/** @returns the token for the first sign-in link; null where a keeper exists already. An older link stops working. */
export async function openFirstSignIn(ports: Ports): Promise<string | null> {
  if ((await ports.store.keepers.countKeepers()) > 0) return null;
  const token = newSecret();
  await ports.store.keepers.openFirstSignIn(tokenHash(token), ports.clock.now());
  return token;
}

/** The first keeper names themselves, chooses a passphrase and gets a yard in their own time zone. */
export async function useFirstSignIn(
  ports: Ports,
  request: { token: string; name: string; passphrase: string; zone: string },
  device = "",
): Promise<SignInResult> {
  const now = ports.clock.now();
  const isOpen = await ports.store.keepers.isFirstSignInOpen(tokenHash(request.token));
  if (!isOpen) return (await repeatedFirstSignIn(ports, request, device)) ?? linkRefused;
  const problem = await passphraseProblem(ports.guessEstimator, request.passphrase, request.name);
  if (problem !== null) return problem;
  const keeper = { id: randomUUID(), name: request.name, passphraseHash: await hash(request.passphrase) };
  const token = await ports.store.withStores(async ({ keepers, yards }) => {
    if (!(await keepers.useFirstSignIn(tokenHash(request.token), keeper, now))) return null;
    await yards.addYard(firstYard(request.zone), keeper.id, now);
    return openSession(keepers, keeper.id, now, device);
  });
  if (token !== null) return { kind: "signedIn", token, keeper: { name: keeper.name } };
  return (await repeatedFirstSignIn(ports, request, device)) ?? linkRefused;
}

/** A client that missed the answer repeats the request: its person is the keeper already. Null in any other case. */
async function repeatedFirstSignIn(
  ports: Ports,
  request: { readonly token: string; readonly name: string; readonly passphrase: string },
  device: string,
): Promise<SignInResult | null> {
  if (!(await ports.store.keepers.isUsedFirstSignIn(tokenHash(request.token)))) return null;
  const known = await signIn(ports, request, device);
  return known.kind === "signedIn" ? known : null;
}

const linkRefused = {
  kind: "refused",
  reason: texts.signIn.linkUsed,
} as const;

export type JoinWithResult =
  | (Extract<JoinResult, { kind: "joined" }> & {
      readonly token: string | null;
      readonly keeper: { readonly name: string };
    })
  | { readonly kind: "refused"; readonly reason: string }
  | { readonly kind: "wrong"; readonly field: "name" | "passphrase"; readonly problem: string };

export interface JoinRequest {
  readonly token: string;
  readonly name?: string | undefined;
  readonly passphrase?: string | undefined;
}

/**
 * Joins a yard by an invite. Who is signed in needs only the token; who isn't gives a name and a passphrase, and gets an
 * account with them.
 * @param session of the browser; null where nobody is signed in
 */
export async function joinWith(
  ports: Ports,
  request: JoinRequest,
  session: SessionRow | null,
  device = "",
): Promise<JoinWithResult> {
  if (!(await isInvited(ports, request.token))) {
    return (await repeatedJoin(ports, request, session, device)) ?? notInvited;
  }
  if (session === null || request.name !== undefined) return joinAsNewPerson(ports, request, device);
  const joined = await joinYard(ports, request.token, session.keeper.id, null);
  return joined.kind === "joined" ? { ...joined, token: null, keeper: { name: session.keeper.name } } : notInvited;
}

async function joinAsNewPerson(
  ports: Ports,
  { token, name, passphrase }: JoinRequest,
  device: string,
): Promise<JoinWithResult> {
  if (name === undefined) return { kind: "wrong", field: "name", problem: texts.signIn.enterName };
  if (passphrase === undefined) return { kind: "wrong", field: "passphrase", problem: texts.signIn.enterPassphrase };
  // The passphrase of a known name is not tried here: an unused invite must not be a second place to guess one.
  if ((await ports.store.keepers.keeperNamed(name)) !== null) return nameTaken;
  const problem = await passphraseProblem(ports.guessEstimator, passphrase, name);
  if (problem !== null) return problem;
  const newPerson = { name, passphraseHash: await hash(passphrase) };
  let sessionToken = "";
  const joined = await joinYard(ports, token, null, newPerson, async ({ keepers }, person, now) => {
    sessionToken = await openSession(keepers, person, now, device);
  });
  if (joined.kind === "nameTaken") return nameTaken;
  if (joined.kind !== "joined") return notInvited;
  return { ...joined, token: sessionToken, keeper: { name } };
}

/** A client that missed the answer repeats the request: the invite is used then, and its person is a member. Null in any other case. */
async function repeatedJoin(
  ports: Ports,
  { token, name, passphrase }: JoinRequest,
  session: SessionRow | null,
  device: string,
): Promise<JoinWithResult | null> {
  const yard = await yardJoinedBy(ports, token);
  if (yard === null) return null;
  const isMember = async (person: string) => (await ports.store.people.roleAt(person, { yard: yard.id })) !== null;
  if (session !== null && name === undefined) {
    const { id, name } = session.keeper;
    return (await isMember(id)) ? { kind: "joined", person: id, yard, token: null, keeper: { name } } : null;
  }
  if (name === undefined || passphrase === undefined) return null;
  const known = await ports.store.keepers.keeperNamed(name);
  if (known === null || !(await isMember(known.id)) || !(await verify(known.passphraseHash, passphrase))) return null;
  const opened = await openSession(ports.store.keepers, known.id, ports.clock.now(), device);
  return { kind: "joined", person: known.id, yard, token: opened, keeper: { name: known.name } };
}

const nameTaken = {
  kind: "wrong",
  field: "name",
  problem: texts.signIn.nameTaken,
} as const;

const notInvited = {
  kind: "refused",
  reason: texts.signIn.notInvited,
} as const;

/** Hashed once at start, so that an unknown name takes as long to refuse as a wrong passphrase. */
const dummyHash = hash(newSecret());

export async function signIn(
  ports: Ports,
  request: { name: string; passphrase: string },
  device = "",
): Promise<SignInResult> {
  const keeper = await ports.store.keepers.keeperNamed(request.name);
  const right = await verify(keeper?.passphraseHash ?? (await dummyHash), request.passphrase);
  if (!keeper || !right) return { kind: "refused", reason: texts.signIn.wrongNameOrPassphrase };
  const token = await openSession(ports.store.keepers, keeper.id, ports.clock.now(), device);
  return { kind: "signedIn", token, keeper: { name: keeper.name } };
}

/** @param device the kind of browser as text; empty where it isn't known. @returns the token for its cookie */
export async function openSession(
  keepers: AtomicStores["keepers"],
  keeper: string,
  now: Instant,
  device = "",
): Promise<string> {
  const token = newSecret();
  const session = { tokenHash: tokenHash(token), keeper, device, expiresAt: sessionEnd(now, now) };
  await keepers.addSession(session, now);
  return token;
}

const sessionEnd = (createdAt: Instant, lastSeenAt: Instant): Instant =>
  instant(Math.min(after(lastSeenAt, sessionIdleMax), after(createdAt, sessionMax)));

/** The session with this token hash while it is valid, or null. Reading it doesn't extend it. */
export async function validSession({ clock, store }: Ports, hash: string): Promise<SessionRow | null> {
  const session = await store.keepers.session(hash);
  return session !== null && session.expiresAt > clock.now() ? session : null;
}

/** The session of a cookie, or null. Use extends it. */
export async function sessionOf(ports: Ports, token: string): Promise<SessionRow | null> {
  const session = await validSession(ports, tokenHash(token));
  const now = ports.clock.now();
  if (!session) return null;
  if (after(session.lastSeenAt, touchEvery) <= now) {
    await ports.store.keepers.touchSession(session.tokenHash, now, sessionEnd(session.createdAt, now));
  }
  return session;
}

export async function signOut({ store, liveFeed }: Ports, token: string): Promise<void> {
  const session = tokenHash(token);
  await store.keepers.removeSession(session);
  liveFeed.closeSocketsOf({ session });
}
