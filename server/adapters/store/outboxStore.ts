import { randomBytes } from "node:crypto";
import type Database from "better-sqlite3";
import { type Instant, instantOf } from "../../domain/instant.ts";
import type { NotificationContent } from "../../domain/notification/content.ts";
import { type EarlierNotification, needsClosing, needsSound } from "../../domain/push/closing.ts";
import { fairShare, rankOf, serviceOfEndpoint, unlimitedCapacity } from "../../domain/push/fairShare.ts";
import type { Channel, EmailItem, OutboxItem, OutboxStore, PushItem, Settlement } from "../../ports.ts";
import { createLostNotifications } from "./lostNotifications.ts";
import type { Connections } from "./openStore.ts";
import { createGonePhones } from "./phoneStore.ts";
import { textOf } from "./rows.ts";

/** The outbox in plain SQL: its questions are about one screen's items side by side, for which Prisma has no words. */
export function createOutboxStore({ reader, direct, transact }: Connections): OutboxStore {
  const statements = statementsOn(direct);
  const lost = createLostNotifications(direct);
  const phoneIsGone = createGonePhones(direct);
  return {
    claim: (channel, now, claimUntil, most, lanes = unlimitedCapacity) =>
      transact(async () => {
        for (;;) {
          const due = statements.due.all({ channel, now: textOf(now) });
          const chosen = fairShare(due.map(candidateFrom), lanes, most).map(({ id }) => rowOf(statements, id));
          const needless = chosen.filter((row) => isNeedless(statements, row));
          for (const { id } of needless) statements.needless.run(textOf(now), id);
          if (needless.length > 0) continue; // each round has fewer of them
          for (const { id } of chosen) statements.claim.run(textOf(claimUntil), id);
          return chosen.map((row) => itemFrom(row, needsSound(earlierNotifications(statements, row))));
        }
      }),

    startClaimed: (phone, content, now, claimUntil) =>
      transact(async () => {
        const id = randomBytes(16).toString("hex");
        const moments = [textOf(now), textOf(now), textOf(claimUntil)];
        statements.begin.run(
          id,
          phone.keeper,
          phone.id,
          content.topic,
          JSON.stringify(content),
          ...moments,
          phone.endpoint,
        );
        return {
          id,
          channel: "push",
          person: phone.keeper,
          phone,
          yard: null,
          feeder: null,
          content,
          writtenAt: now,
          attempts: 0,
        };
      }),

    settle: (item, settlement) =>
      transact(async () => {
        if (item.channel === "push" && settlement.kind === "phoneGone") {
          if (phoneIsGone(item.phone, settlement.at)) statements.sendAgain.run(textOf(settlement.at), item.id);
          return;
        }
        if (item.channel === "push" && settlement.kind !== "delivered" && isRenewed(statements, item.phone)) {
          // That was the endpoint before: the present one has not been tried.
          statements.sendAgain.run(textOf(settlement.kind === "retry" ? settlement.notBefore : settlement.at), item.id);
          return;
        }
        settleItem(statements, item.id, settlement);
        if (item.channel === "push") updatePhone(statements, item.phone, settlement);
        if (settlement.kind === "givenUp") lost.mark(item.person, item.channel, [item.content.topic], settlement.at);
      }),

    async nextDueAt() {
      const [next] = await reader.$queryRawUnsafe<{ at: string | null }[]>(
        // Also of one that waits behind an older one under way: to look before that claim ends would be to look in vain.
        `SELECT CAST(MIN(MAX("dueAt", COALESCE("claimedUntil", "dueAt"), COALESCE((
           SELECT MAX(older."claimedUntil") FROM "OutboxItem" AS older
           WHERE ${sameScreen("older", "item")} AND older.rowid < item.rowid AND older."phase" IN ('waiting', 'replaced')
         ), "dueAt"))) AS TEXT) AS at
         FROM "OutboxItem" AS item WHERE "phase" = 'waiting'`,
      );
      return next?.at ? instantOf(next.at) : null;
    },

    prune: (settledBefore) =>
      transact(async () => {
        statements.prune.run(textOf(settledBefore));
      }),
  };
}

type Statements = ReturnType<typeof statementsOn>;

const sameScreen = (one: string, other: string) =>
  `${one}."keeperId" = ${other}."keeperId" AND ${one}."topic" = ${other}."topic"
   AND ${one}."channel" = ${other}."channel" AND ${one}."phoneId" IS ${other}."phoneId"`;

