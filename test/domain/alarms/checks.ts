import { isDeepStrictEqual } from "node:util";
import { type Alarm, raiseOf } from "../../../server/domain/alarms/alarm.ts";
import type { AlarmChange } from "../../../server/domain/alarms/alarmStates.ts";
import {
  alarmStateOf,
  allowedTransitions,
  priorityRank,
  returnedMax,
  shelvedMax,
} from "../../../server/domain/alarms/alarmTransitions.ts";
import type { FaultRule, Priority } from "../../../server/domain/faults.ts";
import { after, type Instant } from "../../../server/domain/instant.ts";
import { type AlarmRunStep, raisedAtOf } from "./randomAlarms.ts";

/**
 * What must be true of any life of any alarm, each from the standard's own meaning of a state or from what telling owes to
 * people, and none from how the life cycle reckons. Each answers with the first step that breaks it.
 */
export type Check = (life: readonly AlarmRunStep[], rule: FaultRule) => string | null;

const first = (
  life: readonly AlarmRunStep[],
  broken: (lived: AlarmRunStep, at: number) => string | false,
): string | null => {
  for (const [at, lived] of life.entries()) {
    const text = broken(lived, at);
    if (text !== false) return `step ${at}, ${lived.move.kind} at ${alarmStateOf(lived.before)}: ${text}`;
  }
  return null;
};
const isLook = ({ move }: AlarmRunStep) => move.kind === "check";
const stateOfStep = ({ step }: AlarmRunStep) => alarmStateOf(step.alarm);
const isArrow = ({ from, to }: AlarmChange) => from !== to;
const isAside = (alarm: Alarm | null) => alarm?.state === "shelved" || alarm?.state === "outOfService";
const calledOf = (alarm: Alarm | null): Priority | null =>
  alarm === null ? null : (raiseOf(alarm)?.notifiedPriority ?? null);

