import type { Fault, FaultKind, FaultRule, Priority } from "../faults.ts";
import { after, days, earlier, hours, type Instant } from "../instant.ts";
import { type Alarm, findingOf, type InState, raiseOf, standingOf, toLatched, toStanding } from "./alarm.ts";
import type { AlarmChange, AlarmState } from "./alarmStates.ts";

/**
 * The life of one alarm, after ANSI/ISA-18.2 and IEC 62682: a fault must last its on-delay before it is raised, and must
 * stay away its off-delay before the alarm returns to normal. (The third remedy against chattering, the deadband, lies
 * with each finder, which alone knows the quantity.) Every arrow taken is handed back as a change to be logged, also
 * where nobody is told, and so is every coming and going of the fault that takes no arrow: whatever hides an alarm from
 * the keeper hides it not from the record. What keepers say of an alarm is in answers.ts.
 */
export interface AlarmStep {
  readonly alarm: Alarm | null; // null: normal
  readonly changes: readonly AlarmChange[];
}

/** Whose alarm it is, by which rule, and when. */
export interface AlarmRuleContext {
  readonly kind: FaultKind;
  readonly rule: FaultRule;
  readonly now: Instant;
}

export interface AlarmContext extends AlarmRuleContext {
  /** Why this fault raises no alarm just now; null: it may. */
  readonly suppressed: Suppression | null;
  /** The gravest of the rule's own and of what this fault explains now. */
  readonly priority: Priority;
}

export interface Suppression {
  readonly reason: string;
  /** Whose alarm speaks for it; null where the feeder is paused, on the bench or put away. */
  readonly explainedBy: FaultKind | null;
  /** It can't be seen now whether the fault is there. */
  readonly isUnobservable: boolean;
}

/** "Shelving needs a maximum time" (ISA-18.2); the length is ours: a forgotten shelf costs at most a week. */
export const shelvedMax = days(7);

/**
 * An alarm that was raised, went away and was never acknowledged stops asking for it after this long: by then it is
 * history, and a list of stale ones hides the live. ISA-18.2 would keep it until acknowledged; a phone is no console
 * with an operator before it. Our choice, and not for what may have done lasting damage: that is latched.
 */
export const returnedMax = hours(24);

/**
 * The arrows that exist; an alarm may also stay where it is while its fault comes or goes, or while it grows graver.
 * Whatever else happens to one is a bug; the property test holds us to this table.
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
  // Back to unacknowledged where it grows graver than what was acknowledged.
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

/** One look at the fault. Looking twice at the same moment changes nothing more. */
export function advanceAlarm(alarm: Alarm | null, fault: Fault | null, context: AlarmContext): AlarmStep {
  const changes: AlarmChange[] = [];
  // The end of a shelving or a suppression leads to a state that may itself be over at once: at most three arrows a look.
  for (let current = alarm; ; ) {
    const next = nextAlarm(current, fault, context);
    const stays = alarmStateOf(next) === alarmStateOf(current);
    if (!stays || isReportable(current, next)) changes.push(changeOf(current, next, context));
    if (stays) return { alarm: next, changes };
    current = next;
  }
}

/** When time alone may move this alarm, so that someone looks then; null: not before something else happens. */
export function alarmCheckAt(alarm: Alarm, rule: FaultRule): Instant | null {
  switch (alarm.state) {
    case "suspected":
      return after(alarm.since, rule.onDelay);
    case "unacknowledged":
    case "acknowledged":
      return alarm.absentSince === null ? null : after(alarm.absentSince, rule.offDelay);
    case "returnedUnacknowledged": {
      const forgotten = after(alarm.returnedAt, returnedMax);
      return alarm.presentSince === null ? forgotten : earlier(forgotten, after(alarm.presentSince, rule.onDelay));
    }
    case "latchedUnacknowledged":
    case "latchedAcknowledged":
      return alarm.presentSince === null ? null : after(alarm.presentSince, rule.onDelay);
    case "shelved":
      return alarm.shelvedUntil;
    case "suppressedByDesign": // it ends with what suppresses it
    case "outOfService": // by hand
      return null;
  }
}

export const alarmStateOf = (alarm: Alarm | null): AlarmState => alarm?.state ?? "normal";

/** Smaller is graver. */
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

/** What is to be logged though the alarm stays where it is. */
function isReportable(before: Alarm | null, after: Alarm | null): boolean {
  if (before === null || after === null) return false;
  if (before.present !== after.present) return true;
  return (
    "notifiedPriority" in before && "notifiedPriority" in after && before.notifiedPriority !== after.notifiedPriority
  );
}

function nextAlarm(alarm: Alarm | null, fault: Fault | null, context: AlarmContext): Alarm | null {
  if (alarm === null) return fault === null ? null : newAlarm(fault, context.now, context);
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
      return fault === null ? null : newAlarm(fault, seen.since, context);
    case "returnedUnacknowledged":
      return nextAfterReturn(seen, fault, context);
    case "unacknowledged":
    case "acknowledged":
      return nextWhileStanding(seen, fault, context);
    case "suppressedByDesign":
      return nextWhileSuppressed(seen, fault, context);
  }
}

