import { describe, expect, it } from "vitest";
import { initialAppetite } from "../../../server/domain/hopper/appetite.ts";
import { type HopperState, initialHopper, updateEmptySince } from "../../../server/domain/hopper/level.ts";
import { levelVariance, lidLoadVariance } from "../../../server/domain/hopper/levelFilter.ts";
import { updateByOutlier } from "../../../server/domain/hopper/outlierReading.ts";
import { updateHopperByRefill } from "../../../server/domain/hopper/refill.ts";
import { restartLevel } from "../../../server/domain/hopper/restartLevel.ts";
import { updateHopperByWeighing } from "../../../server/domain/hopper/weighing.ts";
import { after, type Instant, seconds } from "../../../server/domain/instant.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { grams } from "../../../server/domain/units.ts";
import { dawn, rowanSettings } from "./rowan.ts";

const scale = rowanSettings();
const noScale = rowanSettings({ scale: false });
const at = (second: number): Instant => after(dawn, seconds(second));
const level = (mass: number, when = dawn) => ({ at: when, what: { kind: "level" as const, grams: grams(mass) } });
/** By its scale, or else by the keeper's word. */
const known = (mass: number, settings: FeederSettings): HopperState =>
  settings.sensors.scale
    ? updateHopperByWeighing(initialHopper(settings, dawn), grams(mass), dawn, settings).hopper
    : updateHopperByRefill(initialHopper(settings, dawn), level(mass), settings);

describe("a hopper whose newest reading shows far more than its level", () => {
  const weigh = (hopper: HopperState, mass: number, second: number) =>
    updateHopperByWeighing(hopper, grams(mass), at(second), scale).hopper;

  it("isn't called empty until it is known whether somebody filled it", () => {
    const nearlyEmpty = weigh({ ...known(40, scale), emptySince: null }, 40, 60);
    const lowered = { ...nearlyEmpty, emptySince: null, estimate: { ...nearlyEmpty.estimate, level: 20 } };
    expect(updateEmptySince(lowered, at(120), scale).emptySince).toEqual(at(120));
    const risen = weigh(lowered, 900, 180);
    expect(risen.pendingJump).not.toBeNull();
    expect(updateEmptySince({ ...risen, emptySince: null }, at(240), scale).emptySince).toBeNull();
    expect(updateEmptySince({ ...risen, emptySince: null }, at(3 * 3_600), scale).emptySince).toEqual(at(3 * 3_600));
  });
});

describe("a fall of the scale where no portions are reported", () => {
  const weigh = (hopper: HopperState, mass: number, second: number) =>
    updateHopperByWeighing(hopper, grams(mass), at(second), scale).hopper;
  const hour = 3_600;

  it("in the dark is no meal within an hour, but may be one of the afternoon after a longer gap", () => {
    const afternoon = weigh(known(1_000, scale), 1_000, 8 * hour); // 14:00 UTC; at Alder Croft it is dark from about 15:30
    const evening = weigh(weigh(known(1_000, scale), 1_000, 12 * hour), 1_000, 12.1 * hour);
    expect(weigh(afternoon, 900, 13 * hour)).toMatchObject({ pendingJump: null, weighedAt: at(13 * hour) });
    expect(weigh(evening, 900, 13 * hour).pendingJump).not.toBeNull();
  });

  it("within a minute is not believed at once, also where the birds' appetite is known", () => {
    let hopper = known(1_500, scale);
    let mass = 1_500;
    for (let minute = 10; minute <= 3 * 1_440; minute += 10) {
      const isLight = minute % 1_440 < 8 * 60;
      if (isLight) mass -= 4;
      hopper = weigh(hopper, mass, 60 * minute);
    }
    expect(hopper.appetite.daily).not.toBeNull();
    const fallen = weigh(hopper, mass - 300, 60 * (3 * 1_440 + 1));
    expect(fallen.pendingJump).not.toBeNull();
    expect(fallen.estimate.level).toBeGreaterThan(mass - 30);
  });
});

