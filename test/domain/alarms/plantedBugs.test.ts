import fc from "fast-check";
import { describe, expect, it } from "vitest";
import type { Alarm } from "../../../server/domain/alarms/alarm.ts";
import type { AlarmChange } from "../../../server/domain/alarms/alarmStates.ts";
import { type AlarmStep, changeOf } from "../../../server/domain/alarms/alarmTransitions.ts";
import type { FaultRule } from "../../../server/domain/faults.ts";
import { after, before, days, hours, type Instant, minutes } from "../../../server/domain/instant.ts";
import type { AlarmEvent } from "../../../server/domain/notification/escalation.ts";
import { brokenChecks, type CheckName } from "./checks.ts";
import { type AlarmFunctions, history, kind, realFunctions, runAlarm, someRule } from "./randomAlarms.ts";

/**
 * Goal: the checks that the life cycle passes would catch it if it were wrong. Method: life cycles with one bug each, made by
 * bending what goes in or comes out, are lived by the same histories; each must be caught, and by the check that is meant to.
 */
const lives = fc.sample(fc.tuple(history, someRule), { numRuns: 500, seed: 11 });

interface Bug {
  readonly caughtBy: CheckName;
  readonly plant: Partial<AlarmFunctions>;
}

// --- ways to bend --------------------------------------------------------------------------------------------------------

type Look = AlarmFunctions["advanceAlarm"];
type Context = Parameters<Look>[2];

const withContext =
  (bend: (context: Context) => Context): Look =>
  (alarm, fault, context) =>
    realFunctions.advanceAlarm(alarm, fault, bend(context));
const withRule = (change: Partial<FaultRule>): Look =>
  withContext((context) => ({ ...context, rule: { ...context.rule, ...change } }));
const logging =
  (kept: (change: AlarmChange) => boolean): Look =>
  (...look) => {
    const { alarm, changes } = realFunctions.advanceAlarm(...look);
    return { alarm, changes: changes.filter(kept) };
  };
/** The look as it should be, and then something happens to the alarm that shouldn't. */
const afterwards =
  (bend: (alarm: Alarm, context: Context, was: Alarm | null) => Alarm | null): Look =>
  (was, fault, context) =>
    changed(realFunctions.advanceAlarm(was, fault, context), (alarm) => bend(alarm, context, was), context);

function changed(step: AlarmStep, bend: (alarm: Alarm) => Alarm | null, of: Parameters<typeof changeOf>[2]): AlarmStep {
  if (step.alarm === null) return step;
  const bent = bend(step.alarm);
  const same = bent?.state === step.alarm.state;
  return { alarm: bent, changes: same ? step.changes : [...step.changes, changeOf(step.alarm, bent, of)] };
}

const withEvents =
  (
    bend: (
      events: readonly AlarmEvent[],
      changes: readonly AlarmChange[],
      alarm: Alarm | null,
    ) => readonly AlarmEvent[],
  ) =>
  (...said: Parameters<AlarmFunctions["eventsOf"]>) =>
    bend(realFunctions.eventsOf(...said), said[1], said[3]);
const never = (missing: AlarmEvent["kind"]) => withEvents((events) => events.filter((event) => event.kind !== missing));

const fades = (alarm: Alarm, now: Instant, span = hours(24)) =>
  "returnedAt" in alarm && now >= after(alarm.returnedAt, span);

// --- the bugs ------------------------------------------------------------------------------------------------------------

