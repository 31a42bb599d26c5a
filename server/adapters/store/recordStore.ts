import type { AlarmState } from "../../domain/alarms/alarmStates.ts";
import type { FaultKind, Priority } from "../../domain/faults.ts";
import type { Instant } from "../../domain/instant.ts";
import type { OrderKind, OrderStatus } from "../../domain/orders/order.ts";
import { grams } from "../../domain/units.ts";
import type { RecordStore, StoredRefill } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { dateOf, instantFrom, maybeInstant, textOf } from "./rows.ts";

/** One question may not hold any number of conditions; usually there is one. */
const rangesAtOnce = 100;

const timeRange = (after: Instant | null, to: Instant) => ({
  ...(after === null ? {} : { gt: dateOf(after) }),
  lte: dateOf(to),
});

export function createRecordStore({ reader }: Connections): RecordStore {
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
        omit: { id: true, reason: true }, // a month of words would be read for nothing
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
      // One telling is one item a phone, all written at one moment. By when they were settled, which has an index.
      const [counted] = await reader.$queryRawUnsafe<{ rings: bigint }[]>(
        `SELECT COUNT(*) AS rings FROM (
           SELECT DISTINCT "keeperId", "topic", "writtenAt" FROM "OutboxItem"
           WHERE "settledAt" >= ? AND "settledAt" < ? AND "yardId" = ? AND "channel" = 'push' AND "phase" = 'delivered'
             AND "closes" = 0 AND json_extract("notice", '$.silent') = 0 AND json_extract("notice", '$.fault') IS NOT NULL)`,
        textOf(from),
        textOf(to),
        yard,
      );
      return Number(counted?.rings ?? 0);
    },

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
        where: { feederId: feeder, askedAt: { gte: dateOf(from), lt: dateOf(to) } },
        orderBy: { askedAt: "asc" },
      });
      return found.map((order) => ({
        id: order.id,
        kind: order.kind as OrderKind,
        until: maybeInstant(order.until),
        requestedAt: instantFrom(order.askedAt),
        requestedBy: order.askedBy,
        status: order.phase as OrderStatus,
        sentAt: maybeInstant(order.sentAt),
        answeredAt: maybeInstant(order.answeredAt),
        problem: order.problem,
      }));
    },

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
        seqs: seqs ?? "",
      }));
    },

    async logEntries(feeder, after, to, most) {
      const found = await reader.keeperAct.findMany({
        where: { feederId: feeder, at: timeRange(after, to) },
        orderBy: { at: "asc" },
        take: most,
      });
      return found.map(({ at, said }) => ({ feeder, at: instantFrom(at), entry: said }));
    },

    async checks(feeder, after, to, most) {
      const found = await reader.patrolLook.findMany({
        where: { feederId: feeder, at: timeRange(after, to) },
        orderBy: { at: "asc" },
        take: most,
      });
      return found.map(({ at }) => instantFrom(at));
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
