import fc from "fast-check";
import type { Alarm } from "../../../server/domain/alarms/alarm.ts";
import { alarmEvents } from "../../../server/domain/alarms/alarmEvents.ts";
import * as answers from "../../../server/domain/alarms/alarmResponses.ts";
import {
  type AlarmStep,
  advanceAlarm,
  priorityRank,
  type Suppression,
} from "../../../server/domain/alarms/alarmTransitions.ts";
import { type Fault, type FaultRule, type Priority, ruleOf } from "../../../server/domain/faults.ts";
import { after, type Instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import type { AlarmEvent } from "../../../server/domain/notification/escalation.ts";

/**
 * Random histories of one alarm. The transitions are handed in, so that ones with a planted bug can be played
 * too, and be caught by the same checks that the real ones pass (checks.ts).
 */
export interface AlarmFunctions {
  readonly advanceAlarm: typeof advanceAlarm;
  readonly acknowledge: typeof answers.acknowledge;
  readonly reset: typeof answers.reset;
  readonly shelve: typeof answers.shelve;
  readonly takeOutOfService: typeof answers.takeOutOfService;
  readonly returnToService: typeof answers.returnToService;
  readonly eventsOf: typeof alarmEvents;
}
export const realFunctions: AlarmFunctions = { advanceAlarm, eventsOf: alarmEvents, ...answers };

export const kind = "supplyWeak";
export const begin = instantOf("2026-12-01T06:00:00Z");
export const weak: Fault = { kind, reason: "In 4 of 9 runs it sagged.", evidence: [], confidence: null };

export type AlarmAction =
  | { readonly kind: "check"; readonly there: boolean; readonly hides: keyof typeof hiding; readonly higher: boolean }
  | { readonly kind: "acknowledge"; readonly which: "this" | "older" | "any" }
  | { readonly kind: "shelve"; readonly minutes: number }
  | { readonly kind: "reset" | "takeOut" | "bringBack" };

export const hiding: Readonly<Record<"nothing" | "pause" | "cause" | "silence", Suppression | null>> = {
  nothing: null,
  pause: { reason: "The feeder is paused.", explainedBy: null, isUnobservable: false },
  cause: { reason: "Caused by: motor stalled.", explainedBy: "motorStalled", isUnobservable: false },
  silence: { reason: "Caused by: no reports.", explainedBy: "feederSilent", isUnobservable: true },
};

const checkMove = fc.record({
  kind: fc.constant("check" as const),
  there: fc.boolean(),
  hides: fc.oneof(
    { weight: 6, arbitrary: fc.constant("nothing" as const) },
    { weight: 1, arbitrary: fc.constantFrom("pause" as const, "cause" as const, "silence" as const) },
  ),
  higher: fc.integer({ min: 0, max: 5 }).map((n) => n === 0),
});
const act: fc.Arbitrary<AlarmAction> = fc.oneof(
  fc.record({
    kind: fc.constant("acknowledge" as const),
    which: fc.constantFrom("this" as const, "older" as const, "any" as const),
  }),
  fc.record({ kind: fc.constant("shelve" as const), minutes: fc.integer({ min: -5, max: 20_000 }) }),
  fc.constantFrom<AlarmAction>({ kind: "reset" }, { kind: "takeOut" }, { kind: "bringBack" }, { kind: "bringBack" }),
);
/** Mostly minutes, and now and then days, which are what shelves and latches are made of. */
const wait = fc.oneof(
  { weight: 12, arbitrary: fc.integer({ min: 0, max: 30 }) },
  { weight: 1, arbitrary: fc.integer({ min: 60, max: 12_000 }) },
);
/** Runs of the same check, since faults last: independent ones would never outlast a delay. */
const stretch = fc.tuple(fc.integer({ min: 1, max: 6 }), checkMove).chain(([count, one]) =>
  fc.array(
    wait.map((pause) => [pause, one] as const),
    { minLength: count, maxLength: count },
  ),
);
export type History = readonly (readonly [number, AlarmAction])[];
export const history: fc.Arbitrary<History> = fc
  .array(
    fc.oneof(
      { weight: 3, arbitrary: stretch },
      { weight: 2, arbitrary: fc.tuple(wait, act).map((one) => [one as readonly [number, AlarmAction]]) },
    ),
    { maxLength: 50, size: "max" },
  )
  .map((parts) => parts.flat());
export const someRule: fc.Arbitrary<FaultRule> = fc
  .record({
    on: fc.constantFrom(0, 0, 5, 20),
    off: fc.constantFrom(0, 0, 10, 60),
    priority: fc.constantFrom<Priority>("urgent", "soon", "soon", "note"),
    latched: fc.boolean(),
  })
  .map(({ on, off, priority, latched }) => {
    const { latched: _own, ...rule } = ruleOf(kind);
    return { ...rule, priority, onDelay: minutes(on), offDelay: minutes(off), ...(latched ? { latched: true } : {}) };
  });

/** One step of a history. */
export interface AlarmRunStep {
  readonly now: Instant;
  readonly move: AlarmAction;
  readonly fault: Fault | null; // of a check
  readonly suppressed: Suppression | null;
  readonly priority: Priority;
  readonly until: Instant | null; // of a shelving
  readonly before: Alarm | null;
  readonly step: AlarmStep;
  readonly events: readonly AlarmEvent[];
}

export function runAlarm(moves: History, rule: FaultRule, cycle: AlarmFunctions = realFunctions): AlarmRunStep[] {
  let now = begin;
  let alarm: Alarm | null = null;
  const life: AlarmRunStep[] = [];
  for (const [pause, move] of moves) {
    now = after(now, minutes(pause));
    const before: Alarm | null = alarm;
    const checked = move.kind === "check" ? move : { hides: "nothing" as const, there: false, higher: false };
    const suppressed = hiding[checked.hides];
    const fault = checked.there && !suppressed?.isUnobservable ? weak : null; // what can't be seen is found by nobody
    const priority = checked.higher && priorityRank[rule.priority] > 0 ? "urgent" : rule.priority;
    const until = move.kind === "shelve" ? after(now, minutes(move.minutes)) : null;
    const of = { kind, rule, now } as const;
    const step: AlarmStep =
      move.kind === "check"
        ? cycle.advanceAlarm(before, fault, { ...of, suppressed, priority })
        : answered(cycle, move, before, of, until ?? now);
    const spoken = { settings: { name: "Rowan", practice: false }, explains: [] };
    const events = cycle.eventsOf(spoken, step.changes, before, step.alarm);
    alarm = step.alarm;
    life.push({ now, move, fault, suppressed, priority, until, before, step, events });
  }
  return life;
}

function answered(
  cycle: AlarmFunctions,
  move: Exclude<AlarmAction, { kind: "check" }>,
  alarm: Alarm | null,
  of: Parameters<AlarmFunctions["reset"]>[1],
  until: Instant,
): AlarmStep {
  switch (move.kind) {
    case "acknowledge":
      return cycle.acknowledge(alarm, { by: "Ada", raisedAt: meant(move.which, alarm) }, of);
    case "shelve":
      return cycle.shelve(alarm, until, "Ada", of);
    case "reset":
      return cycle.reset(alarm, of);
    case "takeOut":
      return cycle.takeOutOfService(alarm, "The wire is being mended.", "Bo", of);
    case "bringBack":
      return cycle.returnToService(alarm, of);
  }
}

function meant(which: "this" | "older" | "any", alarm: Alarm | null): Instant | null {
  if (which === "any") return null;
  const raisedAt = raisedAtOf(alarm) ?? begin;
  return which === "this" ? raisedAt : after(raisedAt, minutes(-7));
}

/** When the alarm was raised that waits for an answer, hidden or not; null where none was. */
export function raisedAtOf(alarm: Alarm | null): Instant | null {
  if (alarm === null) return null;
  if (alarm.state === "suppressedByDesign") return alarm.raised?.raisedAt ?? null;
  return "raisedAt" in alarm ? alarm.raisedAt : null;
}
