import type { AlarmState } from "../alarms/alarmStates.ts";
import type { FaultKind, Priority } from "../faults.ts";
import { before, between, hours, type Instant, milliseconds } from "../instant.ts";

/** One change of an alarm's state, as logged. */
export interface YardAlarmChange {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly from: AlarmState;
  readonly to: AlarmState; // the same as `from` where only the fault came or went
  readonly at: Instant;
}

/** One alarm from its annunciation, as the standard says, to its return or suppression. */
export interface RaisedAlarm {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly raisedAt: Instant;
  readonly endedAt: Instant | null; // null: it is still active
  readonly acknowledgedAt: Instant | null;
}

/** States in which an alarm is active: it was raised, and the fault or its damage is still there. */
const activeStates = new Set<AlarmState>([
  "unacknowledged",
  "acknowledged",
  "latchedUnacknowledged",
  "latchedAcknowledged",
]);

/**
 * An alarm without an answer is forgotten after a day (alarms/alarmTransitions.ts), which the log shows just as it shows a late
 * acknowledgement. A little less than that day was an answer.
 */
const acknowledgedWithin = hours(23.9);

/** The alarms that were raised since the log begins, in order of time; `changes` too are in the order in which they happened. */
export function raisedAlarms(changes: readonly YardAlarmChange[]): readonly RaisedAlarm[] {
  const byAlarm = new Map<string, YardAlarmChange[]>();
  for (const change of changes) {
    if (change.from === change.to) continue;
    const own = byAlarm.get(alarmKey(change)) ?? [];
    own.push(change);
    byAlarm.set(alarmKey(change), own);
  }
  return [...byAlarm.values()].flatMap((own) => raisedOf(own)).sort((one, other) => one.raisedAt - other.raisedAt);
}

export const alarmKey = ({ feeder, fault }: Pick<YardAlarmChange, "feeder" | "fault">): string => `${feeder} ${fault}`;

interface OpenAlarm extends RaisedAlarm {
  endedAt: Instant | null;
  acknowledgedAt: Instant | null;
}

/** The raises of one alarm. One that was active before its first change was raised before the log begins: it isn't among them. */
function raisedOf(changes: readonly YardAlarmChange[]): readonly RaisedAlarm[] {
  const raised: OpenAlarm[] = [];
  let newest = changes[0] === undefined ? null : earlierRaise(changes[0]);
  let isSuppressed = false; // after it was raised: when it returns, people know it already
  for (const change of changes) {
    const wasActive = isActive(newest);
    if (activeStates.has(change.to) && !wasActive) {
      // A latch that returns from the shelf goes on too.
      const isKnown = isSuppressed || isLatched(change.to);
      if (newest !== null && isKnown) newest.endedAt = null;
      else {
        newest = newRaise(change, change.at);
        raised.push(newest);
      }
    }
    isSuppressed = change.to === "suppressedByDesign" && (wasActive || isSuppressed);
    if (newest !== null) applyChange(newest, change);
  }
  return raised;
}

const isActive = (alarm: OpenAlarm | null): boolean => alarm?.endedAt === null;

const earlierRaise = (first: YardAlarmChange): OpenAlarm | null =>
  activeStates.has(first.from) ? newRaise(first, before(first.at, milliseconds(1))) : null;

const newRaise = ({ feeder, fault, priority }: YardAlarmChange, raisedAt: Instant): OpenAlarm => ({
  feeder,
  fault,
  priority,
  raisedAt,
  endedAt: null,
  acknowledgedAt: null,
});

function applyChange(alarm: OpenAlarm, { from, to, at }: YardAlarmChange): void {
  if (to === "acknowledged" || to === "latchedAcknowledged") alarm.acknowledgedAt ??= at;
  if (!activeStates.has(to)) alarm.endedAt ??= at;
  const isForgotten = alarm.endedAt === null || between(alarm.endedAt, at) >= acknowledgedWithin;
  if (from === "returnedUnacknowledged" && to === "normal" && !isForgotten) alarm.acknowledgedAt ??= at;
}

const isLatched = (state: AlarmState) => state === "latchedUnacknowledged" || state === "latchedAcknowledged";
