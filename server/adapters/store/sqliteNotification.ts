import type Database from "better-sqlite3";
import { instantOf, later, minutes } from "../../domain/instant.ts";
import type { Escalation, Recipients } from "../../domain/notification/escalation.ts";
import type { NotificationTransaction } from "../../ports.ts";
import { maybeText, textOf } from "./rows.ts";

/** A person's phone that may show notifications, and since when it has its endpoint. */
const isReachablePhone = `"Phone"."keeperId" = "Keeper"."id" AND "Phone"."blockedAt" IS NULL`;
const phoneSince = `coalesce("endpointSince", "addedAt")`;

/** What is written about notifications in one commit with the facts that led to them, in plain SQL. */
export const createNotificationTransaction = (database: Database.Database): NotificationTransaction => ({
  ...escalations(database),
  ...recipients(database),
  enqueue: createEnqueue(database),
  ...displayReceipts(database),
});

function escalations(database: Database.Database): Pick<NotificationTransaction, "escalation" | "saveEscalation"> {
  const readEscalation = database.prepare<[string], { state: string }>(
    `SELECT "state" FROM "Escalation" WHERE "topic" = ?`,
  );
  const upsertEscalation = database.prepare(
    `INSERT INTO "Escalation" ("topic", "yardId", "feederId", "state", "nextAt") VALUES (?, ?, ?, ?, ?)
     ON CONFLICT ("topic") DO UPDATE SET "state" = excluded."state", "nextAt" = excluded."nextAt"`,
  );
  const deleteEscalation = database.prepare(`DELETE FROM "Escalation" WHERE "topic" = ?`);

  return {
    async escalation(topic) {
      const found = readEscalation.get(topic);
      return found ? (JSON.parse(found.state) as Escalation) : null;
    },

    async saveEscalation(topic, escalation, nextAt) {
      if (escalation === null) deleteEscalation.run(topic);
      else
        upsertEscalation.run(topic, escalation.yard, escalation.feeder, JSON.stringify(escalation), maybeText(nextAt));
    },
  };
}

function recipients(database: Database.Database): Pick<NotificationTransaction, "yardName" | "recipients"> {
  const readYard = database.prepare<[string], { name: string; zone: string; escalateMinutes: number }>(
    `SELECT "name", "zone", "escalateMinutes" FROM "Yard" WHERE "id" = ?`,
  );
  const readPeople = database.prepare<[string], RecipientColumns>(
    `SELECT "Keeper"."id", "name", "email", "escalationOrder", "quietFrom", "quietTo", "urgentBreaks",
       "emailSince", (SELECT count(*) FROM "Phone" WHERE ${isReachablePhone}) AS "phoneCount",
       (SELECT max(${phoneSince}) FROM "Phone" WHERE ${isReachablePhone}) AS "phonesSince"
     FROM "Member" JOIN "Keeper" ON "Keeper"."id" = "Member"."keeperId"
     WHERE "yardId" = ? ORDER BY "escalationOrder", "Member"."createdAt", "Keeper"."id"`,
  );

  return {
    async yardName(yard) {
      return readYard.get(yard)?.name ?? null;
    },

    async recipients(yard) {
      const found = readYard.get(yard);
      if (!found) return null;
      return {
        zone: found.zone,
        escalateAfter: minutes(found.escalateMinutes),
        people: readPeople.all(yard).map(recipientFrom),
      };
    },
  };
}

