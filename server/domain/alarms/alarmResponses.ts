import { texts } from "../../text/index.ts";
import type { Priority } from "../faults.ts";
import { after, earlier, type Instant } from "../instant.ts";
import { type Alarm, type AlarmFinding, type InState, raiseOf, standingOf, toLatched } from "./alarm.ts";
import {
  type AlarmRuleContext,
  type AlarmStep,
  alarmStateOf,
  changeOf,
  priorityRank,
  shelvedMax,
} from "./alarmTransitions.ts";

/** Keepers' responses to an alarm. None of them depends on whether the fault is present: the next check decides that. */

export interface Acknowledgement {
  readonly by: string;
  /** The raise that is acknowledged: a late response must not acknowledge a newer raise. Null: whichever is active. */
  readonly raisedAt: Instant | null;
  /** The priority that the person was notified of: it does not acknowledge a higher one. Left out: the present one. */
  readonly notifiedPriority?: Priority;
}

/** A keeper acknowledges the alarm. One that had already returned to normal ends by it, unless it is latched. */
export function acknowledge(alarm: Alarm | null, answer: Acknowledgement, of: AlarmRuleContext): AlarmStep {
  if (alarm === null || !isMeant(alarm, answer)) return unchangedStep(alarm);
  const { by } = answer;
  const acknowledgement = { acknowledgedAt: of.now, acknowledgedBy: by };
  switch (alarm.state) {
    case "unacknowledged":
      return stepTo(alarm, { ...alarm, state: "acknowledged", ...acknowledgement }, of);
    case "latchedUnacknowledged":
      return stepTo(alarm, { ...alarm, state: "latchedAcknowledged", ...acknowledgement }, of);
    case "returnedUnacknowledged":
      return stepTo(alarm, afterSuppressionEnds(alarm, alarm.presentSince, of.now), of);
    case "suppressedByDesign":
      return unchangedStep(acknowledgeSuppressed(alarm, by, of.now));
    case "suspected":
    case "acknowledged":
    case "latchedAcknowledged":
    case "shelved":
    case "outOfService":
      return unchangedStep(alarm); // there is nothing to acknowledge (again)
  }
}

/** The same state: the alarm comes back acknowledged when the suppression ends. */
function acknowledgeSuppressed(alarm: InState<"suppressedByDesign">, by: string, at: Instant): Alarm {
  const { raised } = alarm;
  if (raised === null || raised.acknowledged !== null) return alarm;
  return { ...alarm, raised: { ...raised, acknowledged: { at, by } } };
}

/** Whether the response was given to this raise at this priority. */
function isMeant(alarm: Alarm, { raisedAt, notifiedPriority }: Acknowledgement): boolean {
  const raise = alarm.state === "suppressedByDesign" ? alarm.raised : "raisedAt" in alarm ? alarm : null;
  if (raise === null || (raisedAt !== null && raise.raisedAt !== raisedAt)) return false;
  if (notifiedPriority === undefined || !("notifiedPriority" in raise)) return true;
  return priorityRank[raise.notifiedPriority] >= priorityRank[notifiedPriority];
}

/** Somebody has checked the feeder itself. Only an acknowledged alarm can be reset (ISA-18.2). */
export function reset(alarm: Alarm | null, of: AlarmRuleContext): AlarmStep {
  if (alarm?.state !== "latchedAcknowledged") return unchangedStep(alarm);
  return stepTo(alarm, afterSuppressionEnds(alarm, alarm.presentSince, of.now), of);
}

/**
 * A keeper shelves the alarm, raised or not, until a time: at most `shelvedMax` ahead; an end in the past does nothing. Shelving
 * again replaces the end, with an earlier or a later one. An alarm out of service can't be shelved.
 */
export function shelve(alarm: Alarm | null, until: Instant, by: string, of: AlarmRuleContext): AlarmStep {
  if (until <= of.now || alarm?.state === "outOfService") return unchangedStep(alarm);
  const next: Alarm = {
    ...standingOf(alarm ?? withoutFault(of, texts.alarms.shelvedUndetected)),
    state: "shelved",
    shelvedAt: of.now,
    shelvedBy: by,
    shelvedUntil: earlier(until, after(of.now, shelvedMax)),
    latch: latchOf(alarm, of),
  };
  return stepTo(alarm, next, of);
}

/** A keeper takes the alarm out of service, raised or not, without an end. The first person who did it stays recorded. */
export function takeOutOfService(alarm: Alarm | null, reason: string, by: string, of: AlarmRuleContext): AlarmStep {
  if (alarm?.state === "outOfService") return unchangedStep(alarm);
  const next: Alarm = {
    ...standingOf(alarm ?? withoutFault(of, texts.alarms.outOfServiceUndetected)),
    state: "outOfService",
    outSince: of.now,
    outBy: by,
    outReason: reason,
    latch: latchOf(alarm, of),
  };
  return stepTo(alarm, next, of);
}

/** The alarm is evaluated again, by how long its fault has been present. */
export function returnToService(alarm: Alarm | null, of: AlarmRuleContext): AlarmStep {
  if (alarm?.state !== "outOfService") return unchangedStep(alarm);
  const { latch, present, since } = alarm;
  if (latch !== null) return stepTo(alarm, toLatched(alarm, latch, of.now, present ? since : null), of);
  return stepTo(alarm, afterSuppressionEnds(alarm, since, of.now), of);
}

/** Ended; where its fault is present, it is suspected again from `since` on. */
function afterSuppressionEnds(alarm: Alarm, since: Instant | null, now: Instant): Alarm | null {
  return alarm.present ? { ...standingOf(alarm), since: since ?? now, state: "suspected" } : null;
}

/** Whoever shelves an alarm has not checked for damage. */
const latchOf = (alarm: Alarm | null, { rule }: AlarmRuleContext) =>
  rule.latched && alarm !== null ? raiseOf(alarm) : null;

const withoutFault = ({ rule, now }: AlarmRuleContext, reason: string) => {
  const finding: AlarmFinding = { reason, evidence: [], confidence: null };
  return { priority: rule.priority, since: now, finding, present: false };
};

const unchangedStep = (alarm: Alarm | null): AlarmStep => ({ alarm, changes: [] });

function stepTo(from: Alarm | null, to: Alarm | null, of: AlarmRuleContext): AlarmStep {
  return { alarm: to, changes: alarmStateOf(from) === alarmStateOf(to) ? [] : [changeOf(from, to, of)] };
}
