import { randomBytes } from "node:crypto";
import { type Instant, instantOf } from "../../domain/instant.ts";
import type { NotificationContent } from "../../domain/notification/content.ts";
import { type EarlierNotification, needsClosing, needsSound } from "../../domain/push/closing.ts";
import { fairShare, rankOf, serviceOfEndpoint, unlimitedCapacity } from "../../domain/push/fairShare.ts";
import type { EmailItem, OutboxItem, OutboxStore, PushItem, Settlement } from "../../ports.ts";
import { createGonePhoneRecorder } from "./goneEndpoints.ts";
import { createLostNotifications } from "./lostNotifications.ts";
import type { Connections } from "./openStore.ts";
import {
  claimStatements,
  contactStatements,
  type DueColumns,
  type ItemColumns,
  sameScreen,
  settleStatements,
} from "./outboxStatements.ts";
import { textOf } from "./rows.ts";

export const createOutboxStore = (connections: Connections): OutboxStore => ({
  ...claims(connections),
  ...settlements(connections),
  ...dueTimes(connections),
});

// --- claim -----------------------------------------------------------------------------------------------------------

type ClaimStatements = ReturnType<typeof claimStatements>;

function claims({ direct, transact }: Connections): Pick<OutboxStore, "claim" | "startClaimed"> {
  const statements = claimStatements(direct);
  return {
    claim: (channel, now, claimUntil, most, capacity = unlimitedCapacity) =>
      transact(async () => {
        for (;;) {
          const due = statements.due.all({ channel, now: textOf(now) });
          const chosen = fairShare(due.map(candidateFrom), capacity, most).map(({ id }) => rowOf(statements, id));
          const needless = chosen.filter((row) => isNeedless(statements, row));
          for (const { id } of needless) statements.needless.run(textOf(now), id);
          if (needless.length > 0) continue; // ends, as each round has fewer of them
          for (const { id } of chosen) statements.claim.run(textOf(claimUntil), id);
          return chosen.map((row) => itemFrom(row, needsSound(earlierNotifications(statements, row))));
        }
      }),

    startClaimed: (phone, content, now, claimUntil) =>
      transact(async () => {
        const id = randomBytes(16).toString("hex");
        const moments = [textOf(now), textOf(now), textOf(claimUntil)];
        const written = [phone.keeper, phone.id, content.topic, JSON.stringify(content), ...moments, phone.endpoint];
        statements.insertClaimed.run(id, ...written);
        const about = { person: phone.keeper, yard: null, feeder: null };
        return { id, channel: "push", ...about, phone, content, writtenAt: now, attempts: 0 };
      }),
  };
}

const candidateFrom = ({ id, keeperId, isClosing, priority, endpoint }: DueColumns) => ({
  id,
  person: keeperId,
  service: endpoint === null ? "email" : serviceOfEndpoint(endpoint),
  rank: rankOf({ priority, ...(isClosing === 1 ? { isClosing: true as const } : {}) }),
});

function rowOf({ item }: ClaimStatements, id: string): ItemColumns {
  const row = item.get(id);
  if (row === undefined) throw new Error(`expected the outbox item ${id}, which was due just now`);
  return row;
}

/** Only before the first attempt: after it, the item may have arrived. */
function isNeedless(statements: ClaimStatements, row: ItemColumns): boolean {
  if (row.isClosing === 0 || row.attempts > 0) return false;
  return !needsClosing(earlierNotifications(statements, row));
}

const earlierNotifications = ({ earlier }: ClaimStatements, row: ItemColumns): EarlierNotification[] =>
  earlier.all(row).map(({ isClosing, silent, arrived }) => ({
    isClosing: isClosing === 1,
    silent: silent === 1,
    arrived: arrived === 1,
  }));