describe("a reading far from what was expected", () => {
  const outlier = (residual: number, second: number, different: object = {}) => ({
    ...{
      reading: 1_000 + residual,
      residual,
      kelvinAboveTare: 0,
      at: at(second),
      gate: 20,
      hasUnreportedEating: false,
      temperatures: { air: null, lid: null, inside: null },
    },
    ...different,
  });
  const sees = (hopper: HopperState, ...readings: readonly ReturnType<typeof outlier>[]) =>
    readings.reduce<{ hopper: HopperState; foundRefill: number | null }>(
      ({ hopper, foundRefill }, reading) => {
        const next = updateByOutlier(hopper, reading, scale);
        return { hopper: next.hopper, foundRefill: foundRefill ?? next.foundRefill };
      },
      { hopper, foundRefill: null },
    );
  const start: HopperState = { ...known(1_000, scale), refillReportedAt: null };
  const found = (residual: number, ...times: readonly number[]) =>
    sees(start, ...times.map((second) => outlier(residual, second))).foundRefill;

  it("is a refill once it has stayed: two minutes and three readings where no bird weighs so much", () => {
    expect(found(800, 0, 60, 119)).toBeNull();
    expect(found(800, 0, 60, 120)).toBe(800);
    expect(found(800, 0, 120)).toBeNull();
  });

  it("must stay for five minutes where a bird may weigh so much: 130 to 700 g", () => {
    for (const mass of [200, 400, 700]) {
      expect(found(mass, 0, 60, 120, 299)).toBeNull();
      expect(found(mass, 0, 60, 120, 300)).toBe(mass);
    }
    expect(found(701, 0, 60, 120)).toBe(701);
  });

  it("must stay for eight minutes where food is gone, since a hand may lift the hopper, and twenty seconds where a refill was just entered", () => {
    const fallen = sees(start, outlier(-300, 0), outlier(-300, 240), outlier(-300, 480)).hopper;
    expect(Math.round(fallen.estimate.level)).toBeLessThan(750);
    const waits = sees(start, outlier(-300, 0), outlier(-300, 240), outlier(-300, 479));
    expect(waits.hopper.estimate.level).toBe(start.estimate.level);
    const reported = { ...start, refillReportedAt: at(-1_800) };
    expect(sees(reported, outlier(400, 0), outlier(400, 20)).hopper.pendingJump).not.toBeNull(); // half an hour is over
    const justReported = { ...start, refillReportedAt: at(-1_780) };
    const refilled = sees(justReported, outlier(400, 0), outlier(400, 20));
    expect(refilled.hopper.pendingJump).toBeNull();
    expect(refilled.foundRefill).toBeNull(); // it is the one that was entered
    expect(refilled.hopper.foundRefill).toEqual({ grams: 400, at: at(0) });
  });

  it("begins again where it moves by more than its gate or a fiftieth of itself, or reverses", () => {
    const count = (first: number, second: number) =>
      sees(start, outlier(first, 0), outlier(second, 60)).hopper.pendingJump?.count;
    expect([count(400, 420), count(400, 421), count(400, 380), count(400, 379)]).toEqual([2, 1, 2, 1]);
    expect([count(1_500, 1_530), count(1_500, 1_532)]).toEqual([2, 1]);
    expect(count(400, -400)).toBe(1);
    expect(sees(start, outlier(-100, 0), outlier(-300, 10)).hopper.pendingJump).toMatchObject({
      count: 2,
      at: at(0),
      residual: -300,
    });
  });

  it("is no refill for sure below a tenth of the hopper, where nobody told of one: rain looks alike", () => {
    const small = sees(start, ...[0, 60, 120, 300].map((second) => outlier(199, second)));
    expect(small.foundRefill).toBeNull();
    expect(small.hopper.unclearRise).toMatchObject({ grams: 199, isRain: true });
    expect(Math.abs(small.hopper.estimate.level - 1_000)).toBeLessThan(5);
    expect(lidLoadVariance(small.hopper.estimate)).toBeGreaterThan(0);
    expect(found(200, 0, 60, 120, 300)).toBe(200);
  });

  it("that falls is what slid off the lid, as far as the lid's load explains it", () => {
    const snowed = { ...start, estimate: { ...start.estimate, lidLoad: 100 } };
    const slides = (fall: number) => {
      const of = (second: number) => outlier(-fall, second, { reading: 1_100 - fall });
      return sees(snowed, of(0), of(20)).hopper.estimate.level - start.estimate.level;
    };
    expect(Math.abs(slides(110))).toBeLessThan(85);
    expect(slides(900)).toBe(0); // far more than lay there: it has to stay for longer
  });

  it("that falls without portions is a meal that nobody reported, unless it ends a rise just found", () => {
    const eaten = (hopper: HopperState, hasUnreportedEating = true) =>
      sees(hopper, ...[0, 240, 480].map((second) => outlier(-300, second, { hasUnreportedEating }))).hopper.appetite
        .dayEaten;
    const watched = {
      ...start,
      appetite: { ...initialAppetite(dawn), watchedSince: at(-9_000), watchedUntil: at(-60), dayStart: at(-9_000) },
    };
    expect(eaten(watched)).toBe(300);
    expect(eaten(watched, false)).toBe(0);
    expect(eaten({ ...watched, foundRefill: { grams: 300, at: at(-1_300) } })).toBe(0);
    expect(eaten({ ...watched, foundRefill: { grams: 300, at: at(-1_900) } })).toBe(300);
  });

  it("replaces the level, whatever it was, once it is accepted", () => {
    const restarted = restartLevel(
      { ...start, portionsSinceWeighed: 4, pendingJump: { grams: 1, residual: 1, at: dawn, count: 2 } },
      { reading: 300, kelvinAboveTare: 0, at: at(60) },
      scale,
    );
    expect(restarted.estimate.level).toBeCloseTo(300, 0);
    expect(restarted).toMatchObject({
      isKnown: true,
      portionsSinceWeighed: 0,
      pendingJump: null,
      weighedAt: at(60),
      levelMeasuredAt: at(60),
      predictedAt: at(60),
    });
  });
});

