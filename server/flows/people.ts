import { createHash, randomBytes, randomUUID } from "node:crypto";
import type {
  EscalationView,
  InviteView,
  MeView,
  OpenInviteView,
  PeopleView,
  PersonView,
  Role,
} from "../contract/api.ts";
import { notificationEmail } from "../domain/email/notificationEmail.ts";
import { after, days, hours, type Instant, isoOf } from "../domain/instant.ts";
import { isActive } from "../domain/notification/advanceEscalation.ts";
import { isUndelivered } from "../domain/notification/deliveryLoss.ts";
import type { Escalation } from "../domain/notification/escalation.ts";
import { personReachability } from "../domain/push/reachability.ts";
import type {
  AtomicStores,
  EmailOutcome,
  MemberChangeResult,
  MemberChanges,
  MemberRow,
  OpenInvite,
  Ports,
} from "../ports.ts";
import { texts } from "../text/index.ts";
import { tryDueEscalations } from "./escalations.ts";
import { idOf } from "./publicId.ts";
import { maybeIso } from "./views.ts";

/** Who belongs to a yard, how people come and go, and how each wants to be notified. */

/** The person of a request, and their role at the yard. */
export interface Requester {
  readonly person: string;
  readonly role: Role;
}

export async function peopleView(ports: Ports, yard: string, requester: Requester): Promise<PeopleView> {
  const now = ports.clock.now();
  const members = await ports.store.people.membersOf(yard);
  const people: PersonView[] = [];
  for (const member of members) people.push(await personView(ports, member, requester.person, now));
  const invites = requester.role === "keeper" ? await ports.store.people.openInvites(yard, now) : [];
  return { yard, people, invites: invites.map(openInviteView) };
}

const openInviteView = ({ tokenHash, role, createdAt, expiresAt }: OpenInvite): OpenInviteView => ({
  id: idOf(tokenHash),
  role,
  madeAt: isoOf(createdAt),
  expiresAt: isoOf(expiresAt),
});

async function personView(ports: Ports, member: MemberRow, you: string, now: Instant): Promise<PersonView> {
  const { person, role, escalationOrder, quietHours, urgentBreaks, digestBy } = member;
  const phones = await ports.store.keepers.phonesOf(person.id);
  return {
    id: person.id,
    name: person.name,
    you: person.id === you,
    role,
    escalationOrder,
    quietHours,
    urgentBreaks,
    digestBy,
    phones: phones.filter(({ blockedAt }) => blockedAt === null).length,
    hasEmail: person.email !== null,
    reachability: personReachability(phones, person.email !== null && ports.email.isConfigured, now),
  };
}

/** The escalations of this yard that are active now. */
export async function escalationViews({ store }: Ports, yard: string): Promise<EscalationView[]> {
  const escalations = (await store.escalations.ofYard(yard)).filter(isActive);
  if (escalations.length === 0) return [];
  const names = new Map((await store.people.membersOf(yard)).map(({ person }) => [person.id, person.name]));
  const speakers = new Map(escalations.map((escalation) => [escalation.topic, escalation]));
  return escalations
    .sort((one, other) => other.raisedAt - one.raisedAt)
    .map((escalation) =>
      escalationView(escalation, speakers.get(escalation.groupedUnder ?? escalation.topic) ?? escalation, names),
    );
}

/** @param speaker the escalation that notifies for this one too, if there is one */
function escalationView(
  escalation: Escalation,
  speaker: Escalation,
  names: ReadonlyMap<string, string>,
): EscalationView {
  const { feeder, fault, title, raisedAt, acknowledgedBy, unreachable } = escalation;
  const reached = speaker.recipientStates.filter((one) => !isUndelivered(speaker, one));
  const recipientStates = reached.flatMap(({ person, lastNotifiedAt, displayedAt, emailedAt }) => {
    const name = names.get(person);
    const moments = {
      lastNotifiedAt: isoOf(lastNotifiedAt),
      displayedAt: maybeIso(displayedAt),
      emailedAt: maybeIso(emailedAt),
    };
    return name === undefined ? [] : [{ name, ...moments }];
  });
  return { feeder, fault, title, raisedAt: isoOf(raisedAt), recipientStates, acknowledgedBy, unreachable };
}

export type PersonChangeResult =
  | { readonly kind: "changed" }
  | { readonly kind: "noSuchPerson" }
  | { readonly kind: "notAllowed"; readonly reason: string }
  | { readonly kind: "lastKeeper"; readonly reason: string };

const ownFields = ["quietHours", "urgentBreaks", "digestBy"] as const;
const keeperFields = ["role", "escalationOrder"] as const;

/** A person's own settings can be changed only by that person; their role only by keepers of the yard. */
export async function changePerson(
  ports: Ports,
  yard: string,
  person: string,
  changes: MemberChanges,
  requester: Requester,
): Promise<PersonChangeResult> {
  const saysOwn = ownFields.some((each) => changes[each] !== undefined);
  const saysOther = keeperFields.some((each) => changes[each] !== undefined);
  if (saysOwn && person !== requester.person) {
    return { kind: "notAllowed", reason: texts.people.ownNotificationsOnly };
  }
  if (saysOther && requester.role !== "keeper") {
    return {
      kind: "notAllowed",
      reason: texts.people.keeperChangesOrder,
    };
  }
  return changeResult(
    ports,
    yard,
    await ports.store.people.changeMember(yard, person, changes, ports.clock.now()),
    person,
  );
}

