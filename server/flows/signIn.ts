import { createHash, randomBytes, randomUUID } from "node:crypto";
import { hash, verify } from "@node-rs/argon2";
import { after, days, type Instant, minutes } from "../domain/instant.ts";
import type { Ports, SessionRow } from "../ports.ts";
import { isInvited, type Joined, join } from "./people.ts";

/** Who may sign in: the first keeper by a one-time link, later by name and passphrase. Sessions can be ended at any time. */

export type SignedIn =
  | { readonly kind: "signedIn"; readonly token: string; readonly keeper: { readonly name: string } }
  | { readonly kind: "refused"; readonly why: string };

const secret = () => randomBytes(32).toString("base64url");
const tokenHash = (token: string) => createHash("sha256").update(token).digest("hex");

/** A browser that isn't used for this long has to sign in again: a winter's absence shouldn't lock a keeper out. */
const sessionLength = days(180);
/** Storing "seen" on each request would make every look a write. */
const touchEvery = minutes(60);

/** @returns the token for the claim link; null where a keeper exists already. An older link stops working. */
export async function openClaim(ports: Ports): Promise<string | null> {
  if ((await ports.store.keepers.countKeepers()) > 0) return null;
  const token = secret();
  await ports.store.keepers.openClaim(tokenHash(token), ports.clock.now());
  return token;
}

/** Minutes until the next person is told of what is urgent. Common practice, no source. */
export const usualEscalation = 15;

/** The first keeper names themselves, chooses a passphrase and gets a yard in their own time zone. */
export async function claim(
  ports: Ports,
  said: { token: string; name: string; passphrase: string; zone: string },
): Promise<SignedIn> {
  const now = ports.clock.now();
  const keeper = { id: randomUUID(), name: said.name, passphraseHash: await hash(said.passphrase) };
  if (!(await ports.store.keepers.useClaim(tokenHash(said.token), keeper, now))) {
    return { kind: "refused", why: "this link was used already or replaced by a newer one: see the server's output" };
  }
  const yard = {
    id: randomUUID(),
    name: "My yard",
    zone: said.zone,
    place: null,
    digestTime: "07:30",
    digestWanted: true,
    escalateMinutes: usualEscalation,
  };
  await ports.store.yards.addYard({ ...yard, practice: false }, keeper.id, now);
  return { kind: "signedIn", token: await openSession(ports, keeper.id, now), keeper: { name: keeper.name } };
}

export type JoinedAs =
  | (Extract<Joined, { kind: "joined" }> & {
      readonly token: string | null;
      readonly keeper: { readonly name: string };
    })
  | { readonly kind: "refused"; readonly why: string }
  | { readonly kind: "wrong"; readonly field: "name" | "passphrase"; readonly problem: string };

/**
 * Joins a yard by an invite. Who is signed in needs the token alone; who isn't gives a name and a passphrase, and gets an
 * account by it, or is known by them.
 * @param session whose browser it is; null: nobody's
 */
export async function joinWith(
  ports: Ports,
  said: { readonly token: string; readonly name?: string | undefined; readonly passphrase?: string | undefined },
  session: SessionRow | null,
): Promise<JoinedAs> {
  const { token, name, passphrase } = said;
  if (!(await isInvited(ports, token))) return notInvited;
  if (session !== null && name === undefined) {
    const joined = await join(ports, token, session.keeper.id, null);
    return joined.kind === "joined" ? { ...joined, token: null, keeper: { name: session.keeper.name } } : notInvited;
  }
  if (name === undefined) return { kind: "wrong", field: "name", problem: "must be said: you aren't signed in" };
  if (passphrase === undefined) return { kind: "wrong", field: "passphrase", problem: "must be said" };
  const known = await ports.store.keepers.keeperNamed(name);
  if (known !== null && !(await verify(known.passphraseHash, passphrase))) return nameTaken;
  const newcomer = known === null ? { name, passphraseHash: await hash(passphrase) } : null;
  const joined = await join(ports, token, known?.id ?? null, newcomer);
  if (joined.kind === "nameTaken") return nameTaken;
  if (joined.kind !== "joined") return notInvited;
  return { ...joined, token: await openSession(ports, joined.person, ports.clock.now()), keeper: { name } };
}

const nameTaken = {
  kind: "wrong",
  field: "name",
  problem: "is taken here: choose another, or give that one's passphrase if it is yours",
} as const;

const notInvited = {
  kind: "refused",
  why: "This invitation was used already, or its seven days are over. Ask for a new one.",
} as const;

/** Hashed once at start, so that an unknown name takes as long to refuse as a wrong passphrase. */
const nobody = hash(secret());

export async function signIn(ports: Ports, said: { name: string; passphrase: string }): Promise<SignedIn> {
  const keeper = await ports.store.keepers.keeperNamed(said.name);
  const right = await verify(keeper?.passphraseHash ?? (await nobody), said.passphrase);
  if (!keeper || !right) return { kind: "refused", why: "the name or the passphrase is wrong" };
  const token = await openSession(ports, keeper.id, ports.clock.now());
  return { kind: "signedIn", token, keeper: { name: keeper.name } };
}

export async function openSession(ports: Ports, keeper: string, now: Instant): Promise<string> {
  const token = secret();
  const session = { tokenHash: tokenHash(token), keeper, expiresAt: after(now, sessionLength) };
  await ports.store.keepers.addSession(session, now);
  return token;
}

/** The session behind a cookie, or null. One that is used lives on. */
export async function sessionOf(ports: Ports, token: string): Promise<SessionRow | null> {
  const session = await ports.store.keepers.session(tokenHash(token));
  const now = ports.clock.now();
  if (!session || session.expiresAt <= now) return null;
  if (after(session.lastSeenAt, touchEvery) <= now) {
    await ports.store.keepers.touchSession(session.tokenHash, now, after(now, sessionLength));
  }
  return session;
}

export const signOut = (ports: Ports, token: string): Promise<void> =>
  ports.store.keepers.removeSession(tokenHash(token));
