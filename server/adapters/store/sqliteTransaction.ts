import { randomUUID } from "node:crypto";
import type Database from "better-sqlite3";
import { type Instant, instantOf, milliseconds } from "../../domain/instant.ts";
import type { FeederRow, Transaction } from "../../ports.ts";
import { maybeText, readableRows, stateOf, textOf } from "./rows.ts";
import { createNotificationTransaction } from "./sqliteNotification.ts";
import { createYardChange } from "./sqliteYard.ts";

/**
 * What is written together, in plain SQL over better-sqlite3. Everything else goes through Prisma; here its compiling and
 * wrapping would cost more than SQLite itself (measured: a third of the events a second). Statements are prepared once.
 */
export function createTransaction(database: Database.Database): Transaction {
  const selectFeeder = `SELECT "id", "yardId", "practice", "revision", "state", "createdAt", "lastHeardAt", "steppedAt", "rebuiltAt" FROM "Feeder"`;
  const readFeeder = database.prepare<[string], FeederColumns>(`${selectFeeder} WHERE "id" = ?`);
  const readFeeders = database.prepare<[string], FeederColumns>(
    `${selectFeeder} WHERE "yardId" = ? ORDER BY "createdAt", "id"`,
  );
  const insertEvent = database.prepare(
    `INSERT INTO "Event" ("feederId", "boot", "seq", "kind", "receivedAt", "recordedAt", "body") VALUES (?, ?, ?, ?, ?, ?, ?)`,
  );
  // A moment can come twice only where the clock was set back by more than `nextMoment` bridges; a report may not fail for it.
  const insertHeartbeat = database.prepare(
    `INSERT INTO "Heartbeat" ("feederId", "receivedAt", "boot", "sentUptimeMs", "readings", "seqs")
     VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
  );
  const insertAct = database.prepare(
    `INSERT INTO "KeeperAct" ("feederId", "at", "said") VALUES (?, ?, ?) ON CONFLICT DO NOTHING`,
  );
  const insertLook = database.prepare(
    `INSERT INTO "PatrolLook" ("feederId", "at") VALUES (?, ?) ON CONFLICT DO NOTHING`,
  );
  const readEvent = database.prepare<[string, string, number], { body: string; recordedAt: string }>(
    `SELECT "body", "recordedAt" FROM "Event" WHERE "feederId" = ? AND "boot" = ? AND "seq" = ?`,
  );
  const readNewestEvent = database.prepare<[string, string], { seq: number; receivedAt: string }>(
    `SELECT "seq", "receivedAt" FROM "Event" WHERE "feederId" = ? AND "boot" = ? ORDER BY "seq" DESC LIMIT 1`,
  );
  const readNextBoot = database.prepare<[string, string, string], { boot: string }>(
    `SELECT "boot" FROM "Event" WHERE "feederId" = ? AND "boot" > ? AND "boot" < ? ORDER BY "boot" LIMIT 1`,
  );
  const readUptime = database.prepare<[string, string, string], { sentUptimeMs: number | null }>(
    `SELECT "sentUptimeMs" FROM "Heartbeat" WHERE "feederId" = ? AND "receivedAt" = ? AND "boot" = ?`,
  );
  const updateFeeder = database.prepare(
    `UPDATE "Feeder" SET "state" = ?, "lastHeardAt" = ?, "steppedAt" = ?, "nextLookAt" = ?, "revision" = "revision" + 1
     WHERE "id" = ?`,
  );
  const replaceState = database.prepare(
    `UPDATE "Feeder" SET "damagedState" = "state", "rebuiltAt" = @now, "state" = @state, "steppedAt" = @steppedAt,
       "nextLookAt" = @now, "revision" = "revision" + 1
     WHERE "id" = @id AND "state" = @stored`,
  );
  const insertAlarmChange = database.prepare(
    `INSERT INTO "AlarmChange" ("id", "feederId", "fault", "priority", "from", "to", "at", "reason", "present")
     VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
  );
  const upsertOrder = database.prepare(
    `INSERT INTO "Order" ("id", "feederId", "kind", "until", "askedAt", "askedBy", "phase", "sentAt", "answeredAt", "problem")
     VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
     ON CONFLICT ("feederId", "id") DO UPDATE SET "phase" = excluded."phase", "sentAt" = excluded."sentAt",
       "answeredAt" = excluded."answeredAt", "problem" = excluded."problem"`,
  );
  const insertRefill = database.prepare(
    `INSERT INTO "Refill" ("id", "feederId", "at", "grams", "source", "by") VALUES (?, ?, ?, ?, ?, ?)
     ON CONFLICT DO NOTHING`,
  );
  const insertActId = database.prepare(
    `INSERT INTO "ActId" ("feederId", "id", "at") VALUES (?, ?, ?) ON CONFLICT DO NOTHING`,
  );
  const insertDigest = database.prepare(
    `INSERT INTO "Digest" ("yardId", "localDate", "writtenAt", "title", "lines") VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
  );

  return {
    ...createNotificationTransaction(database),
    changeYard: createYardChange(database),

    async feeders(ids) {
      return ids.flatMap((id) => {
        const row = readFeeder.get(id);
        return row ? [feederFromColumns(row)] : [];
      });
    },

    async feedersOf(yard) {
      return readableRows(readFeeders.all(yard), feederFromColumns);
    },

    async appendEvents(events) {
      let received = { at: 0 as Instant, text: "" }; // a whole report was received at one moment
      for (const event of events) {
        if (received.at !== event.receivedAt) received = { at: event.receivedAt, text: textOf(event.receivedAt) };
        const { feeder, boot, seq, kind, recordedAt, body } = event;
        insertEvent.run(feeder, boot, seq, kind, received.text, textOf(recordedAt), body);
      }
    },

    async appendHeartbeats(heartbeats) {
      for (const { feeder, receivedAt, boot, sentUptimeMs, readings, seqs } of heartbeats) {
        insertHeartbeat.run(feeder, textOf(receivedAt), boot, sentUptimeMs, readings, seqs);
      }
    },

    async appendLogEntry({ feeder, at, entry }) {
      insertAct.run(feeder, textOf(at), entry);
    },

    async appendChecks(looks) {
      for (const { feeder, at } of looks) insertLook.run(feeder, textOf(at));
    },

    async storedEventBodies(feeder, boot, seqs) {
      return new Map(
        seqs.flatMap((seq) => {
          const found = readEvent.get(feeder, boot, seq);
          return found ? [[seq, { body: found.body, recordedAt: instantOf(found.recordedAt) }] as const] : [];
        }),
      );
    },

    async storedBoots(feeder, label) {
      const boots = [label];
      // `#` is followed by `$` in the order of the index: between them lie the later lives, each found by one step.
      for (let last = `${label}#`; ; ) {
        const next = readNextBoot.get(feeder, last, `${label}$`);
        if (!next) break;
        boots.push(next.boot);
        last = next.boot;
      }
      return boots.flatMap((boot) => {
        const newest = readNewestEvent.get(feeder, boot);
        if (!newest) return [];
        const uptime = readUptime.get(feeder, newest.receivedAt, boot)?.sentUptimeMs ?? null;
        const anchor =
          uptime === null ? null : { receivedAt: instantOf(newest.receivedAt), uptime: milliseconds(uptime) };
        return [{ boot, highestSeq: newest.seq, anchor }];
      });
    },

    async saveFeeders(rows) {
      for (const { id, state, lastReportAt, lastStepAt, nextCheckAt } of rows) {
        const moments = [maybeText(lastReportAt), maybeText(lastStepAt), textOf(nextCheckAt)];
        updateFeeder.run(JSON.stringify(state), ...moments, id);
      }
    },

    async replaceDamaged({ id, stored }, { state, steppedAt }, now) {
      const written = { state: JSON.stringify(state), steppedAt: maybeText(steppedAt), now: textOf(now) };
      return replaceState.run({ id, stored, ...written }).changes === 1;
    },

    async appendAlarmChanges(feeder, changes) {
      for (const { fault, priority, from, to, at, reason, present } of changes) {
        insertAlarmChange.run(randomUUID(), feeder, fault, priority, from, to, textOf(at), reason, present ? 1 : 0);
      }
    },

    async saveOrder(feeder, { id, kind, until, requestedAt, requestedBy, status, sentAt, answeredAt, problem }) {
      const times = [maybeText(sentAt), maybeText(answeredAt)];
      upsertOrder.run(id, feeder, kind, maybeText(until), textOf(requestedAt), requestedBy, status, ...times, problem);
    },

    async saveRefill({ id, feeder, at, grams, source, by }) {
      return insertRefill.run(id, feeder, textOf(at), grams, source, by).changes === 1;
    },

    async claimActionId(feeder, id, at) {
      return insertActId.run(feeder, id, textOf(at)).changes === 1;
    },

    async claimDigest(yard, localDate, now, { title, ...told }) {
      return insertDigest.run(yard, localDate, textOf(now), title, JSON.stringify(told)).changes === 1;
    },
  };
}

interface FeederColumns {
  readonly id: string;
  readonly yardId: string;
  readonly practice: 0 | 1;
  readonly revision: number;
  readonly state: string;
  readonly createdAt: string;
  readonly lastHeardAt: string | null;
  readonly steppedAt: string | null;
  readonly rebuiltAt: string | null;
}

const feederFromColumns = (row: FeederColumns): FeederRow => ({
  id: row.id,
  yard: row.yardId,
  practice: row.practice === 1,
  revision: row.revision,
  addedAt: instantOf(row.createdAt),
  lastReportAt: row.lastHeardAt === null ? null : instantOf(row.lastHeardAt),
  lastStepAt: row.steppedAt === null ? null : instantOf(row.steppedAt),
  rebuiltAt: row.rebuiltAt === null ? null : instantOf(row.rebuiltAt),
  state: stateOf(row.id, row.state),
});
