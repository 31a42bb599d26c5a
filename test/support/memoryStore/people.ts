import type { Instant } from "../../../server/domain/instant.ts";
import { nameKey } from "../../../server/domain/names.ts";
import type { InviteResult, InviteRow, MemberChangeResult, MemberRow, PeopleStore } from "../../../server/ports.ts";
import type { Access } from "./memoryDatabase.ts";
import { memberKey, removePersonWithoutYards } from "./removals.ts";
import { addRow, changeWhere, compareBy, rowOf, rowsWhere, type StoredMember, type Tables } from "./tables.ts";

export const createPeople = (access: Access): PeopleStore => ({
  ...readMembers(access),
  ...changeMembers(access),
  ...emails(access),
  ...invites(access),
});

type Reading = "membersOf" | "membershipsOf" | "roleAt" | "countMembers";
type Changing = "addMember" | "changeMember" | "removeMember";
type Emails = "emailOf" | "changeEmail";

/** In the order in which they are notified. */
export const membersOf = (tables: Tables, yard: string): StoredMember[] =>
  rowsWhere(tables.members, (member) => member.yard === yard).sort(
    compareBy(
      ({ escalationOrder }) => escalationOrder,
      ({ createdAt }) => createdAt,
      ({ person }) => person,
    ),
  );

const readMembers = ({ read }: Access): Pick<PeopleStore, Reading> => ({
  async membersOf(yard) {
    return membersOf(read(), yard).map((member) => memberFrom(read(), member));
  },
  async membershipsOf(person) {
    const found = rowsWhere(read().members, (member) => member.person === person);
    return found.map(({ yard, role }) => ({ yard, role }));
  },
  async roleAt(person, of) {
    const yard = "yard" in of ? of.yard : read().feeders.get(of.feeder)?.yard;
    return yard === undefined ? null : (read().members.get(memberKey(yard, person))?.role ?? null);
  },
  async countMembers() {
    const counts = new Map<string, number>();
    for (const { yard } of read().members.values()) counts.set(yard, (counts.get(yard) ?? 0) + 1);
    return counts;
  },
});

function memberFrom(tables: Tables, { createdAt, person: id, ...member }: StoredMember): MemberRow {
  const { name, email } = rowOf(tables.people, id);
  return { ...member, person: { id, name, email } };
}

const changeMembers = ({ write }: Access): Pick<PeopleStore, Changing> => ({
  addMember: (yard, person, role, now) => write((tables) => addMember(tables, { yard, person, role }, now)),

  changeMember: (yard, person, changes, now) =>
    write((tables): MemberChangeResult => {
      const found = tables.members.get(memberKey(yard, person));
      if (found === undefined) return "noSuchMember";
      const stepsDown = changes.role !== undefined && changes.role !== "keeper";
      if (stepsDown && isLastKeeper(tables, found)) return "lastKeeper";
      tables.members.set(memberKey(yard, person), { ...found, ...changes });
      makeEscalationsDue(tables, [yard], now);
      return "changed";
    }),

  removeMember: (yard, person, now) =>
    write((tables): MemberChangeResult => {
      const found = tables.members.get(memberKey(yard, person));
      if (found === undefined) return "noSuchMember";
      if (isLastKeeper(tables, found)) return "lastKeeper";
      tables.members.delete(memberKey(yard, person));
      changeWhere(tables.items, (item) => item.person === person && item.yard === yard && item.status === "waiting", {
        status: "needless",
        settledAt: now,
      });
      makeEscalationsDue(tables, [yard], now);
      return removePersonWithoutYards(tables, person) ? "accountEnded" : "changed";
    }),
});

const escalationOrderMax = 20;

interface NewMember extends Pick<StoredMember, "yard" | "person" | "role"> {}

/** Last in the escalation order. */
export function addMember(tables: Tables, { yard, person, role }: NewMember, now: Instant): void {
  const key = memberKey(yard, person);
  const present = tables.members.get(key);
  if (present !== undefined) {
    if (role === "keeper") tables.members.set(key, { ...present, role });
    return;
  }
  rowOf(tables.yards, yard);
  rowOf(tables.people, person);
  const last = Math.max(0, ...membersOf(tables, yard).map(({ escalationOrder }) => escalationOrder));
  tables.members.set(key, {
    ...{ yard, person, role, escalationOrder: Math.min(escalationOrderMax, last + 1), createdAt: now },
    ...{ quietHours: null, urgentBreaks: true, digestBy: "push" },
  });
  makeEscalationsDue(tables, [yard], now);
}