// A newer notification replaces an undelivered older one of its topic, as topics of RFC 8030 do. One that is being sent is replaced
// too: if it fails, it must not be tried again beside the newer one.
function createEnqueue(database: Database.Database): NotificationTransaction["enqueue"] {
  const replaceWaiting = database.prepare(
    `UPDATE "OutboxItem" SET "status" = 'replaced', "settledAt" = @now
     WHERE "keeperId" = @person AND "topic" = @topic AND "channel" = @channel AND "status" = 'waiting' AND (@phonesAfter IS NULL
       OR "phoneId" IN (SELECT "id" FROM "Phone" WHERE "keeperId" = @person AND ${phoneSince} > @phonesAfter))`,
  );
  const columns = `"id", "channel", "yardId", "feederId", "topic", "content", "isClosing", "writtenAt", "dueAt", "keeperId", "phoneId"`;
  // A display receipt names the item by its id, so nobody may guess it.
  const values = `lower(hex(randomblob(16))), ?, ?, ?, ?, ?, ?, ?, ?`;
  const insertPushes = database.prepare(
    `INSERT INTO "OutboxItem" (${columns}) SELECT ${values}, "keeperId", "id" FROM "Phone"
     WHERE "keeperId" = ? AND "blockedAt" IS NULL AND ${phoneSince} > ?`,
  );
  const insertEmail = database.prepare(
    `INSERT INTO "OutboxItem" (${columns}) SELECT ${values}, "id", NULL FROM "Keeper" WHERE "id" = ?`,
  );

  return async ({ person, channel, yard, feeder, content, phonesAfter }, now) => {
    const since = phonesAfter === undefined ? null : textOf(phonesAfter);
    replaceWaiting.run({ now: textOf(now), person, topic: content.topic, channel, phonesAfter: since });
    const isClosing = content.isClosing === true ? 1 : 0;
    const moments = [textOf(now), textOf(now)];
    const written = [channel, yard, feeder, content.topic, JSON.stringify(content), isClosing, ...moments];
    if (channel === "push") insertPushes.run(...written, person, since ?? "");
    else insertEmail.run(...written, person);
  };
}

function displayReceipts(database: Database.Database): Pick<NotificationTransaction, "saveDisplayReceipt"> {
  const readDisplay = database.prepare<[string], DisplayColumns>(
    `SELECT "keeperId" AS "person", "topic", "phoneId", "writtenAt", "displayedAt", "sentTo"
     FROM "OutboxItem" WHERE "id" = ? AND "channel" = 'push'`,
  );
  const markItem = database.prepare(
    `UPDATE "OutboxItem" SET "displayedAt" = @at, "status" = 'delivered', "settledAt" = coalesce("settledAt", @at)
     WHERE "id" = @item`,
  );
  // Only with the endpoint that it was sent to: a receipt from an earlier one proves nothing about the present one.
  const markPhone = database.prepare(
    `UPDATE "Phone" SET "lastDisplayedAt" = @at WHERE "id" = @phoneId AND ("lastDisplayedAt" IS NULL OR "lastDisplayedAt" < @at)
       AND "endpoint" = @sentTo`,
  );

  return {
    async saveDisplayReceipt(item, statedAt) {
      const found = readDisplay.get(item);
      if (!found) return null;
      const { person, topic, phoneId, writtenAt, displayedAt, sentTo } = found;
      if (displayedAt !== null) return { person, topic, at: instantOf(displayedAt) };
      const at = later(statedAt, instantOf(writtenAt));
      markItem.run({ item, at: textOf(at) });
      markPhone.run({ at: textOf(at), phoneId, sentTo });
      return { person, topic, at };
    },
  };
}

interface DisplayColumns {
  readonly person: string;
  readonly topic: string;
  readonly phoneId: string | null;
  readonly writtenAt: string;
  readonly displayedAt: string | null;
  readonly sentTo: string | null;
}

interface RecipientColumns {
  readonly id: string;
  readonly name: string;
  readonly email: string | null;
  readonly escalationOrder: number;
  readonly quietFrom: string | null;
  readonly quietTo: string | null;
  readonly urgentBreaks: 0 | 1;
  readonly emailSince: string | null;
  readonly phoneCount: number;
  readonly phonesSince: string | null;
}

const recipientFrom = ({
  quietFrom,
  quietTo,
  urgentBreaks,
  emailSince,
  phonesSince,
  ...person
}: RecipientColumns): Recipients["people"][number] => ({
  ...person,
  emailSince: maybeInstantOf(emailSince),
  phonesSince: maybeInstantOf(phonesSince),
  quietHours: quietFrom === null || quietTo === null ? null : { from: quietFrom, to: quietTo },
  urgentBreaks: urgentBreaks === 1,
});

const maybeInstantOf = (text: string | null) => (text === null ? null : instantOf(text));
