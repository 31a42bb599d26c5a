import type { Role } from "../../contract/api.ts";
import type { Instant } from "../../domain/instant.ts";
import { nameKey } from "../../domain/names.ts";
import type { InviteResult, MemberChangeResult, MemberChanges, MemberRow, PeopleStore } from "../../ports.ts";
import type { Keeper, Member } from "./generated/sqlite/client.ts";
import type { Connections, Statements } from "./openStore.ts";
import { dateOf, digestChannelFrom, instantFrom, roleFrom } from "./rows.ts";

type Access = Pick<Connections, "reader" | "write" | "requests">;
type Reading = "membersOf" | "membershipsOf" | "roleAt" | "countMembers";
type Changing = "addMember" | "changeMember" | "removeMember";
type Emails = "emailOf" | "changeEmail";

export const createPeopleStore = (access: Access): PeopleStore => ({
  ...readMembers(access),
  ...changeMembers(access),
  ...emails(access),
  ...invites(access),
});

function readMembers({ reader, requests }: Access): Pick<PeopleStore, Reading> {
  return {
    async membersOf(yard) {
      const found = await reader.member.findMany({
        where: { yardId: yard },
        orderBy: [{ escalationOrder: "asc" }, { createdAt: "asc" }, { keeperId: "asc" }],
        include: { keeper: true },
      });
      return found.map(memberFrom);
    },

    async membershipsOf(person) {
      const found = await reader.member.findMany({ where: { keeperId: person } });
      return found.map(({ yardId, role }) => ({ yard: yardId, role: roleFrom(role) }));
    },

    roleAt: requests.roleAt,

    async countMembers() {
      const counts = await reader.member.groupBy({ by: ["yardId"], _count: true });
      return new Map(counts.map(({ yardId, _count }) => [yardId, _count]));
    },
  };
}

function changeMembers({ write }: Access): Pick<PeopleStore, Changing> {
  return {
    addMember: (yard, person, role, now) => write((statements) => addMember(statements, yard, person, role, now)),

    changeMember: (yard, person, changes, now) =>
      write(async (statements): Promise<MemberChangeResult> => {
        const found = await member(statements, yard, person);
        if (!found) return "noSuchMember";
        const stepsDown = changes.role !== undefined && changes.role !== "keeper";
        if (stepsDown && (await isLastKeeper(statements, yard, person))) return "lastKeeper";
        const where = { yardId_keeperId: { yardId: yard, keeperId: person } };
        await statements.member.update({ where, data: columnsOf(changes) });
        await makeEscalationsDue(statements, { yardId: yard }, now);
        return "changed";
      }),

    removeMember: (yard, person, now) =>
      write(async (statements): Promise<MemberChangeResult> => {
        if (!(await member(statements, yard, person))) return "noSuchMember";
        if (await isLastKeeper(statements, yard, person)) return "lastKeeper";
        await statements.member.delete({ where: { yardId_keeperId: { yardId: yard, keeperId: person } } });
        await statements.outboxItem.updateMany({
          where: { keeperId: person, yardId: yard, status: "waiting" },
          data: { status: "needless", settledAt: dateOf(now) },
        });
        await makeEscalationsDue(statements, { yardId: yard }, now);
        return (await removeAccountWithoutYards(statements, person)) ? "accountEnded" : "changed";
      }),
  };
}

function emails({ reader, write }: Access): Pick<PeopleStore, Emails> {
  return {
    async emailOf(person) {
      return (await reader.keeper.findUnique({ where: { id: person }, select: { email: true } }))?.email ?? null;
    },

    changeEmail: (person, email, now) =>
      write(async (statements) => {
        const known = await statements.keeper.findUnique({ where: { id: person }, select: { email: true } });
        if (known === null || known.email === email) return; // the same address again is no new one
        await statements.keeper.update({ where: { id: person }, data: { email, emailSince: dateOf(now) } });
        await makeEscalationsDue(statements, ofPerson(person), now);
      }),
  };
}

function invites({ reader, write }: Access): Omit<PeopleStore, Reading | Changing | Emails> {
  return {
    addInvite: (tokenHash, { yard, role, expiresAt }, now) =>
      write(async (statements) => {
        await statements.invite.create({
          data: { tokenHash, yardId: yard, role, createdAt: dateOf(now), expiresAt: dateOf(expiresAt) },
        });
      }),

    async openInvites(yard, now) {
      const where = { yardId: yard, ...openInvite(now) };
      const found = await reader.invite.findMany({ where, orderBy: { expiresAt: "asc" } });
      return found.map(({ tokenHash, role, createdAt, expiresAt }) => ({
        tokenHash,
        yard,
        role: roleFrom(role),
        createdAt: instantFrom(createdAt),
        expiresAt: instantFrom(expiresAt),
      }));
    },

    withdrawInvite: (yard, tokenHash, now) =>
      write(async (statements) => {
        const open = { yardId: yard, tokenHash, ...openInvite(now) };
        return (await statements.invite.deleteMany({ where: open })).count > 0;
      }),

    async invite(tokenHash, now) {
      const where = { tokenHash, ...openInvite(now) };
      const found = await reader.invite.findFirst({ where });
      return found && { yard: found.yardId, role: roleFrom(found.role), expiresAt: instantFrom(found.expiresAt) };
    },

    async usedInvite(tokenHash, now) {
      const where = { tokenHash, ...openInvite(now), usedAt: { not: null } };
      const found = await reader.invite.findFirst({ where });
      return found && { yard: found.yardId, role: roleFrom(found.role), expiresAt: instantFrom(found.expiresAt) };
    },

    useInvite: (tokenHash, person, newPerson, now) =>
      write((statements) => useInvite(statements, tokenHash, { id: person, newPerson }, now)),
  };
}

