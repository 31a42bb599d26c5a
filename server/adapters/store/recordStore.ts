import type { AlarmState } from "../../domain/alarms/alarmStates.ts";
import type { FaultKind, Priority } from "../../domain/faults.ts";
import type { OrderKind, OrderStatus } from "../../domain/orders/order.ts";
import { grams } from "../../domain/units.ts";
import type { RecordStore, StoredRefill } from "../../ports.ts";
import type { AlarmChange } from "./generated/sqlite/client.ts";
import type { Connections } from "./openStore.ts";
import { dateOf, instantFrom, maybeInstant } from "./rows.ts";

export const createRecordStore = (connections: Connections): RecordStore => ({
  ...alarmRecords(connections),
  ...keeperRecords(connections),
  ...feederLogs(connections),
});

const feederLogs = ({ feeders, log }: Connections): Pick<RecordStore, "events" | "lines" | "thinnedUntil"> => ({
  async events(feeder, from, to, most) {
    return log().events(feeders().number(feeder), from, to).slice(0, most);
  },
  async lines(feeder, after, through, most) {
    return log().lines(feeders().number(feeder), after, through, most);
  },
  async thinnedUntil(feeder) {
    return log().thinnedUntil(feeders().number(feeder));
  },
});

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
