import type { AlarmChange, AlarmPhase } from "../facts.ts";
import type { Fault, FaultKind, FaultRule } from "../faults.ts";
import { after, days, earlier, hours, type Instant } from "../instant.ts";
import type { Alarm, AlarmFinding, Raised } from "./alarm.ts";

/**
 * The life of one alarm, after ANSI/ISA-18.2 and IEC 62682: a fault must last its on-delay before it is raised, and must
 * stay away its off-delay before the alarm returns to normal. (The third remedy against chattering, the deadband, lies
 * with each finder, which alone knows the quantity.) Every arrow taken is handed back as a change to be logged, also
 * where nobody is told: suppression hides an alarm from the keeper, never from the record.
 */
export interface AlarmStep {
  readonly alarm: Alarm | null; // null: normal
  readonly changes: readonly AlarmChange[];
}

export interface AlarmContext {
  readonly kind: FaultKind;
  readonly rule: FaultRule;
  readonly now: Instant;
  /** Why this fault raises no alarm just now (the feeder is paused, a graver fault explains it); null: it may. */
  readonly suppressed: string | null;
}

/** "Shelving needs a maximum time" (ISA-18.2); the length is ours: a forgotten shelf costs at most a week. */
export const shelvedMax = days(7);

/**
 * An alarm that was raised, went away and was never acknowledged stops asking for it after this long: by then it is
 * history, and a list of stale ones hides the live. ISA-18.2 would keep it until acknowledged; a phone is no console
 * with an operator before it. Our choice.
 */
export const returnedKept = hours(24);

/** The arrows that exist. Whatever else happens to an alarm is a bug; the property test holds us to this table. */
export const allowedArrows: { readonly [from in AlarmPhase]: readonly AlarmPhase[] } = {
  normal: ["suspected", "unacknowledged", "shelved", "suppressedByDesign"],
  suspected: ["normal", "unacknowledged", "shelved", "suppressedByDesign"],
  unacknowledged: ["acknowledged", "returnedUnacknowledged", "shelved", "suppressedByDesign"],
  acknowledged: ["normal", "shelved", "suppressedByDesign"],
  returnedUnacknowledged: ["normal", "unacknowledged", "shelved", "suppressedByDesign"],
  shelved: ["normal", "suspected", "unacknowledged", "suppressedByDesign"],
  suppressedByDesign: ["normal", "suspected", "unacknowledged", "acknowledged", "shelved"],
};

/** One look at the fault. Looking twice at the same moment changes nothing more. */
export function advanceAlarm(alarm: Alarm | null, fault: Fault | null, context: AlarmContext): AlarmStep {
  const changes: AlarmChange[] = [];
  // The end of a shelving or a suppression leads to a state that may itself be over at once: at most three arrows a look.
  for (let current = alarm; ; ) {
    const next = onePace(current, fault, context);
    if (phaseOf(next) === phaseOf(current)) return { alarm: next, changes };
    changes.push(changeOf(current, next, context));
    current = next;
  }
}

/** A keeper says "I have seen it". One that had already returned to normal ends by it. */
export function acknowledge(alarm: Alarm | null, by: string, context: Omit<AlarmContext, "suppressed">): AlarmStep {
  if (alarm === null) return { alarm, changes: [] };
  switch (alarm.phase) {
    case "unacknowledged": {
      const { raisedAt, awaySince } = alarm;
      return moved(alarm, acknowledged(alarm, { raisedAt, acknowledged: { at: context.now, by } }, awaySince), context);
    }
    case "returnedUnacknowledged":
      return moved(alarm, null, context);
    case "suppressedByDesign": {
      if (alarm.raised === null || alarm.raised.acknowledged !== null) return { alarm, changes: [] };
      const raised = { ...alarm.raised, acknowledged: { at: context.now, by } };
      return { alarm: { ...alarm, raised }, changes: [] }; // it comes back acknowledged
    }
    case "suspected":
    case "acknowledged":
    case "shelved":
      return { alarm, changes: [] }; // there is nothing to acknowledge (again)
  }
}

/**
 * A keeper puts the alarm aside, raised or not, until a time: at most `shelvedMax` ahead; an end that is past shelves
 * nothing. Shelving anew replaces the end, sooner or later alike.
 */