function isLastKeeper(tables: Tables, { yard, person }: StoredMember): boolean {
  const keepers = membersOf(tables, yard).filter(({ role }) => role === "keeper");
  return keepers.length === 1 && keepers[0]?.person === person;
}

export const yardsOf = (tables: Tables, person: string): string[] =>
  rowsWhere(tables.members, (member) => member.person === person).map(({ yard }) => yard);

/** In the same commit as the change that concerns them. */
export const makeEscalationsDue = (tables: Tables, yards: readonly string[], now: Instant): void =>
  changeWhere(tables.escalations, ({ yard }) => yards.includes(yard), { nextAt: now });

const emails = ({ read, write }: Access): Pick<PeopleStore, Emails> => ({
  async emailOf(person) {
    return read().people.get(person)?.email ?? null;
  },
  changeEmail: (person, email, now) =>
    write((tables) => {
      const known = tables.people.get(person);
      if (known === undefined || known.email === email) return;
      tables.people.set(person, { ...known, email, emailSince: now });
      makeEscalationsDue(tables, yardsOf(tables, person), now);
    }),
});

const openInvite = (tables: Tables, tokenHash: string, now: Instant) => {
  const invite = tables.invites.get(tokenHash);
  return invite === undefined || invite.expiresAt <= now ? null : invite;
};
const inviteFrom = ({ yard, role, expiresAt }: InviteRow): InviteRow => ({ yard, role, expiresAt });

const invites = ({ read, write }: Access): Omit<PeopleStore, Reading | Changing | Emails> => ({
  addInvite: (tokenHash, invite, now) =>
    write((tables) => {
      rowOf(tables.yards, invite.yard);
      addRow(tables.invites, tokenHash, { ...inviteFrom(invite), tokenHash, createdAt: now, usedAt: null });
    }),
  async openInvites(yard, now) {
    const open = rowsWhere(
      read().invites,
      (invite) => invite.yard === yard && invite.usedAt === null && invite.expiresAt > now,
    );
    return open.sort(compareBy(({ expiresAt }) => expiresAt)).map(({ usedAt, ...invite }) => invite);
  },
  withdrawInvite: (yard, tokenHash, now) =>
    write((tables) => {
      const invite = openInvite(tables, tokenHash, now);
      return invite?.yard === yard && invite.usedAt === null && tables.invites.delete(tokenHash);
    }),
  async invite(tokenHash, now) {
    const invite = openInvite(read(), tokenHash, now);
    return invite === null || invite.usedAt !== null ? null : inviteFrom(invite);
  },
  async usedInvite(tokenHash, now) {
    const invite = openInvite(read(), tokenHash, now);
    return invite === null || invite.usedAt === null ? null : inviteFrom(invite);
  },
  useInvite: (tokenHash, person, newPerson, now) =>
    write((tables) => {
      const found = openInvite(tables, tokenHash, now);
      if (found === null || found.usedAt !== null) return { kind: "noSuchInvite" };
      const refused = refusal(tables, found, person, newPerson?.name ?? null);
      if (refused !== null) return refused;
      const { yard, role } = found;
      tables.invites.set(tokenHash, { ...found, usedAt: now });
      if (newPerson !== null) addPerson(tables, { id: person, ...newPerson }, now);
      addMember(tables, { yard, person, role }, now);
      return { kind: "joined", yard };
    }),
});

function refusal(tables: Tables, { yard, role }: InviteRow, person: string, name: string | null): InviteResult | null {
  const present = tables.members.get(memberKey(yard, person));
  if (present && (present.role === role || present.role === "keeper")) return { kind: "alreadyMember", yard };
  return name !== null && personNamed(tables, name) !== undefined ? { kind: "nameTaken" } : null;
}

/** The account whose name is the same without case and invisible characters. */
export const personNamed = (tables: Tables, name: string) =>
  rowsWhere(tables.people, (person) => person.nameKey === nameKey(name))[0];

interface NewPerson {
  readonly id: string;
  readonly name: string;
  readonly passphraseHash: string;
}

/** @throws Error where somebody has the name */
export function addPerson(tables: Tables, person: NewPerson, now: Instant): void {
  if (personNamed(tables, person.name) !== undefined) throw new Error(`expected nobody with the name ${person.name}`);
  const { id, name, passphraseHash } = person;
  const named = { id, name, nameKey: nameKey(name), passphraseHash };
  addRow(tables.people, id, { ...named, email: null, emailSince: null, createdAt: now });
}
