import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { readReport } from "../../server/contract/readReport.ts";
import { nextCheckAt } from "../../server/domain/advanceFeeder.ts";
import { type FeederState, newFeeder } from "../../server/domain/feeder.ts";
import { initialRollups } from "../../server/domain/history/rollups.ts";
import { decodeRollup, encodeRollup } from "../../server/domain/history/rollupText.ts";
import { decodeRollups, encodeRollups } from "../../server/domain/history/storedRollups.ts";
import { forecastEmpty } from "../../server/domain/hopper/emptyForecast.ts";
import { hopperLevel } from "../../server/domain/hopper/level.ts";
import { after, type Instant, instantOf, type Span } from "../../server/domain/instant.ts";
import { stateProblem } from "../../server/domain/stateShape.ts";
import { applyFact, startUpdate } from "../../server/flows/pure/feederUpdate.ts";
import { takeReport } from "../../server/flows/pure/takeReport.ts";
import { runs } from "../support/runs.ts";
import { rowanSettings } from "./rowan.ts";

/**
 * Whatever a feeder may say by the contract, however odd, the step answers with a state that JSON holds whole: a feeder whose
 * sensors have gone mad must not stop its server. Histories are made of what the contract lets through, at its very limits too.
 */
const start = instantOf("2026-01-10T00:00:00Z");

const within = (low: number, high: number) =>
  fc.oneof(
    { weight: 3, arbitrary: fc.double({ min: low, max: high, noNaN: true }) },
    { weight: 1, arbitrary: fc.constantFrom(low, high, Math.max(low, Math.min(high, 0))) },
  );
const maybe = <Value>(value: fc.Arbitrary<Value>) => fc.option(value, { nil: undefined, freq: 3 });
const readings = fc.record(
  {
    hopperGrams: fc.oneof(within(-2_000, 100_000), within(0, 1_600)),
    airCelsius: within(-70, 70),
    insideCelsius: within(-70, 90),
    lidCelsius: within(-80, 100),
    humidityPercent: within(0, 105),
    supplyVolts: within(0, 60),
    batteryVolts: within(0, 120),
    batteryCelsius: within(-70, 90),
    chargeMilliamps: within(-100_000, 100_000),
    spooled: fc.nat(5),
    counts: fc.record({ button: fc.nat(100), detector: fc.nat(100), chute: fc.nat(100), perch: fc.nat(100) }),
    paused: fc.boolean(),
  },
  { requiredKeys: [] },
);
const happening = fc.oneof(
  fc.record({
    kind: fc.constant("portion"),
    cause: fc.constantFrom("timer", "press", "deposit", "keeper"),
    motorMs: maybe(within(0, 600_000)),
    meanMilliamps: maybe(within(0, 100_000)),
    lowestVolts: maybe(within(0, 60)),
    chuteCount: maybe(fc.nat(30)),
  }),
  fc.record({ kind: fc.constant("press") }),
  fc.record({ kind: fc.constant("visit") }),
  fc.record({
    kind: fc.constant("deposit"),
    metal: maybe(fc.boolean()),
    signal: maybe(within(0, 1)),
    chute: maybe(fc.boolean()),
  }),
  fc.record({ kind: fc.constant("refill"), grams: maybe(within(0, 100_000)), full: maybe(fc.boolean()) }),
);
const step = fc.record({
  /** Mostly minutes, now and then months: states fade, and nothing may fade into what can't be divided. */
  wait: fc.oneof(
    { weight: 8, arbitrary: fc.integer({ min: 1, max: 400_000 }) },
    { weight: 1, arbitrary: fc.integer({ min: 1, max: 90 * 86_400_000 }) },
  ),
  reboots: fc.boolean(),
  readings,
  happenings: fc.array(happening, { maxLength: 12 }),
});

describe("any history that the contract lets through", () => {
  it("ends in a state that JSON holds whole, with a next look and a level within the hopper", () => {
    fc.assert(
      fc.property(fc.array(step, { minLength: 1, maxLength: 60 }), fc.boolean(), (steps, barely) => {
        const sensors = { ...rowanSettings.sensors, scale: !barely, chute: !barely };
        let state: FeederState = newFeeder({ ...rowanSettings, sensors }, start);
        let rollups = initialRollups();
        let now: Instant = start;
        let [boot, seq, bootedAt] = [1, 0, start];
        for (const { wait, reboots, readings, happenings } of steps) {
          if (reboots) [boot, seq, bootedAt] = [boot + 1, 0, now];
          const before = now;
          now = after(now, wait as Span);
          const events = happenings.map((text, index) => ({
            seq: ++seq,
            uptimeMs: Math.floor(before - bootedAt + ((now - before) * (index + 1)) / (happenings.length + 1)),
            ...text,
          }));
          const read = readReport({ boot: `b-${boot}`, sentUptimeMs: now - bootedAt, readings, events });
          if (read.kind !== "read") throw new Error(JSON.stringify(read.errors));
          const row = { id: "rowan", yard: "", revision: 0, state, rollups, lastReportAt: null, lastStepAt: null };
          const taken = takeReport(startUpdate(row), read.report, read.report.events, now);
          const stepped = applyFact(taken.feeder, { kind: "minutePassed" }, after(now, 1 as Span));
          ({ state, rollups } = stepped);
          expect(JSON.parse(JSON.stringify(state))).toStrictEqual(state);
          for (const { rollup } of stepped.closedQuarters) expect(decodeRollup(encodeRollup(rollup))).toEqual(rollup);
          expect(stateProblem(state)).toBeNull(); // or a sound state would be taken for a damaged one
          expect(nextCheckAt(state, now)).toBeGreaterThan(now);
          const level = hopperLevel(state.hopper, state.settings);
          if (level !== null) {
            expect(level.low).toBeLessThanOrEqual(level.grams);
            expect(level.grams).toBeLessThanOrEqual(level.high);
          }
          const forecast = forecastEmpty(state.hopper, state.settings, now);
          if (forecast.kind === "emptyAt") {
            expect(forecast.p10).toBeLessThanOrEqual(forecast.p50);
            expect(forecast.p50).toBeLessThanOrEqual(forecast.p90);
          }
        }
        expect(decodeRollups(JSON.parse(JSON.stringify(encodeRollups(rollups))))).toStrictEqual(rollups);
      }),
      { numRuns: runs(60) },
    );
  }, 60_000);
});
