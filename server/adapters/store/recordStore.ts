import type { AlarmPhase } from "../../domain/facts.ts";
import type { FaultKind, Priority } from "../../domain/faults.ts";
import { grams } from "../../domain/units.ts";
import type { RecordStore, StoredRefill } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { dateOf, instantFrom } from "./rows.ts";

export function recordsOver({ reader }: Connections): RecordStore {
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
      return found.map(({ fault, priority, from: before, to: now, at, reason }) => ({
        fault: fault as FaultKind,
        priority: priority as Priority,
        from: before as AlarmPhase,
        to: now as AlarmPhase,
        at: instantFrom(at),
        reason,
      }));
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

    async latestDigest(yard) {
      const found = await reader.digest.findFirst({ where: { yardId: yard }, orderBy: { localDate: "desc" } });
      return (
        found && { localDate: found.localDate, title: found.title, lines: JSON.parse(found.lines) as readonly string[] }
      );
    },
  };
}