/** A keeper may remove anybody, and everybody may leave; the last keeper must stay. */
export async function removePerson(
  ports: Ports,
  yard: string,
  person: string,
  requester: Requester,
): Promise<PersonChangeResult> {
  if (requester.role !== "keeper" && person !== requester.person) {
    return { kind: "notAllowed", reason: texts.people.keeperRemoves };
  }
  return changeResult(ports, yard, await ports.store.people.removeMember(yard, person, ports.clock.now()), person);
}

async function changeResult(
  ports: Ports,
  yard: string,
  change: MemberChangeResult,
  person: string,
): Promise<PersonChangeResult> {
  switch (change) {
    case "noSuchMember":
      return { kind: "noSuchPerson" };
    case "lastKeeper":
      return { kind: "lastKeeper", reason: texts.people.needsKeeper };
    case "changed":
    case "accountEnded":
      if (change === "changed") ports.liveFeed.reconnect(person);
      else ports.liveFeed.closeSocketsOf({ person });
      ports.liveFeed.announceChange(yard, null, null);
      await tryDueEscalations(ports);
      return { kind: "changed" };
  }
}

// --- joining ---------------------------------------------------------------------------------------------------------

/** Long enough for a person who is away over the weekend. Common practice, no source. */
const inviteValidFor = days(7);

/** @returns the token, shown only once: only its hash is stored */
export async function createInvite({ clock, store }: Ports, yard: string, role: Role): Promise<InviteView> {
  const now = clock.now();
  const token = randomBytes(32).toString("base64url");
  const expiresAt = after(now, inviteValidFor);
  await store.people.addInvite(hashOf(token), { yard, role, expiresAt }, now);
  return { token, expiresAt: isoOf(expiresAt) };
}

/** @param id from the list of open invitations. @returns false where there is none such: it may have been used just now */
export async function withdrawInvite({ clock, store }: Ports, yard: string, id: string): Promise<boolean> {
  const now = clock.now();
  const found = (await store.people.openInvites(yard, now)).find(({ tokenHash }) => idOf(tokenHash) === id);
  return found !== undefined && store.people.withdrawInvite(yard, found.tokenHash, now);
}

interface Yard {
  readonly id: string;
  readonly name: string;
}

export type JoinResult =
  | { readonly kind: "joined"; readonly person: string; readonly yard: Yard }
  | { readonly kind: "noSuchInvite" | "nameTaken" };

/**
 * @param newPerson null: the person has an account already
 * @param also what is stored in the same commit, such as their session
 */
export async function joinYard(
  ports: Ports,
  token: string,
  person: string | null,
  newPerson: { readonly name: string; readonly passphraseHash: string } | null,
  also: (stores: AtomicStores, person: string, now: Instant) => Promise<void> = async () => undefined,
): Promise<JoinResult> {
  const id = person ?? randomUUID();
  const now = ports.clock.now();
  const use = await ports.store.withStores(async (stores) => {
    const used = await stores.people.useInvite(hashOf(token), id, newPerson, now);
    if (used.kind === "joined" || used.kind === "alreadyMember") await also(stores, id, now);
    return used;
  });
  if (use.kind === "noSuchInvite" || use.kind === "nameTaken") return { kind: use.kind };
  const yard = (await ports.store.yards.yards()).find((each) => each.id === use.yard);
  if (!yard) return { kind: "noSuchInvite" }; // it was removed meanwhile
  ports.liveFeed.reconnect(id);
  ports.liveFeed.announceChange(yard.id, null, null);
  await tryDueEscalations(ports);
  return { kind: "joined", person: id, yard: { id: yard.id, name: yard.name } };
}

/** The yard of a used invite, until the invite would have expired; null where there is none. */
export async function yardJoinedBy({ clock, store }: Ports, token: string): Promise<Yard | null> {
  const used = await store.people.usedInvite(hashOf(token), clock.now());
  const yard = used && (await store.yards.yards()).find(({ id }) => id === used.yard);
  return yard ? { id: yard.id, name: yard.name } : null;
}

/** Whether this token is valid: checked before a passphrase is hashed, which is slow on purpose. */
export const isInvited = async ({ clock, store }: Ports, token: string): Promise<boolean> =>
  (await store.people.invite(hashOf(token), clock.now())) !== null;

const hashOf = (token: string): string => createHash("sha256").update(token).digest("hex");

// --- own settings ----------------------------------------------------------------------------------------------------

export async function meView(
  ports: Ports,
  { id, name }: { readonly id: string; readonly name: string },
): Promise<MeView> {
  return { id, name, email: await ports.store.people.emailOf(id), canEmail: ports.email.isConfigured };
}

export async function changeEmail(ports: Ports, person: string, email: string | null): Promise<void> {
  await ports.store.people.changeEmail(person, email, ports.clock.now());
  await tryDueEscalations(ports);
}

/** Sends a test e-mail at once. Null: the person has no address. */
export async function testEmail({ clock, store, email }: Ports, person: string): Promise<EmailOutcome | null> {
  const to = await store.people.emailOf(person);
  if (to === null) return null;
  const content = {
    fault: null,
    priority: "note",
    title: texts.people.testTitle,
    body: texts.people.testEmail,
    topic: "test",
    timeToLive: hours(1),
    silent: true,
  } as const;
  const message = notificationEmail(content, { yardName: null, feederName: null, link: null });
  return email.send(to, message, `test-${randomUUID()}`, clock.now());
}
