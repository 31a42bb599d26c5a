import type { Priority } from "../faults.ts";
import { after, earlier, type Instant } from "../instant.ts";
import { type Alarm, type AlarmFinding, raiseOf, standingOf, toLatched } from "./alarm.ts";
import {
  type AlarmRuleContext,
  type AlarmStep,
  alarmStateOf,
  changeOf,
  priorityRank,
  shelvedMax,
} from "./alarmTransitions.ts";

/** What keepers say of an alarm. None of it asks whether the fault is there: the next look does. */

export interface Acknowledgement {
  readonly by: string;
  /** Which raise was answered, where the answer says: one that is given late must not fit a newer alarm. Null: whichever stands. */
  readonly raisedAt: Instant | null;
  /** How gravely it had called: who has seen something milder has not seen what it became. Left out: as it does now. */
  readonly notifiedPriority?: Priority;
}

/** A keeper says "I have seen it". One that had already returned to normal ends by it, unless it is latched. */
export function acknowledge(
  alarm: Alarm | null,
  { by, raisedAt, notifiedPriority }: Acknowledgement,
  of: AlarmRuleContext,
): AlarmStep {
  if (alarm === null) return unchangedStep(alarm);
  const isMeant = (raised: { readonly raisedAt: Instant; readonly called?: Priority }) =>
    (raisedAt === null || raised.raisedAt === raisedAt) &&
    (notifiedPriority === undefined ||
      raised.called === undefined ||
      priorityRank[raised.called] >= priorityRank[notifiedPriority]);
  const seen = { acknowledgedAt: of.now, acknowledgedBy: by };
  switch (alarm.state) {
    case "unacknowledged":
      return isMeant(alarm) ? stepTo(alarm, { ...alarm, state: "acknowledged", ...seen }, of) : unchangedStep(alarm);
    case "latchedUnacknowledged":
      return isMeant(alarm)
        ? stepTo(alarm, { ...alarm, state: "latchedAcknowledged", ...seen }, of)
        : unchangedStep(alarm);
    case "returnedUnacknowledged":
      return isMeant(alarm)
        ? stepTo(alarm, afterSuppressionEnds(alarm, alarm.presentSince, of.now), of)
        : unchangedStep(alarm);
    case "suppressedByDesign": {
      const { raised } = alarm;
      if (raised === null || raised.acknowledged !== null || !isMeant(raised)) return unchangedStep(alarm);
      return unchangedStep({ ...alarm, raised: { ...raised, acknowledged: { at: of.now, by } } }); // it comes back acknowledged
    }
    case "suspected":
    case "acknowledged":
    case "latchedAcknowledged":
    case "shelved":
    case "outOfService":
      return unchangedStep(alarm); // there is nothing to acknowledge (again)
  }
}

/** Somebody has looked at the thing itself. Only what was acknowledged can be reset (ISA-18.2). */
export function reset(alarm: Alarm | null, of: AlarmRuleContext): AlarmStep {
  if (alarm?.state !== "latchedAcknowledged") return unchangedStep(alarm);
  return stepTo(alarm, afterSuppressionEnds(alarm, alarm.presentSince, of.now), of);
}

/**
 * A keeper puts the alarm aside, raised or not, until a time: at most `shelvedMax` ahead; an end that is past shelves
 * nothing. Shelving anew replaces the end, sooner or later alike. What is out of service can't be shelved as well.
 */
export function shelve(alarm: Alarm | null, until: Instant, by: string, of: AlarmRuleContext): AlarmStep {
  if (until <= of.now || alarm?.state === "outOfService") return unchangedStep(alarm);
  const next: Alarm = {
    ...standingOf(alarm ?? withoutFault(of, "Shelved before it was seen.")),
    state: "shelved",
    shelvedAt: of.now,
    shelvedBy: by,
    shelvedUntil: earlier(until, after(of.now, shelvedMax)),
    latch: latchOf(alarm, of),
  };
  return stepTo(alarm, next, of);
}

/** A keeper takes the alarm out of service, raised or not: it has no end of its own. Who did it first stays on record. */
export function takeOutOfService(alarm: Alarm | null, why: string, by: string, of: AlarmRuleContext): AlarmStep {
  if (alarm?.state === "outOfService") return unchangedStep(alarm);
  const next: Alarm = {
    ...standingOf(alarm ?? withoutFault(of, "Taken out of service before it was seen.")),
    state: "outOfService",
    outSince: of.now,
    outBy: by,
    outReason: why,
    latch: latchOf(alarm, of),
  };
  return stepTo(alarm, next, of);
}

/** It is judged anew, by how long its fault has been there. */
export function returnToService(alarm: Alarm | null, of: AlarmRuleContext): AlarmStep {
  if (alarm?.state !== "outOfService") return unchangedStep(alarm);
  const { latch, present, since } = alarm;
  if (latch !== null) return stepTo(alarm, toLatched(alarm, latch, of.now, present ? since : null), of);
  return stepTo(alarm, afterSuppressionEnds(alarm, since, of.now), of);
}

/** Over; where its fault is there all the same, it is under suspicion again from `since` on. */
function afterSuppressionEnds(alarm: Alarm, since: Instant | null, now: Instant): Alarm | null {
  return alarm.present ? { ...standingOf(alarm), since: since ?? now, state: "suspected" } : null;
}

/** To put one aside is not to have looked at what it may have done. */
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