async function useInvite(
  statements: Statements,
  tokenHash: string,
  { id: person, newPerson }: InvitedPerson,
  now: Instant,
): Promise<InviteResult> {
  const open = { tokenHash, ...openInvite(now) };
  const invite = await statements.invite.findFirst({ where: open });
  if (!invite) return { kind: "noSuchInvite" };
  const { yardId, role } = invite;
  const present = await member(statements, yardId, person);
  if (present && (present.role === role || present.role === "keeper")) return { kind: "alreadyMember", yard: yardId };
  // Somebody else may have taken the name while the passphrase was hashed.
  if (newPerson && (await statements.keeper.findFirst({ where: sameName(newPerson.name) })))
    return { kind: "nameTaken" };
  const used = await statements.invite.updateMany({ where: open, data: { usedAt: dateOf(now) } });
  if (used.count === 0) return { kind: "noSuchInvite" };
  if (newPerson) {
    const named = { ...newPerson, nameKey: nameKey(newPerson.name) };
    await statements.keeper.create({ data: { id: person, ...named, createdAt: dateOf(now) } });
  }
  await addMember(statements, yardId, person, roleFrom(role), now);
  return { kind: "joined", yard: yardId };
}

interface InvitedPerson {
  readonly id: string;
  readonly newPerson: { readonly name: string; readonly passphraseHash: string } | null;
}

/** The account whose name is the same without case and invisible characters. */
export const sameName = (name: string) => ({ nameKey: nameKey(name) });

/** Whoever belongs to no yard has no account: a removed person can't sign in. @returns whether it was removed */
export async function removeAccountWithoutYards(statements: Statements, person: string): Promise<boolean> {
  const { count } = await statements.keeper.deleteMany({ where: { id: person, members: { none: {} } } });
  return count > 0;
}

/** The condition that an invite is open. */
const openInvite = (now: Instant) => ({ usedAt: null, expiresAt: { gt: dateOf(now) } });

const escalationOrderMax = 20;

/** Last in the escalation order, so that a new person is notified after the others until a keeper changes that. */
export async function addMember(
  statements: Statements,
  yard: string,
  person: string,
  role: Role,
  now: Instant,
): Promise<void> {
  const present = await member(statements, yard, person);
  const where = { yardId_keeperId: { yardId: yard, keeperId: person } };
  if (present) {
    if (role === "keeper") await statements.member.update({ where, data: { role } });
    return;
  }
  const { _max } = await statements.member.aggregate({ where: { yardId: yard }, _max: { escalationOrder: true } });
  const escalationOrder = Math.min(escalationOrderMax, (_max.escalationOrder ?? 0) + 1);
  await statements.member.create({
    data: { yardId: yard, keeperId: person, role, escalationOrder, createdAt: dateOf(now) },
  });
  await makeEscalationsDue(statements, { yardId: yard }, now);
}

const member = (statements: Statements, yard: string, person: string) =>
  statements.member.findUnique({ where: { yardId_keeperId: { yardId: yard, keeperId: person } } });

async function isLastKeeper(statements: Statements, yard: string, person: string): Promise<boolean> {
  const keepers = await statements.member.findMany({ where: { yardId: yard, role: "keeper" } });
  return keepers.length === 1 && keepers[0]?.keeperId === person;
}

/** The escalations of every yard of this person. */
const ofPerson = (person: string) => ({ yard: { members: { some: { keeperId: person } } } });

/** Makes escalations due at once, in the same commit as the change that concerns them. */
export async function makeEscalationsDue(
  statements: Statements,
  where: { readonly yardId: string } | ReturnType<typeof ofPerson>,
  now: Instant,
): Promise<void> {
  await statements.escalation.updateMany({ where, data: { nextAt: dateOf(now) } });
}

function memberFrom({ yardId, keeper, quietFrom, quietTo, ...row }: Member & { readonly keeper: Keeper }): MemberRow {
  return {
    yard: yardId,
    person: { id: keeper.id, name: keeper.name, email: keeper.email },
    role: roleFrom(row.role),
    escalationOrder: row.escalationOrder,
    quietHours: quietFrom === null || quietTo === null ? null : { from: quietFrom, to: quietTo },
    urgentBreaks: row.urgentBreaks,
    digestBy: digestChannelFrom(row.digestBy),
  };
}

function columnsOf({ quietHours: quiet, ...changes }: MemberChanges) {
  if (quiet === undefined) return changes;
  return { ...changes, quietFrom: quiet?.from ?? null, quietTo: quiet?.to ?? null };
}
