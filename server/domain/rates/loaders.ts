import type { FaultKind } from "../faults.ts";
import { keyOf, type Raising } from "./history.ts";

/** Who makes the load. */
export interface Loader {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly alarms: number;
  readonly share: number; // of all alarms
}

/** Alarms by how often they were raised, the most frequent first. An alarm is one fault of one feeder. */
export function loadersOf(raisings: readonly Raising[]): Loader[] {
  const counts = new Map<string, { feeder: string; fault: FaultKind; alarms: number }>();
  for (const { feeder, fault } of raisings) {
    const loader = counts.get(keyOf({ feeder, fault })) ?? { feeder, fault, alarms: 0 };
    loader.alarms += 1;
    counts.set(keyOf(loader), loader);
  }
  return [...counts.values()]
    .map((loader) => ({ ...loader, share: loader.alarms / raisings.length }))
    .sort((one, other) => other.alarms - one.alarms);
}

/** The same of a fault over all feeders; `feeder` is empty where several have it. */
export const faultLoadsOf = (raisings: readonly Raising[]): Loader[] =>
  loadersOf(raisings.map((raising) => ({ ...raising, feeder: "" }))).map((load) => {
    const feeders = new Set(raisings.filter(({ fault }) => fault === load.fault).map(({ feeder }) => feeder));
    const [only = ""] = feeders;
    return feeders.size === 1 ? { ...load, feeder: only } : load;
  });
