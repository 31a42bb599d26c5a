import type { Fault, FaultKind, FaultRule, Priority } from "../faults.ts";
import { after, days, earlier, hours, type Instant, type Span } from "../instant.ts";
import { type Alarm, findingOf, type InState, raiseOf, standingOf, toLatched, toStanding } from "./alarm.ts";
import type { AlarmChange, AlarmState } from "./alarmStates.ts";

/**
 * The states of one alarm, after ANSI/ISA-18.2 and IEC 62682: a fault must last its on-delay before it is raised, and must
 * be absent for its off-delay before the alarm returns to normal. (The third remedy against chattering, the deadband, is
 * in each fault finder, which alone knows the quantity.) Every transition is returned as a change to be logged, also
 * where nobody is notified, and so is every start and end of the fault without a transition: the log has all, also what
 * is suppressed. Keepers' responses are in alarmResponses.ts.
 */
export interface AlarmStep {
  readonly alarm: Alarm | null; // null: normal
  readonly changes: readonly AlarmChange[];
}

/** The fault of the alarm, its rule, and the time. */
export interface AlarmRuleContext {
  readonly kind: FaultKind;
  readonly rule: FaultRule;
  readonly now: Instant;
}

export interface AlarmContext extends AlarmRuleContext {
  /** Why this fault raises no alarm now; null: it may. */
  readonly suppressed: Suppression | null;
  /** The highest of the rule's own and of the faults that this one explains now. */
  readonly priority: Priority;
}

export interface Suppression {
  readonly reason: string;
  /** The fault whose alarm covers it; null where the feeder is paused, in the workshop or in storage. */
  readonly explainedBy: FaultKind | null;
  /** Whether the fault is present can't be known now. */
  readonly isUnobservable: boolean;
}

/** Shelving needs a maximum time (ISA-18.2); the length is our choice: a forgotten one costs at most a week. */
export const shelvedMax = days(7);

/**
 * An alarm that was raised, ended and was never acknowledged is removed after this long: a list of old alarms hides the
 * present ones. ISA-18.2 keeps it until acknowledged, but a phone is not a console with an operator. Our choice, and not
 * for what may have done lasting damage: that is latched.
 */
export const returnedMax = hours(24);

/**
 * The transitions that exist; an alarm may also stay in its state while its fault starts or ends, or while its priority rises.
 * Any other transition is a bug; a property test checks this table.
 */
export const allowedTransitions: { readonly [from in AlarmState]: readonly AlarmState[] } = {
  normal: ["suspected", "unacknowledged", "shelved", "suppressedByDesign", "outOfService"],
  suspected: ["normal", "unacknowledged", "shelved", "suppressedByDesign", "outOfService"],
  unacknowledged: [
    "acknowledged",
    "returnedUnacknowledged",
    "latchedUnacknowledged",
    "shelved",
    "suppressedByDesign",
    "outOfService",
  ],
  // Back to unacknowledged where its priority rises above what was acknowledged.
  acknowledged: ["normal", "unacknowledged", "latchedAcknowledged", "shelved", "suppressedByDesign", "outOfService"],
  returnedUnacknowledged: ["normal", "suspected", "unacknowledged", "shelved", "suppressedByDesign", "outOfService"],
  latchedUnacknowledged: ["latchedAcknowledged", "unacknowledged", "shelved", "outOfService"],
  latchedAcknowledged: ["normal", "suspected", "unacknowledged", "shelved", "outOfService"],
  shelved: [
    "normal",
    "suspected",
    "unacknowledged",
    "latchedUnacknowledged",
    "latchedAcknowledged",
    "suppressedByDesign",
    "outOfService",
  ],
  suppressedByDesign: ["normal", "suspected", "unacknowledged", "acknowledged", "shelved", "outOfService"],
  outOfService: ["normal", "suspected", "latchedUnacknowledged", "latchedAcknowledged"],
};

/** One check of the fault. A second check at the same moment changes nothing. */
export function advanceAlarm(alarm: Alarm | null, fault: Fault | null, context: AlarmContext): AlarmStep {
  const changes: AlarmChange[] = [];
  // The end of a shelving or a suppression leads to a state that may itself end at once: at most three transitions a check.
  for (let current = alarm; ; ) {
    const next = nextAlarm(current, fault, context);
    const stays = alarmStateOf(next) === alarmStateOf(current);
    if (!stays || isReportable(current, next)) changes.push(changeOf(current, next, context));
    if (stays) return { alarm: next, changes };
    current = next;
  }
}