export function shelve(
  alarm: Alarm | null,
  until: Instant,
  by: string,
  context: Omit<AlarmContext, "suppressed">,
): AlarmStep {
  const { rule, now } = context;
  if (until <= now) return { alarm, changes: [] };
  const standing = alarm ?? { priority: rule.priority, since: now, finding: notSeen };
  const next: Alarm = {
    ...standingOf(standing),
    phase: "shelved",
    shelvedAt: now,
    shelvedBy: by,
    shelvedUntil: earlier(until, after(now, shelvedMax)),
    present: alarm !== null && isPresent(alarm),
  };
  return moved(alarm, next, context);
}

/** When time alone may move this alarm, so that someone looks then; null: not before something else happens. */
export function alarmLookAt(alarm: Alarm, rule: FaultRule): Instant | null {
  switch (alarm.phase) {
    case "suspected":
      return after(alarm.since, rule.onDelay);
    case "unacknowledged":
    case "acknowledged":
      return alarm.awaySince === null ? null : after(alarm.awaySince, rule.offDelay);
    case "returnedUnacknowledged": {
      const forgotten = after(alarm.returnedAt, returnedKept);
      return alarm.backSince === null ? forgotten : earlier(forgotten, after(alarm.backSince, rule.onDelay));
    }
    case "shelved":
      return alarm.shelvedUntil;
    case "suppressedByDesign":
      return null; // it ends with what suppresses it
  }
}

export const phaseOf = (alarm: Alarm | null): AlarmPhase => alarm?.phase ?? "normal";

const notSeen: AlarmFinding = { reason: "Shelved before it was seen.", evidence: [], sure: null };

function onePace(alarm: Alarm | null, fault: Fault | null, context: AlarmContext): Alarm | null {
  if (alarm === null) return fault === null ? null : firstSeen(fault, context.now, context);
  if (context.suppressed !== null && alarm.phase !== "shelved") {
    return whileSuppressed(alarm, fault, context.suppressed, context.now);
  }
  switch (alarm.phase) {
    case "suspected":
      return fault === null ? null : firstSeen(fault, alarm.since, context);
    case "unacknowledged":
      return whileUnacknowledged(alarm, fault, context);
    case "acknowledged":
      if (fault !== null) return { ...alarm, finding: findingOf(fault), awaySince: null };
      return hasStayedAway(alarm, context) ? null : { ...alarm, awaySince: alarm.awaySince ?? context.now };
    case "returnedUnacknowledged":
      return afterReturn(alarm, fault, context);
    case "shelved":
      return whileShelved(alarm, fault, context);
    case "suppressedByDesign":
      if (alarm.raised !== null) return raisedAgain(alarm, alarm.raised, fault);
      return fault === null ? null : firstSeen(fault, context.now, context);
  }
}

/** A fault that nobody was told of yet, seen without a break since `since`. */
function firstSeen(fault: Fault, since: Instant, { rule, now, suppressed }: AlarmContext): Alarm {
  const standing = { priority: rule.priority, since, finding: findingOf(fault) };
  if (suppressed !== null) return { ...standing, phase: "suppressedByDesign", why: suppressed, raised: null };
  if (now < after(since, rule.onDelay)) return { ...standing, phase: "suspected" };
  return { ...standing, phase: "unacknowledged", raisedAt: now, awaySince: null };
}

type InPhase<Phase extends Alarm["phase"]> = Extract<Alarm, { phase: Phase }>;

function whileUnacknowledged(alarm: InPhase<"unacknowledged">, fault: Fault | null, context: AlarmContext): Alarm {
  if (fault !== null) return { ...alarm, finding: findingOf(fault), awaySince: null };
  if (!hasStayedAway(alarm, context)) return { ...alarm, awaySince: alarm.awaySince ?? context.now };
  return {
    ...standingOf(alarm),
    phase: "returnedUnacknowledged",
    raisedAt: alarm.raisedAt,
    returnedAt: context.now,
    backSince: null,
  };
}

function hasStayedAway(alarm: { awaySince: Instant | null }, { rule, now }: AlarmContext): boolean {
  return now >= after(alarm.awaySince ?? now, rule.offDelay);
}

function afterReturn(
  alarm: InPhase<"returnedUnacknowledged">,
  fault: Fault | null,
  { rule, now }: AlarmContext,
): Alarm | null {
  if (fault === null) return now >= after(alarm.returnedAt, returnedKept) ? null : { ...alarm, backSince: null };
  const backSince = alarm.backSince ?? now;
  if (now < after(backSince, rule.onDelay)) return { ...alarm, backSince };
  const standing = { priority: alarm.priority, since: backSince, finding: findingOf(fault) };
  return { ...standing, phase: "unacknowledged", raisedAt: now, awaySince: null };
}