/** @param sounds whether a silent notification must sound, since the one with the sound never arrived */
function itemFrom(row: ItemColumns, sounds: boolean): OutboxItem {
  const content = JSON.parse(row.content) as NotificationContent;
  const item = {
    id: row.id,
    person: row.keeperId,
    yard: row.yardId,
    feeder: row.feederId,
    content: { ...content, silent: content.silent && (content.isClosing === true || !sounds) },
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
  lastDisplayedAt: maybeInstantOf(row.lastDisplayedAt),
  problem: row.phoneProblem,
  blockedAt: maybeInstantOf(row.blockedAt),
});

const maybeInstantOf = (text: string | null): Instant | null => (text === null ? null : instantOf(text));

// --- settle ----------------------------------------------------------------------------------------------------------

type SettleStatements = ReturnType<typeof settleStatements>;
type ContactStatements = ReturnType<typeof contactStatements>;

function settlements({ direct, transact }: Connections): Pick<OutboxStore, "settle" | "prune"> {
  const items = settleStatements(direct);
  const phones = contactStatements(direct);
  const lost = createLostNotifications(direct);
  const recordGonePhone = createGonePhoneRecorder(direct);
  return {
    settle: (item, settlement) =>
      transact(async () => {
        if (item.channel === "push" && settlement.kind === "phoneGone") {
          if (recordGonePhone(item.phone, settlement.at)) items.sendAgain.run(textOf(settlement.at), item.id);
          return;
        }
        if (item.channel === "push" && settlement.kind !== "delivered" && isRenewed(phones, item.phone)) {
          // That was the previous endpoint: the present one has not been tried.
          items.sendAgain.run(textOf(settlement.kind === "retry" ? settlement.notBefore : settlement.at), item.id);
          return;
        }
        settleItem(items, item.id, settlement);
        if (item.channel === "push") updatePhone(phones, item.phone, settlement);
        if (settlement.kind === "givenUp") lost.mark(item.person, item.channel, [item.content.topic], settlement.at);
      }),

    prune: (settledBefore) =>
      transact(async () => {
        items.prune.run(textOf(settledBefore));
      }),
  };
}

function settleItem(
  { delivered, failed, postpone, givenUp }: SettleStatements,
  id: string,
  settlement: Settlement,
): void {
  if (settlement.kind === "delivered") {
    delivered.run(textOf(settlement.at), id);
    return;
  }
  const mayHaveArrived = settlement.kind !== "phoneGone" && settlement.mayHaveArrived === true;
  failed.run(settlement.problem, mayHaveArrived ? 1 : 0, id);
  if (settlement.kind === "retry") postpone.run(textOf(settlement.notBefore), id);
  else givenUp.run(textOf(settlement.at), id);
}

const isRenewed = ({ endpointOf }: ContactStatements, { id, endpoint }: PushItem["phone"]): boolean =>
  (endpointOf.get(id) ?? endpoint) !== endpoint;

function updatePhone(
  { phoneAccepted, phoneProblem }: ContactStatements,
  { id, endpoint }: PushItem["phone"],
  settlement: Settlement,
): void {
  if (settlement.kind === "delivered") phoneAccepted.run(textOf(settlement.at), id, endpoint);
  else phoneProblem.run(settlement.problem, id, endpoint);
}

// --- when it goes on -------------------------------------------------------------------------------------------------

function dueTimes({ reader }: Connections): Pick<OutboxStore, "nextDueAt"> {
  return {
    async nextDueAt() {
      const [next] = await reader.$queryRawUnsafe<{ at: string | null }[]>(
        // An item that waits for an older one isn't due before that one's claim ends.
        `SELECT CAST(MIN(MAX("dueAt", COALESCE("claimedUntil", "dueAt"), COALESCE((
           SELECT MAX(older."claimedUntil") FROM "OutboxItem" AS older
           WHERE ${sameScreen("older", "item")} AND older.rowid < item.rowid AND older."status" IN ('waiting', 'replaced')
         ), "dueAt"))) AS TEXT) AS at
         FROM "OutboxItem" AS item WHERE "status" = 'waiting'`,
      );
      return next?.at ? instantOf(next.at) : null;
    },
  };
}