/** When time alone may change this alarm's state, so that it is checked then; null: only something else changes it. */
export function alarmCheckAt(alarm: Alarm, rule: FaultRule): Instant | null {
  switch (alarm.state) {
    case "suspected":
      return after(alarm.since, rule.onDelay);
    case "unacknowledged":
    case "acknowledged":
      return afterDelay(alarm.absentSince, rule.offDelay);
    case "returnedUnacknowledged": {
      const removedAt = after(alarm.returnedAt, returnedMax);
      return earlier(removedAt, afterDelay(alarm.presentSince, rule.onDelay) ?? removedAt);
    }
    case "latchedUnacknowledged":
    case "latchedAcknowledged":
      return afterDelay(alarm.presentSince, rule.onDelay);
    case "shelved":
      return alarm.shelvedUntil;
    case "suppressedByDesign": // it ends with the reason
    case "outOfService": // a keeper ends it
      return null;
  }
}

const afterDelay = (since: Instant | null, delay: Span): Instant | null =>
  since === null ? null : after(since, delay);

export const alarmStateOf = (alarm: Alarm | null): AlarmState => alarm?.state ?? "normal";

/** Smaller is more urgent. */
export const priorityRank: Readonly<Record<Priority, number>> = { urgent: 0, soon: 1, note: 2 };
const isHigherPriority = (one: Priority, other: Priority): boolean => priorityRank[one] < priorityRank[other];

export function changeOf(from: Alarm | null, to: Alarm | null, { kind, rule, now }: AlarmRuleContext): AlarmChange {
  const { priority = rule.priority, finding } = to ?? from ?? {};
  const reason = finding?.reason ?? "";
  return {
    fault: kind,
    priority,
    from: alarmStateOf(from),
    to: alarmStateOf(to),
    at: now,
    reason,
    present: to?.present ?? false,
  };
}

/** Whether the step is to be logged though the alarm stays in its state. */
function isReportable(before: Alarm | null, after: Alarm | null): boolean {
  if (before === null || after === null) return false;
  if (before.present !== after.present) return true;
  return (
    "notifiedPriority" in before && "notifiedPriority" in after && before.notifiedPriority !== after.notifiedPriority
  );
}

function nextAlarm(alarm: Alarm | null, fault: Fault | null, context: AlarmContext): Alarm | null {
  if (alarm === null) return newAlarm(fault, context.now, context);
  const seen = withFinding(alarm, fault, context);
  switch (seen.state) {
    case "shelved":
      return nextWhileShelved(withPresence(seen, alarm.present, fault, context), fault, context);
    case "outOfService":
      return withPresence(seen, alarm.present, fault, context);
    case "latchedUnacknowledged":
    case "latchedAcknowledged":
      return nextWhileLatched(seen, fault, context);
    case "suspected":
      return newAlarm(fault, seen.since, context);
    case "returnedUnacknowledged":
      return nextAfterReturn(seen, fault, context);
    case "unacknowledged":
    case "acknowledged":
      return nextWhileStanding(seen, fault, context);
    case "suppressedByDesign":
      return nextWhileSuppressed(seen, fault, context);
  }
}

/** The alarm with the finding of this check, which stays as last known where nothing can be observed. */
function withFinding<Some extends Alarm>(
  alarm: Some,
  fault: Fault | null,
  { suppressed, priority, now }: AlarmContext,
): Some {
  if (fault !== null) {
    const present = alarm.absentSince == null ? {} : { absentSince: null };
    return { ...alarm, priority, finding: findingOf(fault), present: true, ...present };
  }
  return alarm.present && suppressed?.isUnobservable !== true ? { ...alarm, present: false, absentSince: now } : alarm;
}

/** For a fault that nobody was notified of yet, present without a break since `since`; null without a fault. */
function newAlarm(
  fault: Fault | null,
  since: Instant,
  { rule, now, suppressed, priority }: AlarmContext,
): Alarm | null {
  if (fault === null) return null;
  const standing = { priority, since, finding: findingOf(fault), present: true };
  if (suppressed !== null) return suppressedAlarm(standing, suppressed, null);
  if (now < after(since, rule.onDelay)) return { ...standing, state: "suspected" };
  return { ...standing, state: "unacknowledged", raisedAt: now, notifiedPriority: priority, absentSince: null };
}

type ActiveState = InState<"unacknowledged"> | InState<"acknowledged">;

