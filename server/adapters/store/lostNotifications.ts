import type Database from "better-sqlite3";
import { type Instant, instantOf } from "../../domain/instant.ts";
import { recordLoss } from "../../domain/notification/deliveryLoss.ts";
import type { Escalation, OutgoingNotification } from "../../domain/notification/escalation.ts";
import { textOf } from "./rows.ts";

/** Tells calls, in the commit in which that becomes known, that what they sent to a person has reached nothing. */
export interface LostNotifications {
  /** Topics of what a phone was sent, or is to be sent: to be asked before the phone goes. */
  topicsOf(phone: string): readonly string[];
  /** To be called after the item was settled or has gone with its phone. */
  mark(person: string, by: OutgoingNotification["channel"], topics: readonly string[], at: Instant): void;
}

export function createLostNotifications(database: Database.Database): LostNotifications {
  const topicsOf = database
    .prepare<[string], string>(
      `SELECT DISTINCT "topic" FROM "OutboxItem" WHERE "phoneId" = ? AND "topic" IN (SELECT "topic" FROM "Call")`,
    )
    .pluck();
  const readCall = database.prepare<[string], string>(`SELECT "state" FROM "Call" WHERE "topic" = ?`).pluck();
  // What waits may yet arrive, and so may an attempt without an answer have; a blocked phone shows nothing.
  const newestAlive = database
    .prepare<[string, string, string], string | null>(
      `SELECT max("writtenAt") FROM "OutboxItem" AS item LEFT JOIN "Phone" ON "Phone"."id" = item."phoneId"
       WHERE item."keeperId" = ? AND "topic" = ? AND "channel" = ? AND "Phone"."blockedAt" IS NULL
         AND ("phase" IN ('waiting', 'delivered') OR "unsure")`,
    )
    .pluck();
  const saveCall = database.prepare(`UPDATE "Call" SET "state" = ?, "nextAt" = ? WHERE "topic" = ?`);

  return {
    topicsOf: (phone) => topicsOf.all(phone),
    mark(person, by, topics, at) {
      for (const topic of topics) {
        const stored = readCall.get(topic);
        if (stored === undefined) continue;
        const call = JSON.parse(stored) as Escalation;
        const newest = newestAlive.get(person, topic, by) ?? null;
        const marked = recordLoss(
          call,
          { person, channel: by, newestSentAt: newest === null ? null : instantOf(newest) },
          at,
        );
        if (marked !== call) saveCall.run(JSON.stringify(marked), textOf(at), topic);
      }
    },
  };
}