function statementsOn(database: Database.Database) {
  return {
    due: database.prepare<[{ channel: Channel; now: string }], DueColumns>(
      `SELECT item."id", item."keeperId", item."closes", json_extract(item."notice", '$.priority') AS "priority", phone."endpoint"
       FROM "OutboxItem" AS item LEFT JOIN "Phone" AS phone ON phone."id" = item."phoneId"
       WHERE item."phase" = 'waiting' AND item."channel" = @channel AND item."dueAt" <= @now
         AND (item."claimedUntil" IS NULL OR item."claimedUntil" <= @now)
         AND NOT EXISTS (
           SELECT 1 FROM "OutboxItem" AS older WHERE ${sameScreen("older", "item")} AND older.rowid < item.rowid
             AND older."claimedUntil" > @now AND older."phase" IN ('waiting', 'replaced'))
       ORDER BY item."dueAt", item.rowid`,
    ),
    item: database.prepare<[string], ItemColumns>(
      `SELECT item.*, item.rowid AS "place", phone."endpoint", phone."p256dh", phone."auth", phone."label", phone."addedAt",
         phone."lastAcceptedAt", phone."lastShownAt", phone."blockedAt", phone."problem" AS "phoneProblem", "Keeper"."mail" AS "to",
         "Yard"."name" AS "yardName", json_extract("Feeder"."state", '$.settings.name') AS "feederName"
       FROM "OutboxItem" AS item JOIN "Keeper" ON "Keeper"."id" = item."keeperId"
         LEFT JOIN "Phone" AS phone ON phone."id" = item."phoneId" LEFT JOIN "Yard" ON "Yard"."id" = item."yardId"
         LEFT JOIN "Feeder" ON "Feeder"."id" = item."feederId"
       WHERE item."id" = ?`,
    ),
    // A claim that ran out was never settled: that attempt may have arrived.
    claim: database.prepare(
      `UPDATE "OutboxItem" SET "unsure" = "unsure" OR "claimedUntil" IS NOT NULL, "claimedUntil" = ?,
         "sentTo" = (SELECT "endpoint" FROM "Phone" WHERE "Phone"."id" = "OutboxItem"."phoneId"),
         "attempts" = "attempts" + 1 WHERE "id" = ?`,
    ),
    meantBefore: database.prepare<[ItemColumns], { closes: 0 | 1; quiet: 0 | 1; arrived: 0 | 1 }>(
      `SELECT older."closes", json_extract(older."notice", '$.silent') AS "quiet",
         older."phase" = 'delivered' OR older."unsure" OR older."claimedUntil" IS NOT NULL AS "arrived"
       FROM "OutboxItem" AS older
       WHERE older."keeperId" = @keeperId AND older."topic" = @topic AND older."channel" = @channel
         AND older."phoneId" IS @phoneId AND older.rowid < @place
       ORDER BY older.rowid DESC LIMIT 200`,
    ),
    needless: database.prepare(`UPDATE "OutboxItem" SET "phase" = 'needless', "settledAt" = ? WHERE "id" = ?`),
    begin: database.prepare(
      `INSERT INTO "OutboxItem" ("id", "channel", "keeperId", "phoneId", "topic", "notice", "writtenAt", "dueAt",
         "claimedUntil", "sentTo", "attempts") VALUES (?, 'push', ?, ?, ?, ?, ?, ?, ?, ?, 1)`,
    ),
    // One that was replaced while it was under way arrived all the same.
    delivered: database.prepare(
      `UPDATE "OutboxItem" SET "phase" = 'delivered', "settledAt" = ?, "problem" = NULL
       WHERE "id" = ? AND "phase" IN ('waiting', 'replaced')`,
    ),
    failed: database.prepare(
      `UPDATE "OutboxItem" SET "claimedUntil" = NULL, "problem" = ?, "unsure" = "unsure" OR ? WHERE "id" = ?`,
    ),
    // `waiting` only: while it was under way, a newer word may have replaced it.
    putOff: database.prepare(`UPDATE "OutboxItem" SET "dueAt" = ? WHERE "id" = ? AND "phase" = 'waiting'`),
    givenUp: database.prepare(
      `UPDATE "OutboxItem" SET "phase" = 'givenUp', "settledAt" = ? WHERE "id" = ? AND "phase" = 'waiting'`,
    ),
    endpointOf: database.prepare<[string], string>(`SELECT "endpoint" FROM "Phone" WHERE "id" = ?`).pluck(),
    sendAgain: database.prepare(
      `UPDATE "OutboxItem" SET "claimedUntil" = NULL, "dueAt" = ? WHERE "id" = ? AND "phase" = 'waiting'`,
    ),
    phoneAccepted: database.prepare(
      `UPDATE "Phone" SET "lastAcceptedAt" = ?, "problem" = NULL WHERE "id" = ? AND "endpoint" = ?`,
    ),
    phoneProblem: database.prepare(`UPDATE "Phone" SET "problem" = ? WHERE "id" = ? AND "endpoint" = ?`),
    prune: database.prepare(
      `DELETE FROM "OutboxItem" WHERE "settledAt" < ? AND "topic" NOT IN (SELECT "topic" FROM "Call")`,
    ),
  };
}

