import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { raiseOf } from "../../../server/domain/alarms/alarm.ts";
import type { AlarmState } from "../../../server/domain/alarms/alarmStates.ts";
import { alarmStateOf, allowedTransitions } from "../../../server/domain/alarms/alarmTransitions.ts";
import type { Effect } from "../../../server/domain/effects.ts";
import type { Fact } from "../../../server/domain/facts.ts";
import { type FaultKind, faultKinds, ruleOf } from "../../../server/domain/faults.ts";
import type { FeederState } from "../../../server/domain/feeder.ts";
import { findFaults } from "../../../server/domain/findFaults.ts";
import { after, days, type Instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import type { Placement } from "../../../server/domain/settings.ts";
import { runs } from "../../support/runs.ts";
import { rowanSettings } from "../rowan.ts";
import { simulateYard } from "../simulatedYard.ts";

/** A whole feeder with whatever may break and whatever its keepers may say, minute by minute, watched after each step. */
const start = instantOf("2026-11-02T06:00:00Z");

const breaks = [
  "link",
  "jam",
  "wireOff",
  "stalled",
  "sag",
  "trouble",
  "frost",
  "battery",
  "charge",
  "empty",
  "deaf",
] as const;
const says = ["acknowledge", "old", "shelve", "reset", "takeOut", "bringBack"] as const;
const happening = fc.oneof(
  { weight: 4, arbitrary: fc.record({ kind: fc.constantFrom(...breaks) }) },
  { weight: 4, arbitrary: fc.record({ kind: fc.constantFrom(...says), which: fc.nat(40), minutes: fc.nat(400) }) },
  { weight: 1, arbitrary: fc.record({ kind: fc.constantFrom("pause" as const, "resume" as const) }) },
  {
    weight: 1,
    arbitrary: fc.record({
      kind: fc.constant("duty" as const),
      duty: fc.constantFrom<Placement>("inGarden", "inGarden", "onBench", "putAway"),
    }),
  },
);
type Happening = typeof happening extends fc.Arbitrary<infer Some> ? Some : never;
const story = fc.array(fc.tuple(fc.integer({ min: 1, max: 90 }), happening), {
  minLength: 4,
  maxLength: 25,
  size: "max",
});

function tell(simulation: ReturnType<typeof simulateYard>, what: Happening, orders: () => string): void {
  const { truth } = simulation;
  switch (what.kind) {
    case "link":
      truth.dead[truth.dead.has("link") ? "delete" : "add"]("link");
      return;
    case "deaf":
      truth.dead[truth.dead.has("receiver") ? "delete" : "add"]("receiver");
      return;
    case "jam":
      truth.tray = truth.tray === "jammed" ? "free" : "jammed";
      return;
    case "wireOff":
    case "stalled":
      truth.motor = truth.motor === what.kind ? "turns" : what.kind;
      return;
    case "sag":
      truth.sag = truth.sag > 0.5 ? 0.1 : 0.6;
      return;
    case "trouble":
      truth.trouble = "coil open";
      return;
    case "frost":
      Object.assign(truth, truth.air < 0 ? { air: 5, lid: null } : { air: -5, lid: -8, humidity: 92 });
      return;
    case "battery":
      Object.assign(
        truth,
        truth.batteryVolts < 12
          ? { batteryVolts: 12.7, batteryCelsius: 4 }
          : { batteryVolts: 11.7, batteryCelsius: -17 },
      );
      return;
    case "charge":
      truth.charge = truth.charge > 0 ? 0 : 400;
      return;
    case "empty":
      truth.hopper = truth.hopper < 10 ? 1_200 : 1;
      return;
    case "pause":
    case "resume":
      simulation.order(orders(), what.kind, what.kind === "pause" ? after(simulation.now(), minutes(120)) : null);
      return;
    case "duty":
      simulation.give({ kind: "settingsChanged", settings: { ...simulation.state().settings, placement: what.duty } });
      return;
    default:
      simulation.give(said(simulation.state(), what, simulation.now()));
  }
}

function said(
  { alarms }: FeederState,
  {
    kind,
    which,
    minutes: long,
  }: { readonly kind: (typeof says)[number]; readonly which: number; readonly minutes: number },
  now: Instant,
): Fact {
  const all = Object.keys(alarms) as FaultKind[];
  const fitting = all.filter((one) => waitsFor[kind]?.includes(alarmStateOf(alarms[one] ?? null)));
  const known = fitting.length > 0 ? fitting : all; // mostly of one that it means something to
  const fault = known[which % (known.length + 1)] ?? (faultKinds[which % faultKinds.length] as FaultKind);
  switch (kind) {
    case "acknowledge":
      return { kind: "alarmAcknowledged", fault, by: "Ada", raisedAt: null };
    case "old":
      return { kind: "alarmAcknowledged", fault, by: "Ada", raisedAt: after(now, minutes(-1_000)) };
    case "shelve":
      return { kind: "alarmShelved", fault, until: after(now, minutes(30 * long)), by: "Ada" };
    case "reset":
      return { kind: "alarmReset", fault, by: "Bo" };
    case "takeOut":
      return { kind: "alarmTakenOutOfService", fault, reason: "Being mended.", by: "Bo" };
    case "bringBack":
      return { kind: "alarmReturnedToService", fault, by: "Bo" };
  }
}

const waitsFor: { readonly [kind in (typeof says)[number]]?: readonly AlarmState[] } = {
  acknowledge: ["unacknowledged", "latchedUnacknowledged"],
  reset: ["latchedAcknowledged", "latchedUnacknowledged"],
  bringBack: ["outOfService"],
};

/** What must hold of a feeder's alarms after any step; one alarm is checked further in checks.ts. */
class Watch {
  readonly broken: string[] = [];
  readonly reached = new Set<AlarmState>();
  readonly #states = new Map<FaultKind, AlarmState>();
  readonly #open = new Set<FaultKind>();

  see(state: FeederState, effects: readonly Effect[], now: Instant): void {
    for (const effect of effects) {
      if (effect.kind === "alarmChanged") this.#arrow(effect.change);
      if (effect.kind !== "alarmEvent") continue;
      const { kind, fault } = effect.event;
      if (kind === "raised" || kind === "worsened") this.#open.add(fault);
      else this.#open.delete(fault);
    }
    const there = new Set(findFaults(state, now).map(({ kind }) => kind));
    for (const kind of faultKinds) this.#alarm(kind, state, there, now);
  }

  #arrow({ fault, from, to }: Extract<Effect, { kind: "alarmChanged" }>["change"]): void {
    const was = this.#states.get(fault) ?? "normal";
    if (from !== was) this.broken.push(`${fault}: logged from ${from}, was ${was}`);
    if (from !== to && !allowedTransitions[from].includes(to)) this.broken.push(`${fault}: ${from} to ${to}`);
    this.#states.set(fault, to);
    this.reached.add(to);
  }

  #alarm(kind: FaultKind, { alarms, settings }: FeederState, there: ReadonlySet<FaultKind>, now: Instant): void {
    const alarm = alarms[kind] ?? null;
    const alarmState = alarmStateOf(alarm);
    const wrong = (text: string) => this.broken.push(`${kind}, ${alarmState}: ${text}`);
    if ((this.#states.get(kind) ?? "normal") !== alarmState) wrong("the log says otherwise");
    if (there.has(kind) && alarm === null) wrong("its fault is there");
    if (there.has(kind) && alarm?.present === false) wrong("its fault passes for gone");
    const asks = alarmState === "unacknowledged" || alarmState === "latchedUnacknowledged";
    const called = alarm !== null && asks && raiseOf(alarm)?.notifiedPriority !== "note";
    if (called !== this.#open.has(kind)) wrong(called ? "nobody is asked" : "somebody is asked");
    if (
      alarm?.state === "shelved" &&
      (now >= alarm.shelvedUntil || alarm.shelvedUntil > after(alarm.shelvedAt, days(7)))
    )
      wrong("its shelf has no end");
    const { placement: duty = "inGarden" } = settings;
    if (
      duty !== "inGarden" &&
      alarmState === "unacknowledged" &&
      !["pauseOverdue", ...(duty === "putAway" ? harm : [])].includes(kind)
    )
      wrong(`notified while ${duty}`);
    if (alarm?.state !== "suppressedByDesign" || alarm.explainedBy === null) return;
    const speaker = alarms[alarm.explainedBy];
    if (speaker === undefined) {
      wrong(`hidden by ${alarm.explainedBy}, which has no alarm`);
      return;
    }
    if (alarm.explainedBy === "feederSilent" || alarm.explainedBy === "reportsIrregular") return; // whether anybody is notified of it or nott, nothing else can be seen
    if (speaker.state === "outOfService") wrong("hidden by what is out of service");
    if (speaker.state === "suppressedByDesign" && speaker.explainedBy !== null)
      wrong("hidden by what is hidden itself");
    const isHigher = ruleOf(kind).priority === "urgent" && speaker.priority !== "urgent" && there.has(kind);
    if (isHigher) wrong(`hidden by ${alarm.explainedBy}, which is only ${speaker.priority}`);
  }
}
const harm: readonly FaultKind[] = ["batteryFreezing", "chargingInFrost"];

const lived = (steps: readonly (readonly [number, Happening])[], seed: number): Watch => {
  const battery = seed % 2 === 0 ? "leadAcid" : "lithiumIronPhosphate";
  const simulation = simulateYard({ ...rowanSettings, battery }, start, seed, "due");
  const watch = new Watch();
  simulation.watch(({ state, effects }) => watch.see(state, effects, simulation.now()));
  simulation.truth.perHour = 20;
  simulation.pass(60);
  if (battery !== "leadAcid") {
    Object.assign(simulation.truth, { air: -6, charge: 400, batteryCelsius: -5, humidity: 40 }); // so that there is a latch to begin with
    simulation.pass(8);
    simulation.truth.charge = 0;
    simulation.pass(35);
  }
  let orders = 0;
  for (const [wait, what] of steps) {
    tell(simulation, what, () => `order-${++orders}`);
    simulation.pass(wait);
  }
  return watch;
};

describe("any history of a whole feeder", () => {
  const reached = new Set<AlarmState>();

  it("logs every transition, suppresses nothing under a lower priority, and notifies the recipients", () => {
    fc.assert(
      fc.property(story, fc.integer({ min: 1, max: 1_000 }), (steps, seed) => {
        const watch = lived(steps, seed);
        for (const alarmState of watch.reached) reached.add(alarmState);
        expect(watch.broken.slice(0, 3)).toEqual([]);
      }),
      { numRuns: runs(10) },
    );
  });

  it("reaches every state there is", () => {
    expect(Object.keys(allowedTransitions).filter((alarmState) => !reached.has(alarmState as AlarmState))).toEqual([]);
  });
});
