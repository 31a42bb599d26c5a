import type { AlarmState } from "../../domain/alarms/alarmStates.ts";
import type { FaultKind, Priority } from "../../domain/faults.ts";
import type { Instant } from "../../domain/instant.ts";
import type { OrderKind, OrderStatus } from "../../domain/orders/order.ts";
import { grams } from "../../domain/units.ts";
import type { RecordStore, StoredRefill } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { dateOf, instantFrom, maybeInstant, textOf } from "./rows.ts";

/** SQLite limits the number of conditions in a query; usually there is one. */
const rangesAtOnce = 100;

const timeRange = (after: Instant | null, to: Instant) => ({
  ...(after === null ? {} : { gt: dateOf(after) }),
  lte: dateOf(to),
});

export const createRecordStore = (connections: Connections): RecordStore => ({
  ...alarmRecords(connections),
  ...keeperRecords(connections),
  ...feederRecords(connections),
  ...logRecords(connections),
});

function feederRecords({ reader }: Connections): Pick<RecordStore, "events" | "eventsBySeq"> {
  return {
    async events(feeder, from, to, most) {
      const found = await reader.event.findMany({
        where: { feederId: feeder, recordedAt: { gte: dateOf(from), lt: dateOf(to) } },
        orderBy: [{ recordedAt: "asc" }, { seq: "asc" }],
        take: most,
      });
      return found.map(({ seq, boot, kind, recordedAt, body }) => ({
        seq: Number(seq),
        boot,
        kind,
        recordedAt: instantFrom(recordedAt),
        body,
      }));
    },

    async eventsBySeq({ feeder, boot }, ranges) {
      const found: { seq: number; body: string }[] = [];
      for (let first = 0; first < ranges.length; first += rangesAtOnce) {
        const some = ranges.slice(first, first + rangesAtOnce);
        const rows = await reader.event.findMany({
          where: { feederId: feeder, boot, OR: some.map(({ from, to }) => ({ seq: { gte: from, lte: to } })) },
          orderBy: { seq: "asc" },
          select: { seq: true, body: true },
        });
        for (const { seq, body } of rows) found.push({ seq: Number(seq), body });
      }
      return found;
    },
  };
}

function alarmRecords({
  reader,
}: Connections): Pick<RecordStore, "alarmChanges" | "latestAlarmChanges" | "countNotifications"> {
  return {
    async alarmChanges(feeder, from, to) {
      const found = await reader.alarmChange.findMany({
        where: { feederId: feeder, at: { gte: dateOf(from), lt: dateOf(to) } },
        orderBy: { at: "asc" },
      });
      return found.map(({ fault, priority, from, to, at, reason, present }) => ({
        fault: fault as FaultKind,
        priority: priority as Priority,
        from: from as AlarmState,
        to: to as AlarmState,
        at: instantFrom(at),
        reason,
        present,
      }));
    },

    async latestAlarmChanges(feeders, from, to, most) {
      const found = await reader.alarmChange.findMany({
        where: { feederId: { in: [...feeders] }, at: { gte: dateOf(from), lt: dateOf(to) } },
        orderBy: { at: "desc" },
        take: most,
        omit: { id: true, reason: true }, // nobody reads a month of reasons
      });
      return found.reverse().map((change) => ({
        feeder: change.feederId,
        fault: change.fault as FaultKind,
        priority: change.priority as Priority,
        from: change.from as AlarmState,
        to: change.to as AlarmState,
        at: instantFrom(change.at),
        present: change.present,
      }));
    },

    async countNotifications(yard, from, to) {
      // A notification is one item for each phone, all written at one moment. `settledAt` has an index.
      const [counted] = await reader.$queryRawUnsafe<{ count: bigint }[]>(
        `SELECT COUNT(*) AS count FROM (
           SELECT DISTINCT "keeperId", "topic", "writtenAt" FROM "OutboxItem"
           WHERE "settledAt" >= ? AND "settledAt" < ? AND "yardId" = ? AND "channel" = 'push' AND "status" = 'delivered'
             AND "isClosing" = 0 AND json_extract("content", '$.silent') = 0 AND json_extract("content", '$.fault') IS NOT NULL)`,
        textOf(from),
        textOf(to),
        yard,
      );
      return Number(counted?.count ?? 0);
    },
  };
}

function keeperRecords({ reader }: Connections): Pick<RecordStore, "refills" | "orders"> {
  return {
    async refills(feeder, from, to) {
      const found = await reader.refill.findMany({
        where: { feederId: feeder, at: { gte: dateOf(from), lt: dateOf(to) } },
        orderBy: { at: "asc" },
      });
      return found.map(({ id, feederId, at, grams: mass, source, by }) => ({
        id,
        feeder: feederId,
        at: instantFrom(at),
        grams: mass === null ? null : grams(mass),
        source: source as StoredRefill["source"],
        by,
      }));
    },

    async orders(feeder, from, to) {
      const found = await reader.order.findMany({
        where: { feederId: feeder, requestedAt: { gte: dateOf(from), lt: dateOf(to) } },
        orderBy: { requestedAt: "asc" },
      });
      return found.map((order) => ({
        id: order.id,
        kind: order.kind as OrderKind,
        until: maybeInstant(order.until),
        requestedAt: instantFrom(order.requestedAt),
        requestedBy: order.requestedBy,
        status: order.status as OrderStatus,
        sentAt: maybeInstant(order.sentAt),
        answeredAt: maybeInstant(order.answeredAt),
        problem: order.problem,
      }));
    },
  };
}

function logRecords({ reader }: Connections): Pick<RecordStore, "heartbeats" | "logEntries" | "checks"> {
  return {
    async heartbeats(feeder, after, to, most) {
      const beyond = after && {
        receivedAt: { gte: dateOf(after.receivedAt), lte: dateOf(to) },
        OR: [
          { receivedAt: { gt: dateOf(after.receivedAt) } },
          { receivedAt: dateOf(after.receivedAt), boot: { gt: after.boot } },
        ],
      };
      const found = await reader.heartbeat.findMany({
        where: { feederId: feeder, ...(beyond ?? { receivedAt: { lte: dateOf(to) } }) },
        orderBy: [{ receivedAt: "asc" }, { boot: "asc" }],
        take: most,
      });
      return found.map(({ receivedAt, boot, sentUptimeMs, readings, seqs }) => ({
        feeder,
        receivedAt: instantFrom(receivedAt),
        boot,
        sentUptimeMs: sentUptimeMs === null ? null : Number(sentUptimeMs),
        readings,
        seqs,
      }));
    },

    async logEntries(feeder, after, to, most) {
      const found = await reader.logEntry.findMany({
        where: { feederId: feeder, at: timeRange(after, to) },
        orderBy: { at: "asc" },
        take: most,
      });
      return found.map(({ at, entry }) => ({ feeder, at: instantFrom(at), entry }));
    },

    async checks(feeder, after, to, most) {
      const found = await reader.periodicCheck.findMany({
        where: { feederId: feeder, at: timeRange(after, to) },
        orderBy: { at: "asc" },
        take: most,
      });
      return found.map(({ at }) => instantFrom(at));
    },
  };
}