/** The alarm with what this look has shown of its fault, which stays as it was last seen where nothing can be seen. */
function withFinding<Some extends Alarm>(
  alarm: Some,
  fault: Fault | null,
  { suppressed, priority, now }: AlarmContext,
): Some {
  if (fault !== null) {
    const back = alarm.absentSince == null ? {} : { goneAt: null };
    return { ...alarm, priority, finding: findingOf(fault), present: true, ...back };
  }
  return alarm.present && suppressed?.isUnobservable !== true ? { ...alarm, present: false, absentSince: now } : alarm;
}

/** A fault that nobody was told of yet, seen without a break since `since`. */
function newAlarm(fault: Fault, since: Instant, { rule, now, suppressed, priority }: AlarmContext): Alarm {
  const standing = { priority, since, finding: findingOf(fault), present: true };
  if (suppressed !== null) return suppressedAlarm(standing, suppressed, null);
  if (now < after(since, rule.onDelay)) return { ...standing, state: "suspected" };
  return { ...standing, state: "unacknowledged", raisedAt: now, notifiedPriority: priority, absentSince: null };
}

type StandingAlarm = InState<"unacknowledged"> | InState<"acknowledged">;

function nextWhileStanding(alarm: StandingAlarm, fault: Fault | null, context: AlarmContext): Alarm | null {
  const { suppressed, priority, now, rule } = context;
  const raised = raiseOf(alarm);
  if (suppressed !== null) return suppressedAlarm(alarm, suppressed, raised);
  if (fault !== null) {
    const there = { ...alarm, absentSince: null };
    if (!isHigherPriority(priority, alarm.notifiedPriority)) return there;
    // Whoever acknowledged something milder has not acknowledged this.
    return {
      ...standingOf(there),
      state: "unacknowledged",
      raisedAt: alarm.raisedAt,
      notifiedPriority: priority,
      absentSince: null,
    };
  }
  const awaySince = alarm.absentSince ?? now;
  if (now < after(awaySince, rule.offDelay)) return { ...alarm, absentSince: awaySince };
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
  const backSince = alarm.presentSince ?? now;
  if (now < after(backSince, rule.onDelay)) return { ...alarm, presentSince: backSince };
  return reraise(alarm, backSince, now, priority);
}

/** Neither a pause nor a graver fault lets it be forgotten that somebody must look. */
function nextWhileLatched(
  alarm: InState<"latchedUnacknowledged"> | InState<"latchedAcknowledged">,
  fault: Fault | null,
  { rule, now, suppressed, priority }: AlarmContext,
): Alarm {
  if (fault === null || suppressed !== null)
    return alarm.presentSince === null ? alarm : { ...alarm, presentSince: null };
  const backSince = alarm.presentSince ?? now;
  if (now < after(backSince, rule.onDelay)) return { ...alarm, presentSince: backSince };
  // Where nobody has answered yet, what it called as before is still to be answered.
  const asked = alarm.state === "latchedUnacknowledged" && isHigherPriority(alarm.notifiedPriority, priority);
  return reraise(alarm, backSince, now, asked ? alarm.notifiedPriority : priority);
}

const reraise = (alarm: Alarm, since: Instant, raisedAt: Instant, called: Priority): Alarm => ({
  ...standingOf(alarm),
  state: "unacknowledged",
  since,
  raisedAt,
  notifiedPriority: called,
  absentSince: null,
});

/** A fault that came back while its alarm was set aside is a new one, and so is one that was out of sight. */
const withPresence = <Aside extends Alarm>(
  alarm: Aside,
  wasPresent: boolean,
  fault: Fault | null,
  { now, suppressed }: AlarmContext,
): Aside => ((fault !== null && !wasPresent) || suppressed?.isUnobservable ? { ...alarm, since: now } : alarm);

function nextWhileShelved(alarm: InState<"shelved">, fault: Fault | null, context: AlarmContext): Alarm | null {
  if (context.now < alarm.shelvedUntil) return alarm;
  if (alarm.latch !== null) return toLatched(alarm, alarm.latch, context.now, fault === null ? null : alarm.since);
  return fault === null ? null : newAlarm(fault, alarm.since, context);
}

function nextWhileSuppressed(
  alarm: InState<"suppressedByDesign">,
  fault: Fault | null,
  context: AlarmContext,
): Alarm | null {
  const { suppressed, now } = context;
  if (suppressed !== null) {
    // An alarm that was told of and whose fault is out of sight waits: while a feeder is silent, "gone" is not known.
    return fault === null && alarm.raised === null ? null : suppressedAlarm(alarm, suppressed, alarm.raised);
  }
  // The suppression is over: the alarm is again what it was.
  if (alarm.raised !== null) return toStanding(alarm, alarm.raised);
  return fault === null ? null : newAlarm(fault, now, context);
}

const suppressedAlarm = (
  alarm: Parameters<typeof standingOf>[0],
  { reason, explainedBy }: Suppression,
  raised: InState<"suppressedByDesign">["raised"],
): Alarm => ({ ...standingOf(alarm), state: "suppressedByDesign", reason, explainedBy, raised });
