import type { FaultKind, Priority } from "../faults.ts";
import { between, days, hours, type Instant, inDays, later, minutes, type Span } from "../instant.ts";
import { alarmKey, type RaisedAlarm, raisedAlarms, type YardAlarmChange } from "./history.ts";

/** What the alarms of one yard did over a span of days. */
export interface AlarmHistory {
  readonly from: Instant; // a local midnight, or when the yard's record begins
  readonly to: Instant;
  readonly zone: string;
  readonly feeders: readonly HistoryFeeder[];
  /** Of all its feeders, in [from, to), in the order in which they came about. */
  readonly changes: readonly YardAlarmChange[];
  /** Alarms that are active at `to`. */
  readonly active: readonly ActiveAlarm[];
}

export interface HistoryFeeder {
  readonly id: string;
  readonly name: string;
  readonly addedAt: Instant;
}

export interface ActiveAlarm {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly raisedAt: Instant;
}

/** A note requires no action and is no alarm in the standard's sense: it is counted apart. */
export interface AlarmRates extends Pick<AlarmHistory, "from" | "to" | "zone" | "feeders"> {
  readonly days: number; // whole ones that are known
  readonly raised: readonly RaisedAlarm[]; // in order of time
  readonly notes: readonly RaisedAlarm[]; // likewise
  readonly perFeederWeek: number;
  readonly stale: readonly ActiveAlarm[]; // active for more than a day, the longest first
}

/** By ISA-18.2 an alarm that has been active for more than a day is stale: the same source as in findings.ts. */
const staleAfter = hours(24);

export function alarmRates({ from, to, zone, feeders, changes, active }: AlarmHistory): AlarmRates {
  const all = raisedAlarms(changes);
  const raised = all.filter(({ priority }) => priority !== "note");
  const weeks = feederWeeks(feeders, from, to);
  return {
    from,
    to,
    zone,
    feeders,
    days: Math.floor((to - from + hours(2)) / days(1)), // a month in which clocks go forward is no day short
    raised,
    notes: all.filter(({ priority }) => priority === "note"),
    perFeederWeek: weeks === 0 ? 0 : raised.length / weeks,
    stale: active
      .filter(({ priority, raisedAt }) => priority !== "note" && between(raisedAt, to) > staleAfter)
      .sort((one, other) => one.raisedAt - other.raisedAt),
  };
}

/**
 * Weeks for all feeders together; one that was added later counts from then, and at least for a week: alarms while it is set up
 * are no rate yet.
 */
const feederWeeks = (feeders: readonly HistoryFeeder[], from: Instant, to: Instant): number =>
  feeders.reduce((sum, { addedAt }) => sum + Math.max(1, inDays((to - later(from, addedAt)) as Span) / 7), 0);

export interface FrequentAlarm {
  readonly feeder: string; // empty: several feeders have this fault
  readonly fault: FaultKind;
  readonly alarmCount: number;
}

/** Alarms by how often they were raised, the most frequent first. An alarm is one fault of one feeder. */
export function frequentAlarms(raised: readonly Pick<RaisedAlarm, "feeder" | "fault">[]): readonly FrequentAlarm[] {
  const counts = new Map<string, FrequentAlarm>();
  for (const { feeder, fault } of raised) {
    const alarmCount = (counts.get(alarmKey({ feeder, fault }))?.alarmCount ?? 0) + 1;
    counts.set(alarmKey({ feeder, fault }), { feeder, fault, alarmCount });
  }
  return [...counts.values()].sort((one, other) => other.alarmCount - one.alarmCount);
}

const tenMinutes = minutes(10);

/** The ten minutes in which the most were raised: wherever they begin, since fixed hours would split a cluster. */
export function worstTenMinutes<Raised extends { readonly raisedAt: Instant }>(
  raised: readonly Raised[],
): readonly Raised[] {
  let worst: readonly Raised[] = [];
  for (let newest = 0, oldest = 0; newest < raised.length; newest += 1) {
    const at = raised[newest]?.raisedAt ?? (0 as Instant);
    while ((raised[oldest]?.raisedAt ?? at) <= at - tenMinutes) oldest += 1;
    if (newest - oldest + 1 > worst.length) worst = raised.slice(oldest, newest + 1);
  }
  return worst;
}
