import type Database from "better-sqlite3";
import type { Transaction } from "../../ports.ts";
import type { FeederSteps } from "./feederSteps.ts";
import { createLogReader } from "./logReader.ts";
import { maybeText, textOf } from "./rows.ts";
import { createNotificationTransaction } from "./sqliteNotification.ts";
import { createTrainingTransaction } from "./sqliteTraining.ts";
import { createYardTransaction } from "./sqliteYard.ts";

/**
 * What is written in one transaction, in plain SQL over better-sqlite3. Everything else goes through Prisma. Here Prisma would cost more
 * than SQLite itself (measured: a third of the events per second). Statements are prepared once.
 */
export const createTransaction = (database: Database.Database, steps: FeederSteps): Transaction => ({
  ...createNotificationTransaction(database),
  ...createYardTransaction(database),
  ...createTrainingTransaction(database),
  ...feeders(steps),
  ...storedEvents(database, steps),
  ...alarmChanges(database),
  ...keeperActions(database),
});

const feeders = (steps: FeederSteps): Pick<Transaction, "feeders" | "feedersOf" | "saveSteps" | "replaceDamaged"> => ({
  async feeders(ids) {
    return ids.flatMap((id) => steps.rows.one(id) ?? []);
  },
  async feedersOf(yard) {
    return steps.rows.usable(yard);
  },
  async saveSteps(saved) {
    for (const step of saved) steps.save(step);
  },
  async replaceDamaged(feeder, by, now) {
    return steps.replaceDamaged(feeder, by, now);
  },
});

function storedEvents(
  database: Database.Database,
  { rows }: FeederSteps,
): Pick<Transaction, "storedEventBodies" | "storedBoots"> {
  const log = createLogReader(database);
  return {
    async storedEventBodies(feeder, boot, seqs) {
      return log.bodies(rows.number(feeder), boot, seqs);
    },
    async storedBoots(feeder, label) {
      return log.boots(rows.number(feeder), label);
    },
  };
}

function alarmChanges(database: Database.Database): Pick<Transaction, "appendAlarmChanges"> {
  const countAt = database
    .prepare<[string, string], number>(`SELECT count(*) FROM "AlarmChange" WHERE "feederId" = ? AND "at" = ?`)
    .pluck();
  const insertAlarmChange = database.prepare(
    `INSERT INTO "AlarmChange" ("feederId", "at", "place", "fault", "priority", "from", "to", "reason", "present")
     VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
  );

  return {
    async appendAlarmChanges(feeder, changes) {
      for (const { fault, priority, from, to, at, reason, present } of changes) {
        const key = [feeder, textOf(at)] as const;
        insertAlarmChange.run(...key, countAt.get(...key), fault, priority, from, to, reason, present ? 1 : 0);
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
