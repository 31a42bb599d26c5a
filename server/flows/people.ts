import { createHash, randomBytes, randomUUID } from "node:crypto";
import type { CallView, InviteView, MeView, OpenInviteView, PeopleView, PersonView, Role } from "../contract/api.ts";
import { after, days, hours, type Instant, isoOf } from "../domain/instant.ts";
import { letterOf } from "../domain/letters/noticeLetter.ts";
import { reachOfPerson } from "../domain/push/reach.ts";
import { isStanding } from "../domain/telling/advanceCall.ts";
import type { Call } from "../domain/telling/call.ts";
import { isLost } from "../domain/telling/reached.ts";
import type { AtomicStores, MailOutcome, MemberChange, MemberChanges, MemberRow, OpenInvite, Ports } from "../ports.ts";
import { tryDueCalls } from "./calls.ts";
import { idOf } from "./publicId.ts";
import { maybeIso } from "./views.ts";

/** Who belongs to a yard, how they come and go, and how each wants to be told. */

/** Who asks, and what they are at the yard. */
export interface Asking {
  readonly person: string;
  readonly role: Role;
}

export async function peopleView(ports: Ports, yard: string, asking: Asking): Promise<PeopleView> {
  const now = ports.clock.now();
  const members = await ports.store.people.membersOf(yard);
  const people: PersonView[] = [];
  for (const member of members) people.push(await personView(ports, member, asking.person, now));
  const invites = asking.role === "keeper" ? await ports.store.people.openInvites(yard, now) : [];
  return { yard, people, invites: invites.map(openInviteView) };
}

const openInviteView = ({ tokenHash, role, createdAt, expiresAt }: OpenInvite): OpenInviteView => ({
  id: idOf(tokenHash),
  role,
  madeAt: isoOf(createdAt),
  expiresAt: isoOf(expiresAt),
});

async function personView(ports: Ports, member: MemberRow, you: string, now: Instant): Promise<PersonView> {
  const { person, role, turn, quiet, urgentBreaks, digestBy } = member;
  const phones = await ports.store.keepers.phonesOf(person.id);
  return {
    id: person.id,
    name: person.name,
    you: person.id === you,
    role,
    turn,
    quiet,
    urgentBreaks,
    digestBy,
    phones: phones.filter(({ blockedAt }) => blockedAt === null).length,
    hasMail: person.mail !== null,
    reach: reachOfPerson(phones, person.mail !== null && ports.mail.ready, now),
  };
}

/** What people are being told of at this yard just now. */
export async function callViews({ store }: Ports, yard: string): Promise<CallView[]> {
  const calls = (await store.calls.ofYard(yard)).filter(isStanding);
  if (calls.length === 0) return [];
  const names = new Map((await store.people.membersOf(yard)).map(({ person }) => [person.id, person.name]));
  const speakers = new Map(calls.map((call) => [call.topic, call]));
  return calls
    .sort((one, other) => other.raisedAt - one.raisedAt)
    .map((call) => callView(call, speakers.get(call.spokenForBy ?? call.topic) ?? call, names));
}

/** @param speaker the call whose words people had, where it speaks for this one too */
function callView(call: Call, speaker: Call, names: ReadonlyMap<string, string>): CallView {
  const { feeder, fault, title, raisedAt, acknowledgedBy, unreachable } = call;
  const reached = speaker.told.filter((one) => !isLost(speaker, one));
  const told = reached.flatMap(({ person, lastAt, shownAt, mailedAt }) => {
    const name = names.get(person);
    const moments = { lastAt: isoOf(lastAt), shownAt: maybeIso(shownAt), mailedAt: maybeIso(mailedAt) };
    return name === undefined ? [] : [{ name, ...moments }];
  });
  return { feeder, fault, title, raisedAt: isoOf(raisedAt), told, acknowledgedBy, unreachable };
}

export type PersonChange =
  | { readonly kind: "changed" }
  | { readonly kind: "noSuchPerson" }
  | { readonly kind: "notAllowed"; readonly why: string }
  | { readonly kind: "lastKeeper"; readonly why: string };

const own = ["quiet", "urgentBreaks", "digestBy"] as const;
const byKeepers = ["role", "turn"] as const;

/** What a person wants for themselves nobody else says; what they are at the yard its keepers say. */
export async function changePerson(
  ports: Ports,
  yard: string,
  person: string,
  changes: MemberChanges,
  asking: Asking,
): Promise<PersonChange> {
  const saysOwn = own.some((each) => changes[each] !== undefined);
  const saysOther = byKeepers.some((each) => changes[each] !== undefined);
  if (saysOwn && person !== asking.person) {
    return { kind: "notAllowed", why: "Quiet hours and the ways of being told are for each person to say." };
  }
  if (saysOther && asking.role !== "keeper") {
    return { kind: "notAllowed", why: "Only a keeper of this yard says who is told in which turn, and who keeps it." };
  }
  return settled(ports, yard, await ports.store.people.changeMember(yard, person, changes, ports.clock.now()), person);
}