function whileShelved(alarm: InPhase<"shelved">, fault: Fault | null, context: AlarmContext): Alarm | null {
  // A fault that came back while on the shelf is a new one: its on-delay counts from then.
  const since = fault !== null && !alarm.present ? context.now : alarm.since;
  if (context.now < alarm.shelvedUntil) {
    const finding = fault === null ? alarm.finding : findingOf(fault);
    return { ...alarm, since, finding, present: fault !== null };
  }
  return fault === null ? null : firstSeen(fault, since, context);
}

function whileSuppressed(
  alarm: Exclude<Alarm, { phase: "shelved" }>,
  fault: Fault | null,
  why: string,
  now: Instant,
): Alarm | null {
  const standing = fault === null ? standingOf(alarm) : { ...standingOf(alarm), finding: findingOf(fault) };
  switch (alarm.phase) {
    case "suspected":
      return fault === null ? null : { ...standing, phase: "suppressedByDesign", why, raised: null };
    case "suppressedByDesign":
      // An alarm that was told of and whose fault is out of sight waits: while a feeder is silent, "gone" is not known.
      return fault === null && alarm.raised === null ? null : { ...alarm, ...standing, why };
    case "unacknowledged":
    case "acknowledged":
      return { ...standing, phase: "suppressedByDesign", why, raised: raisedOf(alarm) };
    case "returnedUnacknowledged":
      if (fault !== null) return { ...standing, since: now, phase: "suppressedByDesign", why, raised: null };
      return now >= after(alarm.returnedAt, returnedKept) ? null : { ...alarm, backSince: null };
  }
}

/** The suppression is over: the alarm is again what it was, without a second telling. */
function raisedAgain(alarm: InPhase<"suppressedByDesign">, raised: Raised, fault: Fault | null): Alarm {
  const standing = fault === null ? standingOf(alarm) : { ...standingOf(alarm), finding: findingOf(fault) };
  if (raised.acknowledged !== null) return acknowledged(standing, raised, null);
  return { ...standing, phase: "unacknowledged", raisedAt: raised.raisedAt, awaySince: null };
}

function raisedOf(alarm: InPhase<"unacknowledged"> | InPhase<"acknowledged">): Raised {
  const { raisedAt } = alarm;
  if (alarm.phase === "unacknowledged") return { raisedAt, acknowledged: null };
  return { raisedAt, acknowledged: { at: alarm.acknowledgedAt, by: alarm.acknowledgedBy } };
}

function acknowledged(
  standing: Standing,
  { raisedAt, acknowledged: seen }: Raised,
  awaySince: Instant | null,
): InPhase<"acknowledged"> {
  if (seen === null) throw new TypeError("expected an alarm that somebody has acknowledged, got none");
  const { priority, since, finding } = standing;
  return {
    priority,
    since,
    finding,
    phase: "acknowledged",
    raisedAt,
    acknowledgedAt: seen.at,
    acknowledgedBy: seen.by,
    awaySince,
  };
}

function isPresent(alarm: Alarm): boolean {
  switch (alarm.phase) {
    case "unacknowledged":
    case "acknowledged":
      return alarm.awaySince === null;
    case "returnedUnacknowledged":
      return alarm.backSince !== null;
    case "shelved":
      return alarm.present;
    case "suspected":
    case "suppressedByDesign":
      return true;
  }
}

type Standing = Pick<Alarm, "priority" | "since" | "finding">;
const standingOf = ({ priority, since, finding }: Standing): Standing => ({ priority, since, finding });

const findingOf = ({ reason, evidence, sure }: Fault): AlarmFinding => ({ reason, evidence, sure });

function moved(from: Alarm | null, to: Alarm | null, context: Omit<AlarmContext, "suppressed">): AlarmStep {
  return { alarm: to, changes: phaseOf(from) === phaseOf(to) ? [] : [changeOf(from, to, context)] };
}

function changeOf(
  from: Alarm | null,
  to: Alarm | null,
  { kind, rule, now }: Omit<AlarmContext, "suppressed">,
): AlarmChange {
  const reason = (to ?? from)?.finding.reason ?? "";
  return { fault: kind, priority: rule.priority, from: phaseOf(from), to: phaseOf(to), at: now, reason };
}
