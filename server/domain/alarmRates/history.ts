import type { AlarmState } from "../alarms/alarmStates.ts";
import type { FaultKind, Priority } from "../faults.ts";
import { before, between, hours, type Instant, milliseconds } from "../instant.ts";

/** What the alarms of one yard did over a span of days, as it was logged. */
export interface AlarmHistory {
  readonly from: Instant; // a local midnight, or when the yard's record begins
  readonly to: Instant;
  readonly zone: string;
  readonly feeders: readonly HistoryFeeder[];
  /** Of all its feeders, in [from, to), in the order in which they came about. */
  readonly changes: readonly YardAlarmChange[];
  /** Alarms that are active at `to`, since some are older than the log that was read. */
  readonly standing: readonly StandingAlarm[];
  /** Audible notifications, one a person however many phones; null where that isn't recorded. */
  readonly audibleNotifications: number | null;
}

export interface HistoryFeeder {
  readonly id: string;
  readonly name: string;
  readonly addedAt: Instant;
}

export interface YardAlarmChange {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly from: AlarmState;
  readonly to: AlarmState; // the same as `from` where only the fault came or went
  readonly at: Instant;
  /** Whether the fault itself was there afterwards, whatever its alarm did. */
  readonly present: boolean;
}

export interface StandingAlarm {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly raisedAt: Instant;
}

/** One alarm from its annunciation, as the standard says, to its return or suppression. */
export interface RaisedAlarm {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly raisedAt: Instant; // may lie before the span
  /** When the fault itself first went away: an off-delay keeps the alarm active longer. Null while it is there. */
  readonly faultGoneAt: Instant | null;
  readonly endedAt: Instant | null; // null: it is still active
  readonly acknowledgedAt: Instant | null;
}

/** The fault itself began, raised or not: chattering shows only here, since delays filter it from the alarms. */
export interface FaultOnset {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly at: Instant;
}

export interface FollowedAlarms {
  /** Alarms in the standard's sense, in the order in which they were raised; those that were active already come first. */
  readonly raised: readonly RaisedAlarm[];
  /** Notes require no action, so they are no alarms in the standard's sense and are counted apart. */
  readonly notes: readonly RaisedAlarm[];
  readonly onsets: readonly FaultOnset[];
}

/** What each phase means here. A latched alarm stands though its fault is gone, and waits to be seen. */
const presenceByState = {
  normal: "gone",
  suspected: "waiting",
  unacknowledged: "standing",
  acknowledged: "standing",
  returnedUnacknowledged: "gone",
  latchedUnacknowledged: "standing",
  latchedAcknowledged: "standing",
  shelved: "aside",
  suppressedByDesign: "aside",
  outOfService: "aside",
} as const satisfies Record<AlarmState, "gone" | "waiting" | "standing" | "aside">;

const isLatched = (phase: AlarmState) => phase === "latchedUnacknowledged" || phase === "latchedAcknowledged";

/**
 * An alarm that went without an answer is forgotten after a day (alarms/alarmTransitions.ts), which the log shows just as it shows a
 * late acknowledgement. A little less than that day was an answer.
 */
const acknowledgedWithin = hours(23.9);

/** Follows each alarm of each feeder through the log. */
export function followAlarms({
  changes,
  standing,
  from,
}: Pick<AlarmHistory, "changes" | "standing" | "from">): FollowedAlarms {
  const followed = new Map<string, FollowedAlarm>();
  const onsets: FaultOnset[] = [];
  for (const change of linkChanges(changes)) {
    const key = alarmKey(change);
    const alarm = followed.get(key) ?? initialFollowed(change, from);
    followed.set(key, alarm);
    if (applyChange(alarm, change) && change.priority !== "note")
      onsets.push({ feeder: change.feeder, fault: change.fault, at: change.at });
  }
  const raised = [...followed.values()].flatMap(({ past, open }) => (open === null ? past : [...past, open]));
  for (const alarm of standing) {
    const open = followed.get(alarmKey(alarm))?.open ?? null;
    if (open === null) raised.push({ ...alarm, raisedAt: alarm.raisedAt, ...openEnds });
    else if (open.raisedAt === justBefore(from)) open.raisedAt = alarm.raisedAt; // it was active before the log begins: now it is known since when
  }
  raised.sort((one, other) => one.raisedAt - other.raisedAt);
  return {
    raised: raised.filter(({ priority }) => priority !== "note"),
    notes: raised.filter(({ priority }) => priority === "note"),
    onsets,
  };
}

export const alarmKey = ({ feeder, fault }: { readonly feeder: string; readonly fault: FaultKind }): string =>
  `${feeder} ${fault}`;

type OpenAlarm = { -readonly [field in keyof RaisedAlarm]: RaisedAlarm[field] };

