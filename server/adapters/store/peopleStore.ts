import { type DigestChannel, digestChannels, type Role, roles } from "../../contract/api.ts";
import type { Instant } from "../../domain/instant.ts";
import { nameKey } from "../../domain/names.ts";
import type { MemberChangeResult, MemberChanges, MemberRow, PeopleStore } from "../../ports.ts";
import type { Keeper, Member } from "./generated/sqlite/client.ts";
import type { Connections, Statements } from "./openStore.ts";
import { dateOf, instantFrom } from "./rows.ts";

export function createPeopleStore({ reader, write }: Pick<Connections, "reader" | "write">): PeopleStore {
  return {
    async membersOf(yard) {
      const found = await reader.member.findMany({
        where: { yardId: yard },
        orderBy: [{ turn: "asc" }, { createdAt: "asc" }, { keeperId: "asc" }],
        include: { keeper: true },
      });
      return found.map(memberFrom);
    },

    async membershipsOf(person) {
      const found = await reader.member.findMany({ where: { keeperId: person } });
      return found.map(({ yardId, role }) => ({ yard: yardId, role: roleFrom(role) }));
    },

    async roleAt(person, of) {
      const yard = "yard" in of ? { id: of.yard } : { feeders: { some: { id: of.feeder } } };
      const found = await reader.member.findFirst({ where: { keeperId: person, yard }, select: { role: true } });
      return found && roleFrom(found.role);
    },

    async countMembers() {
      const counts = await reader.member.groupBy({ by: ["yardId"], _count: true });
      return new Map(counts.map(({ yardId, _count }) => [yardId, _count]));
    },

    addMember: (yard, person, role, now) => write((statements) => join(statements, yard, person, role, now)),

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
          where: { keeperId: person, yardId: yard, phase: "waiting" },
          data: { phase: "needless", settledAt: dateOf(now) },
        });
        await makeEscalationsDue(statements, { yardId: yard }, now);
        return (await endLonelyAccount(statements, person)) ? "accountEnded" : "changed";
      }),

    async emailOf(person) {
      return (await reader.keeper.findUnique({ where: { id: person }, select: { mail: true } }))?.mail ?? null;
    },

    changeEmail: (person, mail, now) =>
      write(async (statements) => {
        const known = await statements.keeper.findUnique({ where: { id: person }, select: { mail: true } });
        if (known === null || known.mail === mail) return; // the same address once more is no new one
        await statements.keeper.update({ where: { id: person }, data: { mail, mailSince: dateOf(now) } });
        await makeEscalationsDue(statements, ofPerson(person), now);
      }),

    addInvite: (tokenHash, { yard, role, expiresAt }, now) =>
      write(async (statements) => {
        await statements.invite.create({
          data: { tokenHash, yardId: yard, role, createdAt: dateOf(now), expiresAt: dateOf(expiresAt) },
        });
      }),

    async openInvites(yard, now) {
      const where = { yardId: yard, ...isOpenInvite(now) };
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
        const open = { yardId: yard, tokenHash, ...isOpenInvite(now) };
        return (await statements.invite.deleteMany({ where: open })).count > 0;
      }),

    async invite(tokenHash, now) {
      const where = { tokenHash, ...isOpenInvite(now) };
      const found = await reader.invite.findFirst({ where });
      return found && { yard: found.yardId, role: roleFrom(found.role), expiresAt: instantFrom(found.expiresAt) };
    },

    async usedInvite(tokenHash, now) {
      const where = { tokenHash, ...isOpenInvite(now), usedAt: { not: null } };
      const found = await reader.invite.findFirst({ where });
      return found && { yard: found.yardId, role: roleFrom(found.role), expiresAt: instantFrom(found.expiresAt) };
    },

    useInvite: (tokenHash, person, newcomer, now) =>
      write(async (statements) => {
        const open = { tokenHash, ...isOpenInvite(now) };
        const invite = await statements.invite.findFirst({ where: open });
        if (!invite) return { kind: "noSuchInvite" };
        const { yardId, role } = invite;
        const already = await member(statements, yardId, person);
        if (already && (already.role === role || already.role === "keeper"))
          return { kind: "alreadyMember", yard: yardId };
        // Somebody else may have taken the name while the passphrase was hashed.
        if (newcomer && (await statements.keeper.findFirst({ where: sameName(newcomer.name) })))
          return { kind: "nameTaken" };
        const used = await statements.invite.updateMany({ where: open, data: { usedAt: dateOf(now) } });
        if (used.count === 0) return { kind: "noSuchInvite" };
        if (newcomer) {
          const named = { ...newcomer, nameKey: nameKey(newcomer.name) };
          await statements.keeper.create({ data: { id: person, ...named, createdAt: dateOf(now) } });
        }
        await join(statements, yardId, person, roleFrom(role), now);
        return { kind: "joined", yard: yardId };
      }),
  };
}