interface DueColumns {
  readonly id: string;
  readonly keeperId: string;
  readonly closes: 0 | 1;
  readonly priority: NotificationContent["priority"];
  readonly endpoint: string | null;
}

const candidateFrom = ({ id, keeperId, closes, priority, endpoint }: DueColumns) => ({
  id,
  person: keeperId,
  service: endpoint === null ? "mail" : serviceOfEndpoint(endpoint),
  rank: rankOf({ priority, ...(closes === 1 ? { isClosing: true as const } : {}) }),
});

function rowOf({ item }: Statements, id: string): ItemColumns {
  const row = item.get(id);
  if (row === undefined) throw new Error(`expected the outbox item ${id}, which was due just now`);
  return row;
}

/** An item that was tried already is on its way: it is judged once, before its first attempt. */
function isNeedless(statements: Statements, row: ItemColumns): boolean {
  if (row.closes === 0 || row.attempts > 0) return false;
  return !needsClosing(earlierNotifications(statements, row));
}

const earlierNotifications = ({ meantBefore }: Statements, row: ItemColumns): EarlierNotification[] =>
  meantBefore.all(row).map(({ closes, quiet, arrived }) => ({
    isClosing: closes === 1,
    silent: quiet === 1,
    arrived: arrived === 1,
  }));

function settleItem({ delivered, failed, putOff, givenUp }: Statements, id: string, settlement: Settlement): void {
  if (settlement.kind === "delivered") {
    delivered.run(textOf(settlement.at), id);
    return;
  }
  const unsure = settlement.kind !== "phoneGone" && settlement.mayHaveArrived === true;
  failed.run(settlement.problem, unsure ? 1 : 0, id);
  if (settlement.kind === "retry") putOff.run(textOf(settlement.notBefore), id);
  else givenUp.run(textOf(settlement.at), id);
}

const isRenewed = ({ endpointOf }: Statements, { id, endpoint }: PushItem["phone"]): boolean =>
  (endpointOf.get(id) ?? endpoint) !== endpoint;

function updatePhone(
  { phoneAccepted, phoneProblem }: Statements,
  { id, endpoint }: PushItem["phone"],
  settlement: Settlement,
): void {
  if (settlement.kind === "delivered") phoneAccepted.run(textOf(settlement.at), id, endpoint);
  else phoneProblem.run(settlement.problem, id, endpoint);
}

interface ItemColumns {
  readonly id: string;
  readonly place: number;
  readonly channel: "push" | "email";
  readonly keeperId: string;
  readonly phoneId: string | null;
  readonly yardId: string | null;
  readonly feederId: string | null;
  readonly topic: string;
  readonly notice: string;
  readonly closes: 0 | 1;
  readonly writtenAt: string;
  readonly attempts: number;
  readonly endpoint: string;
  readonly p256dh: string;
  readonly auth: string;
  readonly label: string;
  readonly addedAt: string;
  readonly lastAcceptedAt: string | null;
  readonly lastShownAt: string | null;
  readonly blockedAt: string | null;
  readonly phoneProblem: string | null;
  readonly to: string | null;
  readonly yardName: string | null;
  readonly feederName: string | null;
}

/** @param sounds whether a quiet notice must sound: the one with the sound never arrived */
function itemFrom(row: ItemColumns, sounds: boolean): OutboxItem {
  const notice = JSON.parse(row.notice) as NotificationContent;
  const item = {
    id: row.id,
    person: row.keeperId,
    yard: row.yardId,
    feeder: row.feederId,
    content: { ...notice, silent: notice.silent && (notice.isClosing === true || !sounds) },
    writtenAt: instantOf(row.writtenAt),
    attempts: row.attempts,
  };
  if (row.phoneId === null) {
    const { to, yardName, feederName } = row;
    return { ...item, channel: "email", to, yardName, feederName } satisfies EmailItem;
  }
  return { ...item, channel: "push", phone: phoneOf(row, row.phoneId) } satisfies PushItem;
}

const phoneOf = (row: ItemColumns, id: string): PushItem["phone"] => ({
  id,
  keeper: row.keeperId,
  endpoint: row.endpoint,
  p256dh: row.p256dh,
  auth: row.auth,
  label: row.label,
  addedAt: instantOf(row.addedAt),
  lastAcceptedAt: maybeInstantOf(row.lastAcceptedAt),
  lastDisplayedAt: maybeInstantOf(row.lastShownAt),
  problem: row.phoneProblem,
  blockedAt: maybeInstantOf(row.blockedAt),
});

const maybeInstantOf = (text: string | null): Instant | null => (text === null ? null : instantOf(text));