interface FollowedAlarm {
  readonly past: OpenAlarm[];
  open: OpenAlarm | null; // as it stands
  last: OpenAlarm | null; // the newest that ended: it may still be acknowledged
  /** Suppressed after it was raised: when it returns, people know it already. */
  isKnownBefore: boolean;
  present: boolean;
}

const openEnds = { faultGoneAt: null, endedAt: null, acknowledgedAt: null };

/** Of an alarm that was active already only an earlier raising is known: it isn't counted among those raised since. */
const justBefore = (from: Instant): Instant => before(from, milliseconds(1));

/** What must have been before the first change that is known. */
function initialFollowed(change: YardAlarmChange, from: Instant): FollowedAlarm {
  const earlier = presenceByState[change.from];
  const { feeder, fault, priority } = change;
  const open = earlier === "standing" ? { feeder, fault, priority, raisedAt: justBefore(from), ...openEnds } : null;
  // Where the first change only shows that the fault ended, it was there before.
  const present = change.from === change.to ? !change.present : earlier === "standing" || earlier === "waiting";
  return { past: [], open, last: null, isKnownBefore: false, present };
}

/** @returns whether the fault itself began with it. */
function applyChange(alarm: FollowedAlarm, change: YardAlarmChange): boolean {
  const { at, from, to } = change;
  const isOnset = applyPresence(alarm, change);
  if (from === to) return isOnset;
  const isStanding = presenceByState[to] === "standing";
  if (isStanding && alarm.open === null) openAlarm(alarm, change);
  if (isAcknowledged(to)) acknowledgeOpen(alarm, at);
  alarm.isKnownBefore = to === "suppressedByDesign" && (alarm.open !== null || alarm.isKnownBefore);
  if (!isStanding && alarm.open !== null) closeAlarm(alarm, alarm.open, at);
  else if (from === "returnedUnacknowledged" && to === "normal") acknowledgeInTime(alarm.last, at);
  return isOnset;
}

/** After a suppression, or when a shelved latch returns, the same alarm goes on: nobody is notified a second time. */
function openAlarm(alarm: FollowedAlarm, { feeder, fault, priority, at, to }: YardAlarmChange): void {
  const resumed = alarm.isKnownBefore || isLatched(to) ? alarm.last : null;
  if (resumed === null) {
    alarm.open = { feeder, fault, priority, raisedAt: at, ...openEnds };
    return;
  }
  alarm.past.splice(alarm.past.indexOf(resumed), 1);
  alarm.open = { ...resumed, endedAt: null };
}

function acknowledgeOpen({ open }: FollowedAlarm, at: Instant): void {
  if (open !== null) open.acknowledgedAt ??= at;
}

function closeAlarm(alarm: FollowedAlarm, open: OpenAlarm, at: Instant): void {
  open.endedAt = at;
  alarm.past.push(open);
  alarm.last = open;
  alarm.open = null;
}

function acknowledgeInTime(last: OpenAlarm | null, at: Instant): void {
  if (last === null || last.endedAt === null) return;
  if (between(last.endedAt, at) < acknowledgedWithin) last.acknowledgedAt ??= at;
}

const isAcknowledged = (phase: AlarmState) => phase === "acknowledged" || phase === "latchedAcknowledged";

function applyPresence(alarm: FollowedAlarm, { present, at }: YardAlarmChange): boolean {
  const earlier = alarm.present;
  alarm.present = present;
  if (earlier && !present && alarm.open !== null) alarm.open.faultGoneAt ??= at;
  return !earlier && present;
}

/**
 * Several transitions may happen at one check, and a table gives rows of the same moment in any order: each alarm's transitions
 * are put in sequence again.
 */
function linkChanges(changes: readonly YardAlarmChange[]): readonly YardAlarmChange[] {
  const states = new Map<string, AlarmState>();
  const ordered: YardAlarmChange[] = [];
  for (let first = 0; first < changes.length; ) {
    let end = first + 1;
    while (end < changes.length && changes[end]?.at === changes[first]?.at) end += 1;
    const rest = changes.slice(first, end);
    first = end;
    while (rest.length > 0) {
      const next = rest.findIndex((change) => isContinuation(change, states, rest));
      const [change] = rest.splice(Math.max(0, next), 1);
      if (change === undefined) break;
      states.set(alarmKey(change), change.to);
      ordered.push(change);
    }
  }
  return ordered;
}

/** Whether this is the next transition of its alarm: it begins at its state, or where no other of this moment ends. */
function isContinuation(
  change: YardAlarmChange,
  states: ReadonlyMap<string, AlarmState>,
  rest: readonly YardAlarmChange[],
): boolean {
  const currentState = states.get(alarmKey(change));
  if (currentState !== undefined) return change.from === currentState;
  return !rest.some((other) => other !== change && alarmKey(other) === alarmKey(change) && other.to === change.from);
}
