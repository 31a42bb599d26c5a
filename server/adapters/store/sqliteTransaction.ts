import { randomUUID } from "node:crypto";
import type Database from "better-sqlite3";
import { type Instant, instantOf, milliseconds } from "../../domain/instant.ts";
import type { FeederRow, Transaction } from "../../ports.ts";
import { maybeText, readableRows, stateOf, textOf } from "./rows.ts";
import { createNotificationTransaction } from "./sqliteNotification.ts";
import { createYardChange } from "./sqliteYard.ts";

/**
 * What is written in one transaction, in plain SQL over better-sqlite3. Everything else goes through Prisma. Here Prisma would cost more
 * than SQLite itself (measured: a third of the events per second). Statements are prepared once.
 */
export const createTransaction = (database: Database.Database): Transaction => ({
  ...createNotificationTransaction(database),
  changeYard: createYardChange(database),
  ...feeders(database),
  ...reports(database),
  ...logEntries(database),
  ...keeperActions(database),
});

function feeders(
  database: Database.Database,
): Pick<Transaction, "feeders" | "feedersOf" | "saveFeeders" | "replaceDamaged"> {
  const selectFeeder = `SELECT "id", "yardId", "practice", "revision", "state", "createdAt", "lastReportAt", "lastStepAt", "rebuiltAt" FROM "Feeder"`;
  const readFeeder = database.prepare<[string], FeederColumns>(`${selectFeeder} WHERE "id" = ?`);
  const readFeeders = database.prepare<[string], FeederColumns>(
    `${selectFeeder} WHERE "yardId" = ? ORDER BY "createdAt", "id"`,
  );
  const updateFeeder = database.prepare(
    `UPDATE "Feeder" SET "state" = ?, "lastReportAt" = ?, "lastStepAt" = ?, "nextCheckAt" = ?, "revision" = "revision" + 1
     WHERE "id" = ?`,
  );
  const replaceState = database.prepare(
    `UPDATE "Feeder" SET "damagedState" = "state", "rebuiltAt" = @now, "state" = @state, "lastStepAt" = @lastStepAt,
       "nextCheckAt" = @now, "revision" = "revision" + 1
     WHERE "id" = @id AND "state" = @stored`,
  );

  return {
    async feeders(ids) {
      return ids.flatMap((id) => {
        const row = readFeeder.get(id);
        return row ? [feederFromColumns(row)] : [];
      });
    },

    async feedersOf(yard) {
      return readableRows(readFeeders.all(yard), feederFromColumns);
    },

    async saveFeeders(rows) {
      for (const { id, state, lastReportAt, lastStepAt, nextCheckAt } of rows) {
        const moments = [maybeText(lastReportAt), maybeText(lastStepAt), textOf(nextCheckAt)];
        updateFeeder.run(JSON.stringify(state), ...moments, id);
      }
    },

    async replaceDamaged({ id, stored }, { state, lastStepAt }, now) {
      const written = { state: JSON.stringify(state), lastStepAt: maybeText(lastStepAt), now: textOf(now) };
      return replaceState.run({ id, stored, ...written }).changes === 1;
    },
  };
}

function reports(
  database: Database.Database,
): Pick<Transaction, "appendEvents" | "appendHeartbeats" | "storedEventBodies" | "storedBoots"> {
  const insertEvent = database.prepare(
    `INSERT INTO "Event" ("feederId", "boot", "seq", "kind", "receivedAt", "recordedAt", "body") VALUES (?, ?, ?, ?, ?, ?, ?)`,
  );
  // A moment can repeat only where the clock was set back further than `nextMoment` allows for; a report must not fail for it.
  const insertHeartbeat = database.prepare(
    `INSERT INTO "Heartbeat" ("feederId", "receivedAt", "boot", "sentUptimeMs", "readings", "seqs")
     VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
  );
  const readEvent = database.prepare<[string, string, number], { body: string; recordedAt: string }>(
    `SELECT "body", "recordedAt" FROM "Event" WHERE "feederId" = ? AND "boot" = ? AND "seq" = ?`,
  );

  return {
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

    async storedEventBodies(feeder, boot, seqs) {
      return new Map(
        seqs.flatMap((seq) => {
          const found = readEvent.get(feeder, boot, seq);
          return found ? [[seq, { body: found.body, recordedAt: instantOf(found.recordedAt) }] as const] : [];
        }),
      );
    },

    storedBoots: createStoredBoots(database),
  };
}

function createStoredBoots(database: Database.Database): Transaction["storedBoots"] {
  const readNewestEvent = database.prepare<[string, string], { seq: number; receivedAt: string }>(
    `SELECT "seq", "receivedAt" FROM "Event" WHERE "feederId" = ? AND "boot" = ? ORDER BY "seq" DESC LIMIT 1`,
  );
  const readNextBoot = database.prepare<[string, string, string], { boot: string }>(
    `SELECT "boot" FROM "Event" WHERE "feederId" = ? AND "boot" > ? AND "boot" < ? ORDER BY "boot" LIMIT 1`,
  );
  const readUptime = database.prepare<[string, string, string], { sentUptimeMs: number | null }>(
    `SELECT "sentUptimeMs" FROM "Heartbeat" WHERE "feederId" = ? AND "receivedAt" = ? AND "boot" = ?`,
  );

  return async (feeder, label) => {
    const boots = [label];
    // `$` comes right after `#` in the order of the index: between them are the later starts, each found in one step.
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
  };
}

