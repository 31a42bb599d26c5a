import type Database from "better-sqlite3";
import { instantOf, later, minutes } from "../../domain/instant.ts";
import type { Escalation, Recipients } from "../../domain/notification/escalation.ts";
import type { NotificationTransaction } from "../../ports.ts";
import { maybeText, textOf } from "./rows.ts";

/** A person's phone that may show notices, and since when it is as it is now. */
const takesPushes = `"Phone"."keeperId" = "Keeper"."id" AND "Phone"."blockedAt" IS NULL`;
const phoneSince = `coalesce("endpointSince", "addedAt")`;

/** What of telling is written together with the facts that led to it, in the plain SQL of `statementsFor`. */
export function createNotificationTransaction(database: Database.Database): NotificationTransaction {
  const readCall = database.prepare<[string], { state: string }>(`SELECT "state" FROM "Call" WHERE "topic" = ?`);
  const upsertCall = database.prepare(
    `INSERT INTO "Call" ("topic", "yardId", "feederId", "state", "nextAt") VALUES (?, ?, ?, ?, ?)
     ON CONFLICT ("topic") DO UPDATE SET "state" = excluded."state", "nextAt" = excluded."nextAt"`,
  );
  const deleteCall = database.prepare(`DELETE FROM "Call" WHERE "topic" = ?`);
  const readYard = database.prepare<[string], { name: string; zone: string; escalateMinutes: number }>(
    `SELECT "name", "zone", "escalateMinutes" FROM "Yard" WHERE "id" = ?`,
  );
  const readPeople = database.prepare<[string], RecipientColumns>(
    `SELECT "Keeper"."id", "name", "mail", "turn", "quietFrom", "quietTo", "urgentBreaks",
       "mailSince", (SELECT count(*) FROM "Phone" WHERE ${takesPushes}) AS "phones",
       (SELECT max(${phoneSince}) FROM "Phone" WHERE ${takesPushes}) AS "phonesSince"
     FROM "Member" JOIN "Keeper" ON "Keeper"."id" = "Member"."keeperId"
     WHERE "yardId" = ? ORDER BY "turn", "Member"."createdAt", "Keeper"."id"`,
  );
  const replaceWaiting = database.prepare(
    `UPDATE "OutboxItem" SET "phase" = 'replaced', "settledAt" = @now
     WHERE "keeperId" = @person AND "topic" = @topic AND "channel" = @by AND "phase" = 'waiting' AND (@phonesAfter IS NULL
       OR "phoneId" IN (SELECT "id" FROM "Phone" WHERE "keeperId" = @person AND ${phoneSince} > @phonesAfter))`,
  );
  const columns = `"id", "channel", "yardId", "feederId", "topic", "notice", "closes", "writtenAt", "dueAt", "keeperId", "phoneId"`;
  // The id is what a phone says back to prove that it showed the notice: nobody may guess it.
  const values = `lower(hex(randomblob(16))), ?, ?, ?, ?, ?, ?, ?, ?`;
  const insertPushes = database.prepare(
    `INSERT INTO "OutboxItem" (${columns}) SELECT ${values}, "keeperId", "id" FROM "Phone"
     WHERE "keeperId" = ? AND "blockedAt" IS NULL AND ${phoneSince} > ?`,
  );
  const insertMail = database.prepare(
    `INSERT INTO "OutboxItem" (${columns}) SELECT ${values}, "id", NULL FROM "Keeper" WHERE "id" = ?`,
  );
  const readShown = database.prepare<[string], DisplayColumns>(
    `SELECT "keeperId" AS "person", "topic", "phoneId", "writtenAt", "shownAt", "sentTo"
     FROM "OutboxItem" WHERE "id" = ? AND "channel" = 'push'`,
  );
  const markItem = database.prepare(
    `UPDATE "OutboxItem" SET "shownAt" = @at, "phase" = 'delivered', "settledAt" = coalesce("settledAt", @at)
     WHERE "id" = @item`,
  );
  // By the endpoint that it was sent to: what an older one brought proves nothing of the present one.
  const markPhone = database.prepare(
    `UPDATE "Phone" SET "lastShownAt" = @at WHERE "id" = @phoneId AND ("lastShownAt" IS NULL OR "lastShownAt" < @at)
       AND ("endpoint" = @sentTo OR (@sentTo IS NULL AND "endpointSince" IS NULL))`,
  );

  return {
    async escalation(topic) {
      const found = readCall.get(topic);
      return found ? (JSON.parse(found.state) as Escalation) : null;
    },

    async saveEscalation(topic, call, nextAt) {
      if (call === null) deleteCall.run(topic);
      else upsertCall.run(topic, call.yard, call.feeder, JSON.stringify(call), maybeText(nextAt));
    },

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

    // A newer word on the same topic makes an undelivered older one pointless (RFC 8030 topics do the same on the way). That
    // holds for one that is under way too: if it fails, it must not come back beside the newer.
    async enqueue({ person, channel, yard, feeder, content, phonesAfter }, now) {
      const since = phonesAfter === undefined ? null : textOf(phonesAfter);
      replaceWaiting.run({ now: textOf(now), person, topic: content.topic, by: channel, phonesAfter: since });
      const written = [textOf(now), textOf(now)];
      const said = [
        channel,
        yard,
        feeder,
        content.topic,
        JSON.stringify(content),
        content.isClosing === true ? 1 : 0,
        ...written,
      ];
      if (channel === "push") insertPushes.run(...said, person, since ?? "");
      else insertMail.run(...said, person);
    },

    async saveDisplayReceipt(item, said) {
      const found = readShown.get(item);
      if (!found) return null;
      const { person, topic, phoneId, writtenAt, shownAt, sentTo } = found;
      if (shownAt !== null) return { person, topic, at: instantOf(shownAt) };
      const at = later(said, instantOf(writtenAt));
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
  readonly shownAt: string | null;
  readonly sentTo: string | null;
}

interface RecipientColumns {
  readonly id: string;
  readonly name: string;
  readonly mail: string | null;
  readonly turn: number;
  readonly quietFrom: string | null;
  readonly quietTo: string | null;
  readonly urgentBreaks: 0 | 1;
  readonly mailSince: string | null;
  readonly phones: number;
  readonly phonesSince: string | null;
}

const recipientFrom = ({
  quietFrom,
  quietTo,
  urgentBreaks,
  mail,
  mailSince,
  turn,
  phones,
  ...person
}: RecipientColumns): Recipients["people"][number] => ({
  ...person,
  email: mail,
  escalationOrder: turn,
  phoneCount: phones,
  emailSince: maybeInstantOf(mailSince),
  phonesSince: maybeInstantOf(person.phonesSince),
  quietHours: quietFrom === null || quietTo === null ? null : { from: quietFrom, to: quietTo },
  urgentBreaks: urgentBreaks === 1,
});

const maybeInstantOf = (text: string | null) => (text === null ? null : instantOf(text));
