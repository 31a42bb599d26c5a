import type Database from "better-sqlite3";
import type { NotificationContent } from "../../domain/notification/content.ts";
import type { Channel } from "../../ports.ts";

/** The outbox in plain SQL: its queries compare the items of one screen with each other, which Prisma can't express. */
export const sameScreen = (one: string, other: string) =>
  `${one}."keeperId" = ${other}."keeperId" AND ${one}."topic" = ${other}."topic"
   AND ${one}."channel" = ${other}."channel" AND ${one}."phoneId" IS ${other}."phoneId"`;

export const claimStatements = (database: Database.Database) => ({
  due: database.prepare<[{ channel: Channel; now: string }], DueColumns>(
    `SELECT item."id", item."keeperId", item."isClosing", json_extract(item."content", '$.priority') AS "priority", phone."endpoint"
     FROM "OutboxItem" AS item LEFT JOIN "Phone" AS phone ON phone."id" = item."phoneId"
     WHERE item."status" = 'waiting' AND item."channel" = @channel AND item."dueAt" <= @now
       AND (item."claimedUntil" IS NULL OR item."claimedUntil" <= @now)
       AND NOT EXISTS (
         SELECT 1 FROM "OutboxItem" AS older WHERE ${sameScreen("older", "item")} AND older.rowid < item.rowid
           AND older."claimedUntil" > @now AND older."status" IN ('waiting', 'replaced'))
     ORDER BY item."dueAt", item.rowid`,
  ),
  item: database.prepare<[string], ItemColumns>(
    `SELECT item.*, item.rowid AS "place", phone."endpoint", phone."p256dh", phone."auth", phone."label", phone."addedAt",
       phone."lastAcceptedAt", phone."lastDisplayedAt", phone."blockedAt", phone."problem" AS "phoneProblem", "Keeper"."email" AS "to",
       "Yard"."name" AS "yardName", "Feeder"."name" AS "feederName"
     FROM "OutboxItem" AS item JOIN "Keeper" ON "Keeper"."id" = item."keeperId"
       LEFT JOIN "Phone" AS phone ON phone."id" = item."phoneId" LEFT JOIN "Yard" ON "Yard"."id" = item."yardId"
       LEFT JOIN "Feeder" ON "Feeder"."id" = item."feederId"
     WHERE item."id" = ?`,
  ),
  // A claim that ran out was never settled, so that attempt may have arrived.
  claim: database.prepare(
    `UPDATE "OutboxItem" SET "mayHaveArrived" = "mayHaveArrived" OR "claimedUntil" IS NOT NULL, "claimedUntil" = ?,
       "sentTo" = (SELECT "endpoint" FROM "Phone" WHERE "Phone"."id" = "OutboxItem"."phoneId"),
       "attempts" = "attempts" + 1 WHERE "id" = ?`,
  ),
  earlier: database.prepare<[ItemColumns], { isClosing: 0 | 1; silent: 0 | 1; arrived: 0 | 1 }>(
    `SELECT older."isClosing", json_extract(older."content", '$.silent') AS "silent",
       older."status" = 'delivered' OR older."mayHaveArrived" OR older."claimedUntil" IS NOT NULL AS "arrived"
     FROM "OutboxItem" AS older
     WHERE older."keeperId" = @keeperId AND older."topic" = @topic AND older."channel" = @channel
       AND older."phoneId" IS @phoneId AND older.rowid < @place
     ORDER BY older.rowid DESC LIMIT 200`,
  ),
  needless: database.prepare(`UPDATE "OutboxItem" SET "status" = 'needless', "settledAt" = ? WHERE "id" = ?`),
  insertClaimed: database.prepare(
    `INSERT INTO "OutboxItem" ("id", "channel", "keeperId", "phoneId", "topic", "content", "writtenAt", "dueAt",
       "claimedUntil", "sentTo", "attempts") VALUES (?, 'push', ?, ?, ?, ?, ?, ?, ?, ?, 1)`,
  ),
});

export const settleStatements = (database: Database.Database) => ({
  // One that was replaced while it was being sent has arrived too.
  delivered: database.prepare(
    `UPDATE "OutboxItem" SET "status" = 'delivered', "settledAt" = ?, "problem" = NULL
     WHERE "id" = ? AND "status" IN ('waiting', 'replaced')`,
  ),
  failed: database.prepare(
    `UPDATE "OutboxItem" SET "claimedUntil" = NULL, "problem" = ?, "mayHaveArrived" = "mayHaveArrived" OR ? WHERE "id" = ?`,
  ),
  // `waiting` only: a newer one may have replaced it while it was being sent.
  postpone: database.prepare(`UPDATE "OutboxItem" SET "dueAt" = ? WHERE "id" = ? AND "status" = 'waiting'`),
  givenUp: database.prepare(
    `UPDATE "OutboxItem" SET "status" = 'givenUp', "settledAt" = ? WHERE "id" = ? AND "status" = 'waiting'`,
  ),
  sendAgain: database.prepare(
    `UPDATE "OutboxItem" SET "claimedUntil" = NULL, "dueAt" = ? WHERE "id" = ? AND "status" = 'waiting'`,
  ),
  prune: database.prepare(
    `DELETE FROM "OutboxItem" WHERE "settledAt" < ? AND "topic" NOT IN (SELECT "topic" FROM "Escalation")`,
  ),
});

/** What an attempt showed about its phone. */
export const contactStatements = (database: Database.Database) => ({
  endpointOf: database.prepare<[string], string>(`SELECT "endpoint" FROM "Phone" WHERE "id" = ?`).pluck(),
  phoneAccepted: database.prepare(
    `UPDATE "Phone" SET "lastAcceptedAt" = ?, "problem" = NULL WHERE "id" = ? AND "endpoint" = ?`,
  ),
  phoneProblem: database.prepare(`UPDATE "Phone" SET "problem" = ? WHERE "id" = ? AND "endpoint" = ?`),
});

export interface DueColumns {
  readonly id: string;
  readonly keeperId: string;
  readonly isClosing: 0 | 1;
  readonly priority: NotificationContent["priority"];
  readonly endpoint: string | null;
}

export interface ItemColumns {
  readonly id: string;
  readonly place: number;
  readonly channel: "push" | "email";
  readonly keeperId: string;
  readonly phoneId: string | null;
  readonly yardId: string | null;
  readonly feederId: string | null;
  readonly topic: string;
  readonly content: string;
  readonly isClosing: 0 | 1;
  readonly writtenAt: string;
  readonly attempts: number;
  readonly endpoint: string;
  readonly p256dh: string;
  readonly auth: string;
  readonly label: string;
  readonly addedAt: string;
  readonly lastAcceptedAt: string | null;
  readonly lastDisplayedAt: string | null;
  readonly blockedAt: string | null;
  readonly phoneProblem: string | null;
  readonly to: string | null;
  readonly yardName: string | null;
  readonly feederName: string | null;
}