function nextWhileStanding(alarm: ActiveState, fault: Fault | null, context: AlarmContext): Alarm | null {
  const { suppressed, priority, now, rule } = context;
  const raised = raiseOf(alarm);
  if (suppressed !== null) return suppressedAlarm(alarm, suppressed, raised);
  if (fault !== null) {
    const present = { ...alarm, absentSince: null };
    if (!isHigherPriority(priority, alarm.notifiedPriority)) return present;
    // Whoever acknowledged a lower priority has not acknowledged this one.
    return {
      ...standingOf(present),
      state: "unacknowledged",
      raisedAt: alarm.raisedAt,
      notifiedPriority: priority,
      absentSince: null,
    };
  }
  const absentSince = alarm.absentSince ?? now;
  if (now < after(absentSince, rule.offDelay)) return { ...alarm, absentSince };
  if (rule.latched && raised !== null) return toLatched(alarm, raised, now, null);
  if (alarm.state === "acknowledged") return null;
  const { raisedAt } = alarm;
  return { ...standingOf(alarm), state: "returnedUnacknowledged", raisedAt, returnedAt: now, presentSince: null };
}

function nextAfterReturn(
  alarm: InState<"returnedUnacknowledged">,
  fault: Fault | null,
  { rule, now, suppressed, priority }: AlarmContext,
): Alarm | null {
  if (fault === null) return now >= after(alarm.returnedAt, returnedMax) ? null : { ...alarm, presentSince: null };
  if (suppressed !== null) return suppressedAlarm({ ...alarm, since: now }, suppressed, null);
  const presentSince = alarm.presentSince ?? now;
  if (now < after(presentSince, rule.onDelay)) return { ...alarm, presentSince };
  return reraise(alarm, presentSince, now, priority);
}

/** Neither a pause nor a cause ends it: somebody must check the feeder. */
function nextWhileLatched(
  alarm: InState<"latchedUnacknowledged"> | InState<"latchedAcknowledged">,
  fault: Fault | null,
  { rule, now, suppressed, priority }: AlarmContext,
): Alarm {
  if (fault === null || suppressed !== null)
    return alarm.presentSince === null ? alarm : { ...alarm, presentSince: null };
  const presentSince = alarm.presentSince ?? now;
  if (now < after(presentSince, rule.onDelay)) return { ...alarm, presentSince };
  // While nobody has acknowledged it, its earlier, higher priority stays.
  const isOpen = alarm.state === "latchedUnacknowledged" && isHigherPriority(alarm.notifiedPriority, priority);
  return reraise(alarm, presentSince, now, isOpen ? alarm.notifiedPriority : priority);
}

const reraise = (alarm: Alarm, since: Instant, raisedAt: Instant, notifiedPriority: Priority): Alarm => ({
  ...standingOf(alarm),
  state: "unacknowledged",
  since,
  raisedAt,
  notifiedPriority,
  absentSince: null,
});

/** A fault that started while its alarm was shelved or out of service is a new one, and so is one that could not be observed. */
const withPresence = <Suppressed extends Alarm>(
  alarm: Suppressed,
  wasPresent: boolean,
  fault: Fault | null,
  { now, suppressed }: AlarmContext,
): Suppressed => ((fault !== null && !wasPresent) || suppressed?.isUnobservable ? { ...alarm, since: now } : alarm);

function nextWhileShelved(alarm: InState<"shelved">, fault: Fault | null, context: AlarmContext): Alarm | null {
  if (context.now < alarm.shelvedUntil) return alarm;
  if (alarm.latch !== null) return toLatched(alarm, alarm.latch, context.now, fault === null ? null : alarm.since);
  return newAlarm(fault, alarm.since, context);
}

function nextWhileSuppressed(
  alarm: InState<"suppressedByDesign">,
  fault: Fault | null,
  context: AlarmContext,
): Alarm | null {
  const { suppressed, now } = context;
  if (suppressed !== null) {
    // A raised alarm whose fault can't be observed waits: without reports its end is not known.
    return fault === null && alarm.raised === null ? null : suppressedAlarm(alarm, suppressed, alarm.raised);
  }
  // The suppression has ended: the alarm is in its earlier state again.
  if (alarm.raised !== null) return toStanding(alarm, alarm.raised);
  return newAlarm(fault, now, context);
}

const suppressedAlarm = (
  alarm: Parameters<typeof standingOf>[0],
  { reason, explainedBy }: Suppression,
  raised: InState<"suppressedByDesign">["raised"],
): Alarm => ({ ...standingOf(alarm), state: "suppressedByDesign", reason, explainedBy, raised });
