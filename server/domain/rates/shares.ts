import type { AlarmPhase } from "../alarmStates.ts";
import { type FaultKind, faultKinds, type Priority, ruleOf } from "../faults.ts";
import { between, type Instant, type Span } from "../instant.ts";
import { keyOf, type Raising, type YardChange } from "./history.ts";

/** Who makes the load, how grave it is, and whether anybody answers. */

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

/** The same of a fault over all feeders. */
export function faultLoadsOf(loaders: readonly Loader[]): Loader[] {
  const sums = new Map<FaultKind, { alarms: number; share: number; feeder: string; feeders: number }>();
  for (const { fault, alarms, share, feeder } of loaders) {
    const sum = sums.get(fault) ?? { alarms: 0, share: 0, feeder, feeders: 0 };
    sums.set(fault, { ...sum, alarms: sum.alarms + alarms, share: sum.share + share, feeders: sum.feeders + 1 });
  }
  return [...sums]
    .map(([fault, { alarms, share, feeder, feeders }]) => ({ fault, alarms, share, feeder: feeders > 1 ? "" : feeder }))
    .sort((one, other) => other.alarms - one.alarms);
}

export interface PriorityShare {
  readonly priority: Exclude<Priority, "note">;
  readonly annunciated: number;
  readonly annunciatedShare: number | null; // null where nothing was annunciated
  readonly configured: number; // kinds of fault
  readonly configuredShare: number;
}

export function prioritySharesOf(raisings: readonly Raising[]): readonly PriorityShare[] {
  const configured = faultKinds.map((kind) => ruleOf(kind).priority).filter((priority) => priority !== "note");
  return (["urgent", "soon"] as const).map((priority) => {
    const annunciated = raisings.filter((raising) => raising.priority === priority).length;
    const kinds = configured.filter((each) => each === priority).length;
    return {
      priority,
      annunciated,
      annunciatedShare: raisings.length === 0 ? null : annunciated / raisings.length,
      configured: kinds,
      configuredShare: kinds / configured.length,
    };
  });
}

export interface Answers {
  readonly answered: number; // of those raised within the span
  readonly unanswered: readonly Raising[]; // over, and nobody had acknowledged them
  readonly medianTime: Span | null; // from being raised to being acknowledged; null where none was
}

export function answersOf(raisings: readonly Raising[]): Answers {
  const times = raisings
    .flatMap(({ at, acknowledgedAt }) => (acknowledgedAt === null ? [] : [between(at, acknowledgedAt)]))
    .sort((one, other) => one - other);
  const unanswered = raisings.filter(({ acknowledgedAt, endedAt }) => acknowledgedAt === null && endedAt !== null);
  return { answered: times.length, unanswered, medianTime: medianOf(times) };
}

function medianOf(sorted: readonly Span[]): Span | null {
  const half = sorted.length / 2;
  const [low, high] = [sorted[Math.ceil(half) - 1], sorted[Math.floor(half)]];
  return low === undefined || high === undefined ? null : (((low + high) / 2) as Span);
}

export interface SetAside {
  readonly shelved: number;
  readonly suppressed: number;
  readonly outOfService: number;
}

/** How often an alarm was set aside, which is logged like everything else; notes as well. */
export function setAsideOf(changes: readonly YardChange[], from: Instant): SetAside {
  const count = (phase: AlarmPhase) =>
    changes.filter((change) => change.to === phase && change.from !== phase && change.at >= from).length;
  return { shelved: count("shelved"), suppressed: count("suppressedByDesign"), outOfService: count("outOfService") };
}