/** The accounts whose name is this one, or the same without case and unseen marks. */
export const sameName = (name: string) => ({ OR: [{ name }, { nameKey: nameKey(name) }] });

/** Who belongs to no yard any more has no account: a removed person can't sign in. @returns whether it was ended */
export async function endLonelyAccount(statements: Statements, person: string): Promise<boolean> {
  const ended = await statements.keeper.deleteMany({ where: { id: person, members: { none: {} } } });
  return ended.count > 0;
}

/** Of an invite. */
const isOpenInvite = (now: Instant) => ({ usedAt: null, expiresAt: { gt: dateOf(now) } });

const escalationOrderMax = 20;

/** With the last turn, so that whoever joins wakes no earlier than those before them until somebody says otherwise. */
export async function join(
  statements: Statements,
  yard: string,
  person: string,
  role: Role,
  now: Instant,
): Promise<void> {
  const already = await member(statements, yard, person);
  const where = { yardId_keeperId: { yardId: yard, keeperId: person } };
  if (already) {
    if (role === "keeper") await statements.member.update({ where, data: { role } });
    return;
  }
  const { _max } = await statements.member.aggregate({ where: { yardId: yard }, _max: { turn: true } });
  const turn = Math.min(escalationOrderMax, (_max.turn ?? 0) + 1);
  await statements.member.create({ data: { yardId: yard, keeperId: person, role, turn, createdAt: dateOf(now) } });
  await makeEscalationsDue(statements, { yardId: yard }, now);
}

const member = (statements: Statements, yard: string, person: string) =>
  statements.member.findUnique({ where: { yardId_keeperId: { yardId: yard, keeperId: person } } });

async function isLastKeeper(statements: Statements, yard: string, person: string): Promise<boolean> {
  const keepers = await statements.member.findMany({ where: { yardId: yard, role: "keeper" } });
  return keepers.length === 1 && keepers[0]?.keeperId === person;
}

/** The calls of every yard that this person belongs to. */
const ofPerson = (person: string) => ({ yard: { members: { some: { keeperId: person } } } });

/** Makes calls due at once, in the commit of what they must hear of. */
export async function makeEscalationsDue(
  statements: Statements,
  where: { readonly yardId: string } | ReturnType<typeof ofPerson>,
  now: Instant,
): Promise<void> {
  await statements.call.updateMany({ where, data: { nextAt: dateOf(now) } });
}

function memberFrom({ yardId, keeper, quietFrom, quietTo, ...row }: Member & { readonly keeper: Keeper }): MemberRow {
  return {
    yard: yardId,
    person: { id: keeper.id, name: keeper.name, email: keeper.mail },
    role: roleFrom(row.role),
    turn: row.turn,
    quiet: quietFrom === null || quietTo === null ? null : { from: quietFrom, to: quietTo },
    urgentBreaks: row.urgentBreaks,
    digestBy: digestWayFrom(row.digestBy),
  };
}

const roleFrom = (text: string): Role => oneOf(roles, text, "a role");
export const digestWayFrom = (text: string): DigestChannel => oneOf(digestChannels, text, "a way for the digest");

function oneOf<Known extends string>(known: readonly Known[], text: string, what: string): Known {
  const found = known.find((each) => each === text);
  if (found === undefined) throw new Error(`expected ${what} among ${known.join(", ")}, got ${text}`);
  return found;
}

function columnsOf({ quiet, ...changes }: MemberChanges) {
  if (quiet === undefined) return changes;
  return { ...changes, quietFrom: quiet?.from ?? null, quietTo: quiet?.to ?? null };
}