const bugs: Readonly<Record<string, Bug>> = {
  "a shelf without end": {
    caughtBy: "shelf",
    plant: {
      advanceAlarm: (alarm, fault, context) =>
        realFunctions.advanceAlarm(
          alarm?.state === "shelved" ? { ...alarm, shelvedUntil: after(context.now, days(1)) } : alarm,
          fault,
          context,
        ),
    },
  },
  "a shelf of a month": {
    caughtBy: "shelf",
    plant: {
      shelve: (alarm, until, by, of) => {
        const { alarm: next, changes } = realFunctions.shelve(alarm, until, by, of);
        return { alarm: next?.state === "shelved" ? { ...next, shelvedUntil: until } : next, changes };
      },
    },
  },
  "shelving that does nothing": { caughtBy: "shelf", plant: { shelve: (alarm) => ({ alarm, changes: [] }) } },
  "a shelf that forgets a latch": {
    caughtBy: "latch",
    plant: {
      shelve: (alarm, until, by, of) => realFunctions.shelve(alarm, until, by, { ...of, rule: unlatched(of.rule) }),
    },
  },
  "a latch that fades": {
    caughtBy: "latch",
    plant: {
      advanceAlarm: afterwards((alarm, { now }) =>
        alarm.state === "latchedUnacknowledged" && fades(alarm, now) ? null : alarm,
      ),
    },
  },
  "a latch that doesn't hold": {
    caughtBy: "latch",
    plant: { advanceAlarm: withContext((context) => ({ ...context, rule: unlatched(context.rule) })) },
  },
  "a latch that opens for the acknowledgement": {
    caughtBy: "latch",
    plant: {
      acknowledge: (alarm, answer, of) => {
        const step = realFunctions.acknowledge(alarm, answer, of);
        return changed(step, (seen) => (seen.state === "latchedAcknowledged" ? null : seen), of);
      },
    },
  },
  "a reset of what nobody has seen": {
    caughtBy: "latch",
    plant: {
      reset: (alarm, of) =>
        realFunctions.reset(alarm, of).alarm === null
          ? realFunctions.reset(alarm, of)
          : changed(
              { alarm, changes: [] },
              (latched) => (latched.state === "latchedUnacknowledged" ? null : latched),
              of,
            ),
    },
  },
  "an answer that counts for a newer alarm": {
    caughtBy: "answers",
    plant: { acknowledge: (alarm, { by }, of) => realFunctions.acknowledge(alarm, { by, raisedAt: null }, of) },
  },
  "an answer that doesn't count": {
    caughtBy: "answers",
    plant: { acknowledge: (alarm) => ({ alarm, changes: [] }) },
  },
  "an answer that is forgotten while something hides the alarm": {
    caughtBy: "acknowledgement",
    plant: {
      advanceAlarm: afterwards((alarm) =>
        alarm.state === "suppressedByDesign" && alarm.raised !== null
          ? { ...alarm, raised: { ...alarm.raised, acknowledged: null } }
          : alarm,
      ),
    },
  },
  "an answer that ends what is coming back": {
    caughtBy: "present",
    plant: {
      acknowledge: (alarm, answer, of) =>
        changed(realFunctions.acknowledge(alarm, answer, of), (seen) => (seen.state === "suspected" ? null : seen), of),
    },
  },
  "a raise without on-delay": { caughtBy: "onDelay", plant: { advanceAlarm: withRule({ onDelay: minutes(0) }) } },
  "an on-delay that counts across a gap": {
    caughtBy: "onDelay",
    plant: {
      advanceAlarm: (alarm, fault, context) =>
        alarm?.state === "suspected" && fault === null && context.suppressed === null
          ? { alarm, changes: [] }
          : realFunctions.advanceAlarm(alarm, fault, context),
    },
  },
  "an on-delay that never ends": { caughtBy: "present", plant: { advanceAlarm: withRule({ onDelay: days(900) }) } },
  "a return without off-delay": { caughtBy: "offDelay", plant: { advanceAlarm: withRule({ offDelay: minutes(0) }) } },
  "an off-delay that counts from the raise": {
    caughtBy: "offDelay",
    plant: {
      advanceAlarm: (alarm, fault, context) =>
        realFunctions.advanceAlarm(
          alarm?.state === "unacknowledged" && fault === null ? { ...alarm, absentSince: alarm.since } : alarm,
          fault,
          context,
        ),
    },
  },
  "a suppressed raise that tells": {
    caughtBy: "hidden",
    plant: { advanceAlarm: withContext((context) => ({ ...context, suppressed: null })) },
  },
  "a suppressed alarm that isn't listed": {
    caughtBy: "hidden",
    plant: {
      advanceAlarm: afterwards((alarm) =>
        alarm.state === "suppressedByDesign" && alarm.raised === null ? null : alarm,
      ),
    },
  },
  "a suppressed alarm under the wrong cause": {
    caughtBy: "hidden",
    plant: {
      advanceAlarm: afterwards((alarm) =>
        alarm.state === "suppressedByDesign" ? { ...alarm, explainedBy: "foodOut" } : alarm,
      ),
    },
  },
  "a suppressed arrow that isn't logged": {
    caughtBy: "arrows",
    plant: { advanceAlarm: logging(({ to }) => to !== "suppressedByDesign") },
  },
  "comings and goings that aren't logged": {
    caughtBy: "rawTransitions",
    plant: { advanceAlarm: logging(({ from, to }) => from !== to) },
  },
  "comings and goings that are logged twice": {
    caughtBy: "rawTransitions",
    plant: {
      advanceAlarm: (...look) => {
        const { alarm, changes } = realFunctions.advanceAlarm(...look);
        return { alarm, changes: changes.flatMap((one) => (one.from === one.to ? [one, one] : [one])) };
      },
    },
  },
  "silence taken for the end of a fault": {
    caughtBy: "unseen",
    plant: {
      advanceAlarm: withContext((context) => ({
        ...context,
        suppressed: context.suppressed && { ...context.suppressed, isUnobservable: false },
      })),
    },
  },
  "out of service for a day": {
    caughtBy: "outOfService",
    plant: {
      advanceAlarm: afterwards((alarm, { now }) =>
        alarm.state === "outOfService" && now > after(alarm.outSince, days(1)) ? null : alarm,
      ),
    },
  },
  "out of service without a name": {
    caughtBy: "outOfService",
    plant: { takeOutOfService: (alarm, why, _by, of) => realFunctions.takeOutOfService(alarm, why, "", of) },
  },
  "out of service that a shelf ends": {
    caughtBy: "outOfService",
    plant: {
      shelve: (alarm, until, by, of) =>
        realFunctions.shelve(alarm?.state === "outOfService" ? null : alarm, until, by, of),
    },
  },
  "what went unseen and never fades": {
    caughtBy: "fading",
    plant: {
      advanceAlarm: (alarm, fault, context) =>
        alarm?.state === "returnedUnacknowledged" && fades(alarm, context.now) && fault === null
          ? { alarm, changes: [] }
          : realFunctions.advanceAlarm(alarm, fault, context),
    },
  },
  "what went unseen and fades within the hour": {
    caughtBy: "fading",
    plant: {
      advanceAlarm: afterwards((alarm, { now }) =>
        alarm.state === "returnedUnacknowledged" && fades(alarm, now, hours(1)) ? null : alarm,
      ),
    },
  },
  "a consequence of higher priority without notification": {
    caughtBy: "priority",
    plant: { advanceAlarm: withContext((context) => ({ ...context, priority: context.rule.priority })) },
  },
  "a consequence of higher priority that notifies each time": {
    caughtBy: "oneTelling",
    plant: {
      advanceAlarm: afterwards((alarm, { priority }) =>
        alarm.state === "unacknowledged" ? { ...alarm, notifiedPriority: priority } : alarm,
      ),
    },
  },
  "a raise that nobody is notified of": { caughtBy: "oneTelling", plant: { eventsOf: never("raised") } },
  "a raise that notifies at each check": {
    caughtBy: "oneTelling",
    plant: {
      eventsOf: withEvents((events, changes, alarm) =>
        events.length === 0 &&
        changes.length > 0 &&
        alarm?.state === "unacknowledged" &&
        alarm.notifiedPriority !== "note"
          ? [{ ...loud, at: alarm.raisedAt }]
          : events,
      ),
    },
  },
  "a second notification when a suppression ends": {
    caughtBy: "oneTelling",
    plant: {
      eventsOf: withEvents((events) =>
        events.map((event) =>
          event.kind === "raised" && event.sameEpisode ? { ...event, sameEpisode: false } : event,
        ),
      ),
    },
  },
  "an escalation that ends with the suppression": {
    caughtBy: "openCall",
    plant: {
      eventsOf: withEvents((events) => events.filter((event) => event.kind !== "raised" || !event.sameEpisode)),
    },
  },
  "an end that nobody is notified of": { caughtBy: "openCall", plant: { eventsOf: never("returned") } },
  "an open escalation of an acknowledged alarm": { caughtBy: "openCall", plant: { eventsOf: never("acknowledged") } },
  "an open escalation of a suppressed alarm": { caughtBy: "openCall", plant: { eventsOf: never("suppressed") } },
  "good news that ends the asking before anybody has looked": {
    caughtBy: "openCall",
    plant: {
      eventsOf: withEvents((events, changes, alarm) =>
        alarm?.state === "latchedUnacknowledged" && changes.some(({ from, to }) => from !== to)
          ? [...events, { kind: "returned", fault: kind, at: alarm.returnedAt, title: "", body: "" }]
          : events,
      ),
    },
  },
  "a moment that JSON doesn't hold": {
    caughtBy: "json",
    plant: {
      advanceAlarm: afterwards((alarm) =>
        alarm.state === "unacknowledged" && alarm.absentSince !== null
          ? { ...alarm, absentSince: before(alarm.absentSince, Number.POSITIVE_INFINITY as never) }
          : alarm,
      ),
    },
  },
};

function unlatched({ latched, ...rule }: FaultRule): FaultRule {
  return rule;
}
const loud: Extract<AlarmEvent, { kind: "raised" }> = {
  ...{ kind: "raised", fault: kind, priority: "urgent", at: 0 as Instant, title: "", body: "", sameEpisode: false },
};

describe("a life cycle with a planted bug", () => {
  it.each(Object.entries(bugs))("is caught: %s", (_what, { caughtBy, plant }) => {
    const cycle = { ...realFunctions, ...plant };
    const caught = lives.some(([moves, rule]) => brokenChecks(runAlarm(moves, rule, cycle), rule).has(caughtBy));
    expect(caught).toBe(true);
  });

  it("isn't ours: the same histories break nothing without one", () => {
    for (const [moves, rule] of lives) expect(brokenChecks(runAlarm(moves, rule), rule).size).toBe(0);
  });
});