/** A keeper removes anybody, and everybody may leave; the last keeper stays. */
export async function removePerson(ports: Ports, yard: string, person: string, asking: Asking): Promise<PersonChange> {
  if (asking.role !== "keeper" && person !== asking.person) {
    return { kind: "notAllowed", why: "Only a keeper of this yard removes somebody else." };
  }
  return settled(ports, yard, await ports.store.people.removeMember(yard, person, ports.clock.now()), person);
}

async function settled(ports: Ports, yard: string, change: MemberChange, person: string): Promise<PersonChange> {
  switch (change) {
    case "noSuchMember":
      return { kind: "noSuchPerson" };
    case "lastKeeper":
      return { kind: "lastKeeper", why: "A yard needs a keeper: make somebody else one first." };
    case "changed":
    case "accountEnded":
      if (change === "changed") ports.live.reconnect(person);
      else ports.live.closeSocketsOf({ person });
      ports.live.changed(yard, null, null);
      await tryDueCalls(ports);
      return { kind: "changed" };
  }
}

// --- joining ---------------------------------------------------------------------------------------------------------

/** Long enough for somebody who is away over the weekend. Common practice, no source. */
const inviteHolds = days(7);

/** @returns the token, shown this once: only its hash is kept */
export async function invite({ clock, store }: Ports, yard: string, role: Role): Promise<InviteView> {
  const now = clock.now();
  const token = randomBytes(32).toString("base64url");
  const expiresAt = after(now, inviteHolds);
  await store.people.addInvite(hashOf(token), { yard, role, expiresAt }, now);
  return { token, expiresAt: isoOf(expiresAt) };
}

/** @param id as the open invitations are listed. @returns false where there is none such: it may have been used just now */
export async function withdrawInvite({ clock, store }: Ports, yard: string, id: string): Promise<boolean> {
  const now = clock.now();
  const found = (await store.people.openInvites(yard, now)).find(({ tokenHash }) => idOf(tokenHash) === id);
  return found !== undefined && store.people.withdrawInvite(yard, found.tokenHash, now);
}

interface Yard {
  readonly id: string;
  readonly name: string;
}

export type Joined =
  | { readonly kind: "joined"; readonly person: string; readonly yard: Yard }
  | { readonly kind: "noSuchInvite" | "nameTaken" };

/**
 * @param newcomer null: the person has an account already
 * @param also what is stored in the same commit, such as their session
 */
export async function join(
  ports: Ports,
  token: string,
  person: string | null,
  newcomer: { readonly name: string; readonly passphraseHash: string } | null,
  also: (stores: AtomicStores, person: string, now: Instant) => Promise<void> = async () => undefined,
): Promise<Joined> {
  const id = person ?? randomUUID();
  const now = ports.clock.now();
  const use = await ports.store.atomically(async (stores) => {
    const used = await stores.people.useInvite(hashOf(token), id, newcomer, now);
    if (used.kind === "joined" || used.kind === "member") await also(stores, id, now);
    return used;
  });
  if (use.kind === "noSuchInvite" || use.kind === "nameTaken") return { kind: use.kind };
  const yard = (await ports.store.yards.yards()).find((each) => each.id === use.yard);
  if (!yard) return { kind: "noSuchInvite" }; // it was removed meanwhile
  ports.live.reconnect(id);
  ports.live.changed(yard.id, null, null);
  await tryDueCalls(ports);
  return { kind: "joined", person: id, yard: { id: yard.id, name: yard.name } };
}

/** The yard of an invite that was used already, as long as it would hold; null where there is none. */
export async function yardJoinedBy({ clock, store }: Ports, token: string): Promise<Yard | null> {
  const used = await store.people.usedInvite(hashOf(token), clock.now());
  const yard = used && (await store.yards.yards()).find(({ id }) => id === used.yard);
  return yard ? { id: yard.id, name: yard.name } : null;
}

/** Whether this token opens anything: asked before a passphrase is hashed for it, which is slow on purpose. */
export const isInvited = async ({ clock, store }: Ports, token: string): Promise<boolean> =>
  (await store.people.invite(hashOf(token), clock.now())) !== null;

const hashOf = (token: string): string => createHash("sha256").update(token).digest("hex");

// --- oneself ---------------------------------------------------------------------------------------------------------

export async function meView(
  ports: Ports,
  { id, name }: { readonly id: string; readonly name: string },
): Promise<MeView> {
  return { id, name, mail: await ports.store.people.mailOf(id), canMail: ports.mail.ready };
}

export async function changeMail(ports: Ports, person: string, mail: string | null): Promise<void> {
  await ports.store.people.changeMail(person, mail, ports.clock.now());
  await tryDueCalls(ports);
}

/** Sends a letter at once, for whoever wants to see whether it arrives. Null: they have no address. */
export async function testMail({ clock, store, mail }: Ports, person: string): Promise<MailOutcome | null> {
  const to = await store.people.mailOf(person);
  if (to === null) return null;
  const notice = {
    fault: null,
    priority: "note",
    title: "Pieward: a test",
    body: "Letters to this address arrive. Nothing is wrong at any feeder.",
    topic: "test",
    timeToLive: hours(1),
    quiet: true,
  } as const;
  const letter = letterOf(notice, { yardName: null, feederName: null, link: null });
  return mail.send(to, letter, `test-${randomUUID()}`, clock.now());
}
