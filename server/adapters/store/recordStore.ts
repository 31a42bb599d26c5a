import type { AlarmState } from "../../domain/alarms/alarmStates.ts";
import type { FaultKind, Priority } from "../../domain/faults.ts";
import type { Instant } from "../../domain/instant.ts";
import type { OrderKind, OrderStatus } from "../../domain/orders/order.ts";
import { grams } from "../../domain/units.ts";
import type { RecordStore, StoredRefill } from "../../ports.ts";
import type { AlarmChange } from "./generated/sqlite/client.ts";
import type { Connections } from "./openStore.ts";
import { dateOf, instantFrom, maybeInstant } from "./rows.ts";

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

const alarmChangeFrom = ({ fault, priority, from, to, at, present }: Omit<AlarmChange, "id" | "reason">) => ({
  fault: fault as FaultKind,
  priority: priority as Priority,
  from: from as AlarmState,
  to: to as AlarmState,
  at: instantFrom(at),
  present,
});

function alarmRecords({ reader }: Connections): Pick<RecordStore, "alarmChanges" | "latestAlarmChanges"> {
  return {
    async alarmChanges(feeder, from, to) {
      const found = await reader.alarmChange.findMany({
        where: { feederId: feeder, at: { gte: dateOf(from), lt: dateOf(to) } },
        orderBy: { at: "asc" },
      });
      return found.map((row) => ({ ...alarmChangeFrom(row), reason: row.reason }));
    },

    async latestAlarmChanges(feeders, from, to, most) {
      const found = await reader.alarmChange.findMany({
        where: { feederId: { in: [...feeders] }, at: { gte: dateOf(from), lt: dateOf(to) } },
        orderBy: { at: "desc" },
        take: most,
        omit: { id: true, reason: true }, // nobody reads a month of reasons
      });
      return found.reverse().map((row) => ({ ...alarmChangeFrom(row), feeder: row.feederId }));
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

/** Those that follow one of them in the order of the log: by moment, then by boot. The lower bound lets the index be used. */
const heartbeatRange = (last: { readonly receivedAt: Instant; readonly boot: string } | null, to: Instant) =>
  last === null
    ? { receivedAt: { lte: dateOf(to) } }
    : {
        receivedAt: { gte: dateOf(last.receivedAt), lte: dateOf(to) },
        OR: [
          { receivedAt: { gt: dateOf(last.receivedAt) } },
          { receivedAt: dateOf(last.receivedAt), boot: { gt: last.boot } },
        ],
      };

function logRecords({ reader }: Connections): Pick<RecordStore, "heartbeats" | "logEntries" | "checks"> {
  return {
    async heartbeats(feeder, after, to, most) {
      const found = await reader.heartbeat.findMany({
        where: { feederId: feeder, ...heartbeatRange(after, to) },
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
