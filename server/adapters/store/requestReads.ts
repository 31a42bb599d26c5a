import type Database from "better-sqlite3";
import { type Instant, instantOf } from "../../domain/instant.ts";
import type { KeeperStore, PeopleStore, SessionRow } from "../../ports.ts";
import { instantFrom, roleFrom } from "./rows.ts";
import type { Statements } from "./writes.ts";

/** Who asks, and what they may do there: read before each request of a keeper, also before a pause. */
export interface RequestReads {
  readonly session: KeeperStore["session"];
  readonly roleAt: PeopleStore["roleAt"];
}

/** In plain SQL: with Prisma each of these reads takes as long as to judge a report. */
export function directRequestReads(database: Database.Database): RequestReads {
  const session = database.prepare<[string], SessionColumns>(
    `SELECT "tokenHash", "keeperId", "name", "Session"."createdAt", "lastSeenAt", "expiresAt"
     FROM "Session" JOIN "Keeper" ON "Keeper"."id" = "keeperId" WHERE "tokenHash" = ?`,
  );
  const atYard = database
    .prepare<[string, string], string>(`SELECT "role" FROM "Member" WHERE "keeperId" = ? AND "yardId" = ?`)
    .pluck();
  const atFeeder = database
    .prepare<[string, string], string>(
      `SELECT "role" FROM "Member" JOIN "Feeder" ON "Feeder"."yardId" = "Member"."yardId" WHERE "keeperId" = ? AND "Feeder"."id" = ?`,
    )
    .pluck();
  return {
    async session(tokenHash) {
      const found = session.get(tokenHash);
      if (found === undefined) return null;
      return sessionFrom(found, { id: found.keeperId, name: found.name }, instantOf); // stored as ISO text
    },
    async roleAt(person, of) {
      const found = "yard" in of ? atYard.get(person, of.yard) : atFeeder.get(person, of.feeder);
      return found === undefined ? null : roleFrom(found);
    },
  };
}

interface SessionColumns extends SessionTimes<string> {
  readonly keeperId: string;
  readonly name: string;
}

interface SessionTimes<Time> {
  readonly tokenHash: string;
  readonly createdAt: Time;
  readonly lastSeenAt: Time;
  readonly expiresAt: Time;
}

const sessionFrom = <Time>(
  { tokenHash, createdAt, lastSeenAt, expiresAt }: SessionTimes<Time>,
  { id, name }: SessionRow["keeper"],
  at: (time: Time) => Instant,
): SessionRow => ({
  tokenHash,
  keeper: { id, name },
  createdAt: at(createdAt),
  lastSeenAt: at(lastSeenAt),
  expiresAt: at(expiresAt),
});

/** The same inside an open transaction of Prisma, with what it has written. */
export const statementRequestReads = (statements: Statements): RequestReads => ({
  async session(tokenHash) {
    const found = await statements.session.findUnique({ where: { tokenHash }, include: { keeper: true } });
    return found && sessionFrom(found, found.keeper, instantFrom);
  },
  async roleAt(person, of) {
    const yard = "yard" in of ? { id: of.yard } : { feeders: { some: { id: of.feeder } } };
    const found = await statements.member.findFirst({ where: { keeperId: person, yard }, select: { role: true } });
    return found && roleFrom(found.role);
  },
});