describe("a reading that isn't about the food", () => {
  const weigh = (reading: number, settings = scale, hopper = known(1_000, scale)) =>
    updateHopperByWeighing(hopper, grams(reading), at(60), settings).hopper;

  it("is far below zero: the hopper was lifted off", () => {
    const start = known(1_000, scale);
    expect(weigh(-101, scale, start)).toBe(start);
    expect(weigh(-100, scale, start)).not.toBe(start);
    const small = rowanSettings({}, { hopperCapacity: grams(400) });
    const little = known(200, small);
    expect(weigh(-51, small, little)).toBe(little);
    expect(weigh(-50, small, little)).not.toBe(little);
  });

  it("comes from a scale that isn't fitted, or is older than the level or the last portion", () => {
    const start = known(1_000, noScale);
    expect(weigh(900, noScale, start)).toBe(start);
    const fed = { ...known(1_000, scale), lastPortionAt: at(61) };
    expect(weigh(990, scale, fed)).toBe(fed);
    const measured = { ...known(1_000, scale), levelMeasuredAt: at(61) };
    expect(weigh(990, scale, measured)).toBe(measured);
    expect(weigh(990, scale, { ...fed, lastPortionAt: at(60) }).weighedAt).toBe(at(60));
  });
});

describe("a refill that a keeper enters", () => {
  const refill = (
    hopper: HopperState,
    what: Parameters<typeof updateHopperByRefill>[1]["what"],
    settings = noScale,
    when = at(60),
  ) => updateHopperByRefill(hopper, { at: when, what }, settings);
  const deviation = (hopper: HopperState) => Math.sqrt(levelVariance(hopper.estimate));
  const added = (mass: number) => ({ kind: "added" as const, grams: grams(mass) });

  it("to the brim is right within a seventh, of an assumed capacity within two thirds", () => {
    const full = refill(initialHopper(noScale, dawn), { kind: "filled" });
    // What the capacity is entered wrongly, 12 %, and how high it is filled, 6 %: they err independently.
    expect([full.estimate.level, deviation(full)]).toEqual([2_000, expect.closeTo(2_000 * Math.hypot(0.12, 0.06), 6)]);
    const assumed: FeederSettings = { ...noScale, assumed: ["hopperCapacity"] };
    const unsure = deviation(refill(initialHopper(assumed, dawn), { kind: "filled" }, assumed));
    expect(unsure).toBeCloseTo(2_000 * Math.hypot(0.7, 0.06), 6);
  });

  it("of a level is certain where it is empty, and else right within an eighth of it", () => {
    const seen = (mass: number) =>
      deviation(refill(initialHopper(noScale, dawn), { kind: "level", grams: grams(mass) }));
    expect(seen(0)).toBeCloseTo(10, 6);
    expect(seen(200)).toBeGreaterThanOrEqual(34);
    expect(seen(200)).toBeLessThan(50);
  });

  it("moves nothing where a scale is read: that shows what went in", () => {
    const weighed = known(1_000, scale);
    expect(refill(weighed, added(900), scale).estimate).toBe(weighed.estimate);
    expect(refill(weighed, { kind: "filled" }, scale).estimate).toBe(weighed.estimate);
    expect(refill(weighed, { kind: "level", grams: grams(1_900) }, scale).estimate).toBe(weighed.estimate);
    expect(refill(weighed, added(900), scale).refillReportedAt).toBe(at(60));
  });

  it("counts where the scale wasn't read for an hour", () => {
    const silent = refill(known(1_000, scale), added(900), scale, at(3_601));
    expect(silent.estimate.level).toBeGreaterThan(1_700);
    expect(refill(known(1_000, scale), added(900), scale, at(3_600)).estimate.level).toBeCloseTo(1_000, 0);
  });

  it("of a level that agrees with the scale teaches its zero a little", () => {
    const weighed = known(300, scale);
    const told = refill(weighed, { kind: "level", grams: grams(250) }, scale).estimate;
    expect(told.level).toBeLessThan(weighed.estimate.level - 5);
    expect(told.level).toBeGreaterThan(270);
    expect(told.offset).toBeGreaterThan(5);
  });

  it("that is older than the level changes nothing but the time of the newest refill", () => {
    const start = known(1_000, noScale);
    const late = refill(start, { kind: "level", grams: grams(300) }, noScale, at(-60));
    expect(late.estimate.level).toBe(start.estimate.level);
    expect(late.refillReportedAt).toBe(start.refillReportedAt);
    expect(refill(start, { kind: "level", grams: grams(990) }).refillReportedAt).toBe(at(60));
  });

  it("ends a run of empty portions", () => {
    expect(refill({ ...known(20, noScale), emptyPortions: 5 }, { kind: "filled" }).emptyPortions).toBe(0);
  });
});
