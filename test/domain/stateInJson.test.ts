import { deflateRawSync } from "node:zlib";
import { describe, expect, it } from "vitest";
import { advanceFeeder } from "../../server/domain/advanceFeeder.ts";
import type { FeederState } from "../../server/domain/feeder.ts";
import { after, instantOf, minutes } from "../../server/domain/instant.ts";
import type { FeederSettings } from "../../server/domain/settings.ts";
import { busyFeederStates } from "../simulator/busyFeeder.ts";
import { runs } from "../support/runs.ts";
import { lostInJson } from "./lostInJson.ts";
import { rowanSettings } from "./rowan.ts";
import { simulateYard } from "./simulatedYard.ts";

/** A live state stays in memory and one that was read again comes from JSON: both must hold the same and go on in the same way. */
const start = instantOf("2026-11-02T06:00:00Z");
const throughJson = (state: FeederState): FeederState => JSON.parse(JSON.stringify(state));

describe("lostInJson", () => {
  it.each([
    ["undefined", { a: undefined }],
    ["-0", { a: [-0] }],
    ["NaN", { a: { b: Number.NaN } }],
    ["an infinity", [Number.NEGATIVE_INFINITY]],
    ["a date", { at: new Date(0) }],
    ["a map", { by: new Map() }],
    ["a hole", Object.assign([], { 1: "x" })],
  ])("finds %s", (_, value) => {
    expect(lostInJson(value)).toHaveLength(1);
  });

  it("finds nothing in plain values", () => {
    expect(lostInJson({ a: [0, -1.5, "x", null, { b: true }] })).toEqual([]);
  });
});

/** Whatever may break, a keeper may say or a board may do, one after the other. */
function eventfulDay(settings: FeederSettings, seed: number): { lost: string[]; facts: Set<string> } {
  const simulation = simulateYard(settings, start, seed, "due");
  const { truth } = simulation;
  const lost: string[] = [];
  const facts = new Set<string>();
  let before = simulation.state();
  simulation.watch(({ state, effects }, fact) => {
    facts.add(fact.kind);
    lost.push(...lostInJson(state));
    // The clock is set before a report's events are dated.
    const again = advanceFeeder(throughJson({ ...before, clock: state.clock }), fact, simulation.now());
    if (JSON.stringify(again) !== JSON.stringify({ state, effects })) lost.push(`${fact.kind}: goes on otherwise`);
    before = state;
  });
  truth.perHour = 30;
  const happenings: (() => void)[] = [
    () => (truth.tray = "jammed"),
    () => simulation.order("order-1", "pause", after(simulation.now(), minutes(90))),
    () => Object.assign(truth, { tray: "free", air: -6, lid: -9, humidity: 93, charge: 400, batteryCelsius: -5 }),
    () => simulation.give({ kind: "alarmAcknowledged", fault: "trayJammed", by: "Ada", raisedAt: null }),
    () => simulation.restartUnderSameBoot(),
    () => Object.assign(truth, { trouble: "coil open", sag: 0.6, setAside: ["lidCelsius"] }),
    () => simulation.give({ kind: "reportRefused", problem: { field: "boot", problem: "is missing" } }),
    () => simulation.order("order-2", "resume"),
    () => truth.dead.add("link"),
    () =>
      simulation.give({
        kind: "alarmShelved",
        fault: "feederSilent",
        until: after(simulation.now(), minutes(60)),
        by: "Bo",
      }),
    () => truth.dead.delete("link"),
    () => Object.assign(truth, { air: 4, lid: null, humidity: 99, charge: 0, setAside: [], bounces: true }),
    () => simulation.give({ kind: "alarmReset", fault: "chargingInFrost", by: "Bo" }),
    () => simulation.give({ kind: "cleaned", at: simulation.now(), by: "Bo" }),
    () => simulation.restart(),
    () => simulation.give({ kind: "alarmTakenOutOfService", fault: "supplyWeak", reason: "Being mended.", by: "Bo" }),
    () => Object.assign(truth, { bounces: false, hopper: 1, sag: 0.1 }),
    () => simulation.give({ kind: "settingsChanged", settings: { ...settings, placement: "onBench" } }),
    () => simulation.give({ kind: "alarmReturnedToService", fault: "supplyWeak", by: "Bo" }),
    () => simulation.refill(1_000),
    () => simulation.give({ kind: "refillReported", refill: { at: simulation.now(), what: { kind: "filled" } } }),
    () => simulation.give({ kind: "settingsChanged", settings }),
  ];
  for (const happen of happenings) {
    happen();
    simulation.pass(35);
  }
  return { lost, facts };
}

describe("a feeder's state", () => {
  it.each([
    ["every sensor", rowanSettings],
    ["a lithium battery", { ...rowanSettings, battery: "lithiumIronPhosphate" as const }],
    [
      "few sensors",
      { ...rowanSettings, sensors: { ...rowanSettings.sensors, scale: false, chute: false }, place: null },
    ],
  ])(
    "is whole in JSON after each step, and goes on from it as from memory, with %s",
    (_, settings) => {
      for (let seed = 1; seed <= runs(1); seed += 1) {
        const { lost, facts } = eventfulDay(settings, seed);
        expect(lost.slice(0, 3)).toEqual([]);
        expect(facts.size).toBeGreaterThanOrEqual(11);
      }
    },
    60_000,
  );

  /** The year itself is in test/benchmarks/stateSize.ts: its lists are as long after six weeks as ever. */
  it("is whole in JSON through busy weeks, and at most 6 kB as it is stored", () => {
    const lost: string[] = [];
    const sizes: { readonly json: number; readonly deflated: number }[] = [];
    let nextAt = 0;
    for (const { at, state } of busyFeederStates(4, 40, 900)) {
      lost.push(...lostInJson(state));
      if (at < nextAt) continue;
      nextAt = at + 6 * 3_600_000;
      const text = JSON.stringify(state);
      sizes.push({ json: Buffer.byteLength(text), deflated: deflateRawSync(text).length });
    }
    expect(lost.slice(0, 3)).toEqual([]);
    expect(Math.max(...sizes.map(({ deflated }) => deflated))).toBeLessThan(6_000);
    const ordered = sizes.map(({ json }) => json).sort((a, b) => a - b);
    expect(ordered[ordered.length >> 1]).toBeLessThan(14_350); // 14,900 where nothing is rounded
  }, 60_000);
});
