import type Database from "better-sqlite3";
import { type Instant, instantOf } from "../../domain/instant.ts";
import { recordLoss } from "../../domain/notification/deliveryLoss.ts";
import type { Escalation, OutgoingNotification } from "../../domain/notification/escalation.ts";
import { textOf } from "./rows.ts";

/** Records in an escalation that no notification to a person has arrived, in the commit in which that becomes known. */
export interface LostNotifications {
  /** Topics of the notifications to a phone; to be read before the phone is removed. */
  topicsOf(phone: string): readonly string[];
  /** To be called after the item was settled or removed with its phone. */
  mark(person: string, channel: OutgoingNotification["channel"], topics: readonly string[], at: Instant): void;
}

export function createLostNotifications(database: Database.Database): LostNotifications {
  const topicsOf = database
    .prepare<[string], string>(
      `SELECT DISTINCT "topic" FROM "OutboxItem" WHERE "phoneId" = ? AND "topic" IN (SELECT "topic" FROM "Escalation")`,
    )
    .pluck();
  const readEscalation = database
    .prepare<[string], string>(`SELECT "state" FROM "Escalation" WHERE "topic" = ?`)
    .pluck();
  // A waiting item may still arrive, and an attempt without an answer may have arrived; a blocked phone shows nothing.
  const newestPossible = database
    .prepare<[string, string, string], string | null>(
      `SELECT max("writtenAt") FROM "OutboxItem" AS item LEFT JOIN "Phone" ON "Phone"."id" = item."phoneId"
       WHERE item."keeperId" = ? AND "topic" = ? AND "channel" = ? AND "Phone"."blockedAt" IS NULL
         AND ("status" IN ('waiting', 'delivered') OR "mayHaveArrived")`,
    )
    .pluck();
  const saveEscalation = database.prepare(`UPDATE "Escalation" SET "state" = ?, "nextAt" = ? WHERE "topic" = ?`);

  return {
    topicsOf: (phone) => topicsOf.all(phone),
    mark(person, channel, topics, at) {
      for (const topic of topics) {
        const stored = readEscalation.get(topic);
        if (stored === undefined) continue;
        const escalation = JSON.parse(stored) as Escalation;
        const newest = newestPossible.get(person, topic, channel) ?? null;
        const marked = recordLoss(
          escalation,
          { person, channel, newestSentAt: newest === null ? null : instantOf(newest) },
          at,
        );
        if (marked !== escalation) saveEscalation.run(JSON.stringify(marked), textOf(at), topic);
      }
    },
  };
}
