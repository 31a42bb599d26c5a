import type { FaultKind } from "../faults.ts";
import { alarmKey, type RaisedAlarm } from "./history.ts";

export interface FrequentAlarm {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly alarmCount: number;
  readonly share: number; // of all alarms
}

/** Alarms by how often they were raised, the most frequent first. An alarm is one fault of one feeder. */
export function frequentAlarms(raised: readonly RaisedAlarm[]): FrequentAlarm[] {
  const counts = new Map<string, { feeder: string; fault: FaultKind; alarmCount: number }>();
  for (const { feeder, fault } of raised) {
    const entry = counts.get(alarmKey({ feeder, fault })) ?? { feeder, fault, alarmCount: 0 };
    entry.alarmCount += 1;
    counts.set(alarmKey(entry), entry);
  }
  return [...counts.values()]
    .map((entry) => ({ ...entry, share: entry.alarmCount / raised.length }))
    .sort((one, other) => other.alarmCount - one.alarmCount);
}

/** The same of a fault over all feeders; `feeder` is empty where several have it. */
export const frequentFaults = (raised: readonly RaisedAlarm[]): FrequentAlarm[] =>
  frequentAlarms(raised.map((raising) => ({ ...raising, feeder: "" }))).map((alarm) => {
    const feeders = new Set(raised.filter(({ fault }) => fault === alarm.fault).map(({ feeder }) => feeder));
    const [only = ""] = feeders;
    return feeders.size === 1 ? { ...alarm, feeder: only } : alarm;
  });