export const checks = {
  /** The log tells each arrow, in order, and no other than the table has. */
  arrows: (life) => {
    let was: AlarmChange["from"] = "normal";
    return first(life, ({ step }) => {
      for (const { from, to } of step.changes) {
        if (from !== was) return `an arrow from ${from}, where the alarm was ${was}`;
        if (from !== to && !allowedTransitions[from].includes(to)) return `no arrow leads from ${from} to ${to}`;
        was = to;
      }
      return was !== alarmStateOf(step.alarm) && `the log says ${was}, the alarm is ${alarmStateOf(step.alarm)}`;
    });
  },

  /** Whether the fault was there can be read off the log alone, hidden or not, with one line a look at most. */
  rawTransitions: (life) => {
    let logged = false;
    return first(life, (lived) => {
      const { step, fault, suppressed } = lived;
      if (step.changes.filter((change) => !isArrow(change)).length > 1) return "two lines without an arrow";
      logged = step.changes.at(-1)?.present ?? logged;
      if (step.alarm !== null && step.alarm.present !== logged) return "the log and the alarm disagree";
      if (!isLook(lived) || suppressed?.isUnobservable) return false;
      return logged !== (fault !== null) && `the log says ${logged ? "there" : "away"}`;
    });
  },

  /** What nobody can see is taken to be neither gone nor come. */
  unseen: (life) =>
    first(life, ({ before, suppressed, step }) => {
      if (!suppressed?.isUnobservable || step.alarm === null || before === null) return false;
      return step.alarm.present !== before.present && "a fault came or went that nobody could see";
    }),

  onDelay: (life, rule) => {
    let thereSince: Instant | null = null;
    return first(life, (lived) => {
      if (!isLook(lived)) return false;
      if (lived.suppressed?.isUnobservable)
        thereSince = lived.now; // it may be there, but nothing before counts
      else thereSince = lived.fault === null ? null : (thereSince ?? lived.now);
      if (!isNewRaise(lived)) return false;
      if (thereSince === null) return "raised without its fault";
      return lived.now < after(thereSince, rule.onDelay) && "raised before its on-delay was over";
    });
  },

  /** Nothing that is there, and hidden by nothing, goes untold for longer than its on-delay. */
  present: (life, rule) => {
    let openSince: Instant | null = null;
    return first(life, (lived) => {
      const { now, fault, suppressed, step } = lived;
      if (isAside(step.alarm)) openSince = null;
      if (!isLook(lived)) return false;
      openSince = fault === null || suppressed !== null || isAside(step.alarm) ? null : (openSince ?? now);
      if (openSince === null || now < after(openSince, rule.onDelay)) return false;
      return !["unacknowledged", "acknowledged"].includes(stateOfStep(lived)) && `it is only ${stateOfStep(lived)}`;
    });
  },

  offDelay: (life, rule) => {
    let goneSince: Instant | null = null;
    return first(life, (lived) => {
      if (!isLook(lived)) return false;
      goneSince = lived.fault !== null || lived.suppressed !== null ? null : (goneSince ?? lived.now);
      const returned = lived.step.changes.some(({ from, to }) => {
        if (from === "acknowledged") return to === "normal" || to === "latchedAcknowledged";
        return from === "unacknowledged" && (to === "returnedUnacknowledged" || to === "latchedUnacknowledged");
      });
      if (!returned) return false;
      return (goneSince === null || lived.now < after(goneSince, rule.offDelay)) && "returned before its off-delay";
    });
  },

  hidden: (life) =>
    first(life, (lived) => {
      const { suppressed, fault, step, events } = lived;
      if (!isLook(lived) || suppressed === null) return false;
      if (["unacknowledged", "acknowledged", "suspected"].includes(stateOfStep(lived)))
        return `it is ${stateOfStep(lived)}`;
      if (step.alarm?.state === "suppressedByDesign") {
        const { reason, explainedBy } = step.alarm;
        if (reason !== suppressed.reason || explainedBy !== suppressed.explainedBy) return `by ${reason}`;
      }
      if (fault !== null && step.alarm === null) return "it isn't even listed";
      // What lay on a shelf until now, latched, is put back on the screens; all else is silent.
      const loud = events.find((event) => event.kind === "worsened" || (event.kind === "raised" && !event.sameEpisode));
      return loud !== undefined && `${loud.kind} is notified`;
    }),

  /** A latched alarm leaves only by a reset, and that only after somebody has acknowledged this very raise. */
  latch: (life, rule) => {
    if (!rule.latched) return null;
    let acknowledged = false;
    return first(life, ({ move, before, step }) => {
      const raisedBefore = before === null ? null : raiseOf(before);
      const raisedAfter = step.alarm === null ? null : raiseOf(step.alarm);
      if (raisedAfter?.raisedAt !== raisedBefore?.raisedAt || grewGraver(before, step.alarm)) {
        if (raisedAfter !== null) acknowledged = false; // a new raise, or a higher priority than was seen
      }
      if (raisedBefore !== null && raisedAfter === null) {
        if (move.kind !== "reset") return "it is gone without a reset";
        if (!acknowledged) return "it is reset, and nobody had seen it";
      }
      if (move.kind === "acknowledge" && isMeant(move.which))
        acknowledged ||= raisedBefore !== null && !isAside(before);
      if (!acknowledged && raisedAfter?.acknowledged) return "it passes for acknowledged";
      if (alarmStateOf(step.alarm) === "returnedUnacknowledged") return "it may fade";
      return acknowledged && raisedAfter?.acknowledged === null && "nobody's answer counts";
    });
  },

  shelf: (life) => {
    let end: Instant | null = null;
    return first(life, (lived) => {
      const { now, until, step, before, move } = lived;
      if (move.kind === "shelve" && until !== null && until > now && before?.state !== "outOfService") {
        end = Math.min(until, now + shelvedMax) as Instant;
        if (step.alarm?.state !== "shelved") return "it isn't shelved";
      }
      if (step.alarm?.state !== "shelved") return false;
      const { shelvedUntil, shelvedAt } = step.alarm;
      if (end === null || shelvedUntil !== end || shelvedUntil > after(shelvedAt, shelvedMax)) return "its end moved";
      return isLook(lived) && now >= end && "it stays on the shelf past its end";
    });
  },

  outOfService: (life) => {
    let out: { readonly at: Instant } | null = null;
    return first(life, ({ move, now, step }) => {
      if (move.kind === "takeOut") out ??= { at: now };
      if (move.kind === "bringBack") out = null;
      if (out === null) return step.alarm?.state === "outOfService" && "it is out, and nobody took it out";
      if (step.alarm?.state !== "outOfService") return "it came back by itself";
      const { outBy, outSince, outReason } = step.alarm;
      return (outBy !== "Bo" || outSince !== out.at || outReason === "") && "who, since when or why is lost";
    });
  },

  /** An answer counts for the alarm that it was given to, and for no newer one. */
  answers: (life) =>
    first(life, ({ move, before, step }) => {
      if (move.kind !== "acknowledge") return false;
      if (!isMeant(move.which)) return !isDeepStrictEqual(before, step.alarm) && "an old answer counted";
      if (before?.state === "unacknowledged" && alarmStateOf(step.alarm) !== "acknowledged") return "it doesn't count";
      if (before?.state === "latchedUnacknowledged" && alarmStateOf(step.alarm) !== "latchedAcknowledged")
        return "it doesn't count";
      if (before?.state !== "suppressedByDesign" || before.raised === null) return false;
      return raiseOf(step.alarm as Alarm)?.acknowledged == null && "it is forgotten while something hides the alarm";
    }),

  /** What was acknowledged stays so through whatever hides it, and what nobody has seen doesn't pass for seen. */
  acknowledgement: (life) =>
    first(life, ({ before, step }) => {
      if (before === null || step.alarm === null) return false;
      const [was, is] = [raiseOf(before), raiseOf(step.alarm)];
      if (was === null || is === null || was.raisedAt !== is.raisedAt || was.acknowledged === null) return false;
      return is.acknowledged === null && !grewGraver(before, step.alarm) && "it must be acknowledged a second time";
    }),

  fading: (life) =>
    first(life, (lived) => {
      const { before, step, now, fault, move } = lived;
      if (step.alarm?.state === "returnedUnacknowledged" && isLook(lived) && fault === null)
        return now >= after(step.alarm.returnedAt, returnedMax) && "it is stale";
      if (before?.state !== "returnedUnacknowledged" || step.alarm !== null || move.kind === "acknowledge")
        return false;
      return now < after(before.returnedAt, returnedMax) && "it faded too soon";
    }),

  priority: (life) =>
    first(life, (lived) => {
      if (!isLook(lived) || lived.fault === null || lived.step.alarm === null) return false;
      if (lived.step.alarm.priority !== lived.priority) return `it is ${lived.step.alarm.priority}`;
      if (stateOfStep(lived) !== "unacknowledged" && stateOfStep(lived) !== "acknowledged") return false;
      const called = calledOf(lived.step.alarm);
      return called !== null && priorityRank[called] > priorityRank[lived.priority] && `it called as ${called} only`;
    }),

  /** It notifies once for each raise, and again each time its priority becomes higher than any notified in that raise. */
  oneTelling: (life) => {
    const notified = new Map<Instant, Priority>();
    return first(life, (lived) => {
      for (const event of lived.events) {
        if ((event.kind !== "raised" || event.sameEpisode) && event.kind !== "worsened") continue;
        const raisedAt = event.kind === "worsened" ? event.raisedAt : event.at;
        if (raisedAtOf(lived.step.alarm) !== raisedAt) return "it rings for an alarm that isn't";
        const before = notified.get(raisedAt);
        if (before !== undefined && priorityRank[event.priority] >= priorityRank[before])
          return "it rings a second time";
        notified.set(raisedAt, event.priority);
      }
      if (!isNewRaise(lived) || calledOf(lived.step.alarm) === "note") return false;
      return !lived.events.some(({ kind }) => kind === "raised") && "nobody is notified of it";
    });
  },

  /** Only an alarm that needs a response has an open escalation. */
  openCall: (life) => {
    let escalation: "none" | "open" | "acknowledged" = "none";
    return first(life, (lived) => {
      for (const { kind } of lived.events) {
        if (kind === "raised" || kind === "worsened") escalation = "open";
        else if (kind === "acknowledged") escalation = "acknowledged";
        else escalation = "none";
      }
      const { alarm } = lived.step;
      const waits = alarm?.state === "unacknowledged" || alarm?.state === "latchedUnacknowledged";
      const wanted = waits && calledOf(alarm) !== "note";
      if (wanted && escalation !== "open") return `${stateOfStep(lived)}, and no escalation is open`;
      if (!wanted && escalation === "open") return `an escalation is open, and it is ${stateOfStep(lived)}`;
      return escalation === "acknowledged" && alarm?.state !== "acknowledged" && "nobody was notified of its end";
    });
  },

  json: (life) =>
    first(life, ({ step }) => !isDeepStrictEqual(JSON.parse(JSON.stringify(step)), step) && "JSON doesn't hold it"),
} as const satisfies Record<string, Check>;

export type CheckName = keyof typeof checks;

const isMeant = (which: "this" | "older" | "any") => which !== "older";

/** A raise of its own: neither one that returns from a suppression, nor one whose priority only became higher. */
function isNewRaise({ before, step }: AlarmRunStep): boolean {
  if (step.alarm?.state !== "unacknowledged") return false;
  return before === null || raiseOf(before)?.raisedAt !== step.alarm.raisedAt;
}

function grewGraver(before: Alarm | null, now: Alarm | null): boolean {
  const [was, is] = [calledOf(before), calledOf(now)];
  return was !== null && is !== null && priorityRank[is] < priorityRank[was];
}

/** Every check that this life breaks, and how. */
export function brokenChecks(life: readonly AlarmRunStep[], rule: FaultRule): Map<CheckName, string> {
  const broken = new Map<CheckName, string>();
  for (const name of Object.keys(checks) as CheckName[]) {
    const text = checks[name](life, rule);
    if (text !== null) broken.set(name, text);
  }
  return broken;
}