function logEntries(
  database: Database.Database,
): Pick<Transaction, "appendLogEntry" | "appendChecks" | "appendAlarmChanges"> {
  const insertLogEntry = database.prepare(
    `INSERT INTO "LogEntry" ("feederId", "at", "entry") VALUES (?, ?, ?) ON CONFLICT DO NOTHING`,
  );
  const insertCheck = database.prepare(
    `INSERT INTO "PeriodicCheck" ("feederId", "at") VALUES (?, ?) ON CONFLICT DO NOTHING`,
  );
  const insertAlarmChange = database.prepare(
    `INSERT INTO "AlarmChange" ("id", "feederId", "fault", "priority", "from", "to", "at", "reason", "present")
     VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
  );

  return {
    async appendLogEntry({ feeder, at, entry }) {
      insertLogEntry.run(feeder, textOf(at), entry);
    },

    async appendChecks(checks) {
      for (const { feeder, at } of checks) insertCheck.run(feeder, textOf(at));
    },

    async appendAlarmChanges(feeder, changes) {
      for (const { fault, priority, from, to, at, reason, present } of changes) {
        insertAlarmChange.run(randomUUID(), feeder, fault, priority, from, to, textOf(at), reason, present ? 1 : 0);
      }
    },
  };
}

function keeperActions(
  database: Database.Database,
): Pick<Transaction, "saveOrder" | "saveRefill" | "claimActionId" | "claimDigest"> {
  const upsertOrder = database.prepare(
    `INSERT INTO "Order" ("id", "feederId", "kind", "until", "requestedAt", "requestedBy", "status", "sentAt", "answeredAt", "problem")
     VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
     ON CONFLICT ("feederId", "id") DO UPDATE SET "status" = excluded."status", "sentAt" = excluded."sentAt",
       "answeredAt" = excluded."answeredAt", "problem" = excluded."problem"`,
  );
  const insertRefill = database.prepare(
    `INSERT INTO "Refill" ("id", "feederId", "at", "grams", "source", "by") VALUES (?, ?, ?, ?, ?, ?)
     ON CONFLICT DO NOTHING`,
  );
  const insertActionId = database.prepare(
    `INSERT INTO "ActionId" ("feederId", "id", "at") VALUES (?, ?, ?) ON CONFLICT DO NOTHING`,
  );
  const insertDigest = database.prepare(
    `INSERT INTO "Digest" ("yardId", "localDate", "writtenAt", "title", "lines") VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
  );

  return {
    async saveOrder(feeder, { id, kind, until, requestedAt, requestedBy, status, sentAt, answeredAt, problem }) {
      const times = [maybeText(sentAt), maybeText(answeredAt)];
      upsertOrder.run(id, feeder, kind, maybeText(until), textOf(requestedAt), requestedBy, status, ...times, problem);
    },

    async saveRefill({ id, feeder, at, grams, source, by }) {
      return insertRefill.run(id, feeder, textOf(at), grams, source, by).changes === 1;
    },

    async claimActionId(feeder, id, at) {
      return insertActionId.run(feeder, id, textOf(at)).changes === 1;
    },

    async claimDigest(yard, localDate, now, { title, ...lines }) {
      return insertDigest.run(yard, localDate, textOf(now), title, JSON.stringify(lines)).changes === 1;
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
  readonly lastReportAt: string | null;
  readonly lastStepAt: string | null;
  readonly rebuiltAt: string | null;
}

const feederFromColumns = (row: FeederColumns): FeederRow => ({
  id: row.id,
  yard: row.yardId,
  practice: row.practice === 1,
  revision: row.revision,
  addedAt: instantOf(row.createdAt),
  lastReportAt: row.lastReportAt === null ? null : instantOf(row.lastReportAt),
  lastStepAt: row.lastStepAt === null ? null : instantOf(row.lastStepAt),
  rebuiltAt: row.rebuiltAt === null ? null : instantOf(row.rebuiltAt),
  state: stateOf(row.id, row.state),
});
