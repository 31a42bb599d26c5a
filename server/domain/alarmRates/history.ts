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
  /** Alarms that stand at `to`, since some have stood longer than the log was read. */
  readonly standing: readonly StandingAlarm[];
  /** Pushes that rang, once a person however many phones it has; null where nobody kept that. */
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

/** One alarm from its being raised (annunciated, as the standard says) to its return or its being set aside. */
export interface RaisedAlarm {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly raisedAt: Instant; // may lie before the span
  /** When the fault itself first went away: an off-delay lets the alarm stand longer. Null while it is there. */
  readonly faultGoneAt: Instant | null;
  readonly endedAt: Instant | null; // null: it stands still
  readonly acknowledgedAt: Instant | null;
}

/** The fault itself came, raised or not: chattering shows only here, since delays hide it from the alarms. */
export interface FaultOnset {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly at: Instant;
}

export interface FollowedAlarms {
  /** Alarms in the standard's sense, in the order in which they were raised; those that stood already come first. */
  readonly raised: readonly RaisedAlarm[];
  /** Notes ask for no act, so they are no alarms in the standard's sense and are counted apart. */
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
 * An alarm that went without an answer is forgotten after a day (alarms/lifeCycle.ts), which the log shows just as it shows a
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
  const comings: FaultOnset[] = [];
  for (const change of linkChanges(changes)) {
    const key = alarmKey(change);
    const alarm = followed.get(key) ?? initialFollowed(change, from);
    followed.set(key, alarm);
    if (applyChange(alarm, change) && change.priority !== "note")
      comings.push({ feeder: change.feeder, fault: change.fault, at: change.at });
  }
  const raisings = [...followed.values()].flatMap(({ past, open }) => (open === null ? past : [...past, open]));
  for (const alarm of standing) {
    const open = followed.get(alarmKey(alarm))?.open ?? null;
    if (open === null) raisings.push({ ...alarm, raisedAt: alarm.raisedAt, ...stillOpen });
    else if (open.raisedAt === justBefore(from)) open.raisedAt = alarm.raisedAt; // it stood before the log begins: now it is known since when
  }
  raisings.sort((one, other) => one.raisedAt - other.raisedAt);
  return {
    raised: raisings.filter(({ priority }) => priority !== "note"),
    notes: raisings.filter(({ priority }) => priority === "note"),
    onsets: comings,
  };
}

export const alarmKey = ({ feeder, fault }: { readonly feeder: string; readonly fault: FaultKind }): string =>
  `${feeder} ${fault}`;

type OpenAlarm = { -readonly [field in keyof RaisedAlarm]: RaisedAlarm[field] };

interface FollowedAlarm {
  readonly past: OpenAlarm[];
  open: OpenAlarm | null; // as it stands
  last: OpenAlarm | null; // the newest that ended: it may still be acknowledged
  /** Set aside after it had been raised: what comes back then was told already. */
  isKnownBefore: boolean;
  present: boolean;
}

const stillOpen = { faultGoneAt: null, endedAt: null, acknowledgedAt: null };

/** Of what stood already it is only known that it was raised earlier: so it isn't counted among what was raised since. */
const justBefore = (from: Instant): Instant => before(from, milliseconds(1));

/** What must have been before the first change that is known. */
function initialFollowed(change: YardAlarmChange, from: Instant): FollowedAlarm {
  const was = presenceByState[change.from];
  const { feeder, fault, priority } = change;
  const open = was === "standing" ? { feeder, fault, priority, raisedAt: justBefore(from), ...stillOpen } : null;
  // Where the first change tells only that the fault went, it was there before.
  const present = change.from === change.to ? !change.present : was === "standing" || was === "waiting";
  return { past: [], open, last: null, isKnownBefore: false, present };
}

/** @returns whether the fault itself came with it. */
function applyChange(alarm: FollowedAlarm, change: YardAlarmChange): boolean {
  const { at, from, to, feeder, fault, priority } = change;
  const came = applyPresence(alarm, change);
  if (from === to) return came;
  const now = presenceByState[to];
  if (now === "standing" && alarm.open === null) {
    const again = alarm.isKnownBefore || isLatched(to) ? alarm.last : null;
    if (again === null) alarm.open = { feeder, fault, priority, raisedAt: at, ...stillOpen };
    else {
      // The end of a suppression tells nobody a second time, nor does a latch that was shelved: the same alarm stands on.
      alarm.past.splice(alarm.past.indexOf(again), 1);
      alarm.open = { ...again, endedAt: null };
    }
  }
  if (isAcknowledged(to) && alarm.open !== null) alarm.open.acknowledgedAt ??= at;
  alarm.isKnownBefore = to === "suppressedByDesign" && (alarm.open !== null || alarm.isKnownBefore);
  if (now !== "standing" && alarm.open !== null) {
    alarm.open.endedAt = at;
    alarm.past.push(alarm.open);
    alarm.last = alarm.open;
    alarm.open = null;
  } else if (from === "returnedUnacknowledged" && to === "normal" && alarm.last !== null) {
    const seen = alarm.last.endedAt !== null && between(alarm.last.endedAt, at) < acknowledgedWithin;
    if (seen) alarm.last.acknowledgedAt ??= at;
  }
  return came;
}

const isAcknowledged = (phase: AlarmState) => phase === "acknowledged" || phase === "latchedAcknowledged";

function applyPresence(alarm: FollowedAlarm, { present, at }: YardAlarmChange): boolean {
  const was = alarm.present;
  alarm.present = present;
  if (was && !present && alarm.open !== null) alarm.open.faultGoneAt ??= at;
  return !was && present;
}

/**
 * Several arrows may be taken at one look, and a table gives rows of the same moment in any order: each alarm's arrows are put
 * head to tail again.
 */
function linkChanges(changes: readonly YardAlarmChange[]): readonly YardAlarmChange[] {
  const phases = new Map<string, AlarmState>();
  const ordered: YardAlarmChange[] = [];
  for (let first = 0; first < changes.length; ) {
    let beyond = first + 1;
    while (beyond < changes.length && changes[beyond]?.at === changes[first]?.at) beyond += 1;
    const rest = changes.slice(first, beyond);
    first = beyond;
    while (rest.length > 0) {
      const next = rest.findIndex((change) => isContinuation(change, phases, rest));
      const [change] = rest.splice(Math.max(0, next), 1);
      if (change === undefined) break;
      phases.set(alarmKey(change), change.to);
      ordered.push(change);
    }
  }
  return ordered;
}

/** Whether this is the next arrow of its alarm: it begins where that stands, or where no other of this moment leads to. */
function isContinuation(
  change: YardAlarmChange,
  phases: ReadonlyMap<string, AlarmState>,
  rest: readonly YardAlarmChange[],
): boolean {
  const stands = phases.get(alarmKey(change));
  if (stands !== undefined) return change.from === stands;
  return !rest.some((other) => other !== change && alarmKey(other) === alarmKey(change) && other.to === change.from);
}
