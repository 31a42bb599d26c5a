import { randomUUID } from "node:crypto";
import type { FeederState } from "../../domain/feeder.ts";
import { type Instant, instantOf } from "../../domain/instant.ts";
import type { FeederRow, StoredEvent, StoredHeartbeat, Transaction } from "../../ports.ts";
import type { Statements } from "./openStore.ts";
import { dateOf, textOf } from "./rows.ts";

/**
 * The statements that ingest is made of. Each takes any number of rows as one JSON parameter: a statement then costs
 * the same for one row as for a thousand, and Prisma's query compiler is left out of the hot path.
 */
export function transactionOver(statements: Statements): Transaction {
  return {
    feeders: (ids) => readFeeders(statements, ids),
    appendEvents: (events) => insertEvents(statements, events),
    appendHeartbeats: (heartbeats) => insertHeartbeats(statements, heartbeats),
    bodiesOf: (feeder, boot, seqs) => readBodies(statements, feeder, boot, seqs),
    saveFeeders: (rows) => updateFeeders(statements, rows),

    async logAlarmChanges(feeder, changes) {
      await statements.alarmChange.createMany({
        data: changes.map(({ fault, priority, from, to, at, reason }) => ({
          id: randomUUID(),
          feederId: feeder,
          fault,
          priority,
          from,
          to,
          at: dateOf(at),
          reason,
        })),
      });
    },

    async saveOrder(feeder, order) {
      const changing = {
        phase: order.phase,
        sentAt: order.sentAt === null ? null : dateOf(order.sentAt),
        answeredAt: order.answeredAt === null ? null : dateOf(order.answeredAt),
        problem: order.problem,
      };
      await statements.order.upsert({
        where: { feederId_id: { feederId: feeder, id: order.id } },
        update: changing,
        create: {
          id: order.id,
          feederId: feeder,
          kind: order.kind,
          until: order.until === null ? null : dateOf(order.until),
          askedAt: dateOf(order.askedAt),
          askedBy: order.askedBy,
          ...changing,
        },
      });
    },

    async saveRefill({ id, feeder, at, grams, source, by }) {
      const key = { feederId: feeder, id };
      if (await statements.refill.findUnique({ where: { feederId_id: key } })) return false;
      await statements.refill.create({ data: { ...key, at: dateOf(at), grams, source, by } });
      return true;
    },

    // Every keeper of the house hears of every yard, so far: the yard decides nothing yet.
    async enqueue(_yard, feeder, notice, now) {
      await replaceWaiting(statements, notice.topic, now);
      const phones = await statements.phone.findMany({ select: { id: true } });
      if (phones.length === 0) return;
      await statements.outboxItem.createMany({
        data: phones.map((phone) => ({
          id: randomUUID(),
          phoneId: phone.id,
          feederId: feeder,
          topic: notice.topic,
          notice: JSON.stringify(notice),
          writtenAt: dateOf(now),
          dueAt: dateOf(now),
        })),
      });
    },

    async claimDigest(yard, localDate, now, title, lines) {
      const key = { yardId: yard, localDate };
      if (await statements.digest.findUnique({ where: { yardId_localDate: key } })) return false;
      await statements.digest.create({ data: { ...key, writtenAt: dateOf(now), title, lines: JSON.stringify(lines) } });
      return true;
    },
  };
}

async function readFeeders(statements: Statements, ids: readonly string[]): Promise<FeederRow[]> {
  const rows = await statements.$queryRawUnsafe<
    { id: string; yardId: string; practice: unknown; revision: number; state: string; lastHeardAt: string | null }[]
  >(
    `SELECT "id", "yardId", "practice", "revision", "state", CAST("lastHeardAt" AS TEXT) AS "lastHeardAt"
     FROM "Feeder" WHERE "id" IN (SELECT value FROM json_each(?))`,
    JSON.stringify(ids),
  );
  return rows.map((row) => ({
    id: row.id,
    yard: row.yardId,
    practice: Boolean(row.practice),
    revision: Number(row.revision),
    lastHeardAt: row.lastHeardAt === null ? null : instantOf(row.lastHeardAt),
    state: JSON.parse(row.state) as FeederState,
  }));
}

async function insertEvents(statements: Statements, events: readonly StoredEvent[]): Promise<void> {
  if (events.length === 0) return;
  const rows = events.map((event) => [
    event.feeder,
    event.boot,
    event.seq,
    event.kind,
    textOf(event.receivedAt),
    textOf(event.recordedAt),
    event.body,
  ]);
  await statements.$executeRawUnsafe(
    `INSERT INTO "Event" ("feederId", "boot", "seq", "kind", "receivedAt", "recordedAt", "body")
     SELECT value ->> 0, value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5, value ->> 6 FROM json_each(?)`,
    JSON.stringify(rows),
  );
}

async function insertHeartbeats(statements: Statements, heartbeats: readonly StoredHeartbeat[]): Promise<void> {
  if (heartbeats.length === 0) return;
  const rows = heartbeats.map((one) => [one.feeder, textOf(one.receivedAt), one.boot, one.sentUptimeMs, one.readings]);
  // Two reports of one boot within a millisecond say the same; the first one's readings stand for both.
  await statements.$executeRawUnsafe(
    `INSERT INTO "Heartbeat" ("feederId", "receivedAt", "boot", "sentUptimeMs", "readings")
     SELECT value ->> 0, value ->> 1, value ->> 2, value ->> 3, value ->> 4 FROM json_each(?) WHERE true
     ON CONFLICT DO NOTHING`,
    JSON.stringify(rows),
  );
}

async function readBodies(
  statements: Statements,
  feeder: string,
  boot: string,
  seqs: readonly number[],
): Promise<ReadonlyMap<number, string>> {
  const rows = await statements.$queryRawUnsafe<{ seq: number | bigint; body: string }[]>(
    `SELECT "seq", "body" FROM "Event" WHERE "feederId" = ? AND "boot" = ? AND "seq" IN (SELECT value FROM json_each(?))`,
    feeder,
    boot,
    JSON.stringify(seqs),
  );
  return new Map(rows.map((row) => [Number(row.seq), row.body]));
}

async function updateFeeders(statements: Statements, rows: Parameters<Transaction["saveFeeders"]>[0]): Promise<void> {
  if (rows.length === 0) return;
  const values = rows.map(({ id, state, lastHeardAt, nextLookAt }) => [
    id,
    JSON.stringify(state),
    lastHeardAt === null ? null : textOf(lastHeardAt),
    textOf(nextLookAt),
  ]);
  await statements.$executeRawUnsafe(
    `UPDATE "Feeder" SET "state" = new.value ->> 1, "lastHeardAt" = new.value ->> 2, "nextLookAt" = new.value ->> 3,
       "revision" = "revision" + 1
     FROM json_each(?) AS new WHERE "Feeder"."id" = new.value ->> 0`,
    JSON.stringify(values),
  );
}

/**
 * A newer word on the same topic makes an undelivered older one pointless (RFC 8030 topics do the same on the way). That holds
 * for one that is under way too: if it fails, it must not come back beside the newer.
 */
async function replaceWaiting(statements: Statements, topic: string, now: Instant): Promise<void> {
  await statements.outboxItem.updateMany({
    where: { topic, phase: "waiting" },
    data: { phase: "replaced", settledAt: dateOf(now) },
  });
}
