import type { FaultKind } from "../faults.ts";
import { alarmKey, type RaisedAlarm } from "./history.ts";

/** Who makes the load. */
export interface FrequentAlarm {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly alarmCount: number;
  readonly share: number; // of all alarms
}

/** Alarms by how often they were raised, the most frequent first. An alarm is one fault of one feeder. */
export function frequentAlarms(raisings: readonly RaisedAlarm[]): FrequentAlarm[] {
  const counts = new Map<string, { feeder: string; fault: FaultKind; alarmCount: number }>();
  for (const { feeder, fault } of raisings) {
    const loader = counts.get(alarmKey({ feeder, fault })) ?? { feeder, fault, alarmCount: 0 };
    loader.alarmCount += 1;
    counts.set(alarmKey(loader), loader);
  }
  return [...counts.values()]
    .map((loader) => ({ ...loader, share: loader.alarmCount / raisings.length }))
    .sort((one, other) => other.alarmCount - one.alarmCount);
}

/** The same of a fault over all feeders; `feeder` is empty where several have it. */
export const frequentFaults = (raisings: readonly RaisedAlarm[]): FrequentAlarm[] =>
  frequentAlarms(raisings.map((raising) => ({ ...raising, feeder: "" }))).map((load) => {
    const feeders = new Set(raisings.filter(({ fault }) => fault === load.fault).map(({ feeder }) => feeder));
    const [only = ""] = feeders;
    return feeders.size === 1 ? { ...load, feeder: only } : load;
  });
