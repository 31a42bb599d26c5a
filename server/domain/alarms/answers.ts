import type { Priority } from "../faults.ts";
import { after, earlier, type Instant } from "../instant.ts";
import { type Alarm, type AlarmFinding, latchedAgain, raisedOf, standingOf } from "./alarm.ts";
import { type AlarmOf, type AlarmStep, changeOf, graveness, phaseOf, shelvedMax } from "./lifeCycle.ts";

/** What keepers say of an alarm. None of it asks whether the fault is there: the next look does. */

export interface Answer {
  readonly by: string;
  /** Which raise was answered, where the answer says: one that is given late must not fit a newer alarm. Null: whichever stands. */
  readonly raisedAt: Instant | null;
  /** How gravely it had called: who has seen something milder has not seen what it became. Left out: as it does now. */
  readonly calledAs?: Priority;
}

/** A keeper says "I have seen it". One that had already returned to normal ends by it, unless it is latched. */
export function acknowledge(alarm: Alarm | null, { by, raisedAt, calledAs }: Answer, of: AlarmOf): AlarmStep {
  if (alarm === null) return unmoved(alarm);
  const isMeant = (raised: { readonly raisedAt: Instant; readonly called?: Priority }) =>
    (raisedAt === null || raised.raisedAt === raisedAt) &&
    (calledAs === undefined || raised.called === undefined || graveness[raised.called] >= graveness[calledAs]);
  const seen = { acknowledgedAt: of.now, acknowledgedBy: by };
  switch (alarm.phase) {
    case "unacknowledged":
      return isMeant(alarm) ? moved(alarm, { ...alarm, phase: "acknowledged", ...seen }, of) : unmoved(alarm);
    case "latchedUnacknowledged":
      return isMeant(alarm) ? moved(alarm, { ...alarm, phase: "latchedAcknowledged", ...seen }, of) : unmoved(alarm);
    case "returnedUnacknowledged":
      return isMeant(alarm) ? moved(alarm, ended(alarm, alarm.backSince, of.now), of) : unmoved(alarm);
    case "suppressedByDesign": {
      const { raised } = alarm;
      if (raised === null || raised.acknowledged !== null || !isMeant(raised)) return unmoved(alarm);
      return unmoved({ ...alarm, raised: { ...raised, acknowledged: { at: of.now, by } } }); // it comes back acknowledged
    }
    case "suspected":
    case "acknowledged":
    case "latchedAcknowledged":
    case "shelved":
    case "outOfService":
      return unmoved(alarm); // there is nothing to acknowledge (again)
  }
}

/** Somebody has looked at the thing itself. Only what was acknowledged can be reset (ISA-18.2). */
export function reset(alarm: Alarm | null, of: AlarmOf): AlarmStep {
  if (alarm?.phase !== "latchedAcknowledged") return unmoved(alarm);
  return moved(alarm, ended(alarm, alarm.backSince, of.now), of);
}

/**
 * A keeper puts the alarm aside, raised or not, until a time: at most `shelvedMax` ahead; an end that is past shelves
 * nothing. Shelving anew replaces the end, sooner or later alike. What is out of service can't be shelved as well.
 */
export function shelve(alarm: Alarm | null, until: Instant, by: string, of: AlarmOf): AlarmStep {
  if (until <= of.now || alarm?.phase === "outOfService") return unmoved(alarm);
  const next: Alarm = {
    ...standingOf(alarm ?? notSeen(of, "Shelved before it was seen.")),
    phase: "shelved",
    shelvedAt: of.now,
    shelvedBy: by,
    shelvedUntil: earlier(until, after(of.now, shelvedMax)),
    latch: latchOf(alarm, of),
  };
  return moved(alarm, next, of);
}

/** A keeper takes the alarm out of service, raised or not: it has no end of its own. Who did it first stays on record. */
export function takeOutOfService(alarm: Alarm | null, why: string, by: string, of: AlarmOf): AlarmStep {
  if (alarm?.phase === "outOfService") return unmoved(alarm);
  const next: Alarm = {
    ...standingOf(alarm ?? notSeen(of, "Taken out of service before it was seen.")),
    phase: "outOfService",
    outSince: of.now,
    outBy: by,
    outWhy: why,
    latch: latchOf(alarm, of),
  };
  return moved(alarm, next, of);
}

/** It is judged anew, by how long its fault has been there. */
export function returnToService(alarm: Alarm | null, of: AlarmOf): AlarmStep {
  if (alarm?.phase !== "outOfService") return unmoved(alarm);
  const { latch, present, since } = alarm;
  if (latch !== null) return moved(alarm, latchedAgain(alarm, latch, of.now, present ? since : null), of);
  return moved(alarm, ended(alarm, since, of.now), of);
}

/** Over; where its fault is there all the same, it is under suspicion again from `since` on. */
function ended(alarm: Alarm, since: Instant | null, now: Instant): Alarm | null {
  return alarm.present ? { ...standingOf(alarm), since: since ?? now, phase: "suspected" } : null;
}

/** To put one aside is not to have looked at what it may have done. */
const latchOf = (alarm: Alarm | null, { rule }: AlarmOf) => (rule.latched && alarm !== null ? raisedOf(alarm) : null);

const notSeen = ({ rule, now }: AlarmOf, reason: string) => {
  const finding: AlarmFinding = { reason, evidence: [], sure: null };
  return { priority: rule.priority, since: now, finding, present: false };
};

const unmoved = (alarm: Alarm | null): AlarmStep => ({ alarm, changes: [] });

function moved(from: Alarm | null, to: Alarm | null, of: AlarmOf): AlarmStep {
  return { alarm: to, changes: phaseOf(from) === phaseOf(to) ? [] : [changeOf(from, to, of)] };
}
