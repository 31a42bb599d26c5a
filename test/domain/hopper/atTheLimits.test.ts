import { describe, expect, it } from "vitest";
import {
  hasComparedDays,
  initialAppetite,
  isUnvisited,
  usualDailyGrams,
} from "../../../server/domain/hopper/appetite.ts";
import { runOutText } from "../../../server/domain/hopper/emptyForecast.ts";
import { assumedFoodSettings, foodText } from "../../../server/domain/hopper/foodText.ts";
import { gramsRangeText, gramsText } from "../../../server/domain/hopper/gramsText.ts";
import { hopperFaults, updateHopperForecast } from "../../../server/domain/hopper/hopperFaults.ts";
import {
  emptyThreshold,
  type HopperState,
  hopperLevel,
  initialHopper,
  updateHopperByPortion,
} from "../../../server/domain/hopper/level.ts";
import { levelVariance, lidLoadVariance, portionVariance } from "../../../server/domain/hopper/levelFilter.ts";
import { initialLidLoad, lidLoadChange, updateLidLoad } from "../../../server/domain/hopper/lidLoad.ts";
import { updateByOutlier } from "../../../server/domain/hopper/outlierReading.ts";
import { updateHopperByRefill } from "../../../server/domain/hopper/refill.ts";
import { restartLevel } from "../../../server/domain/hopper/restartLevel.ts";
import {
  creepVariance,
  fullScale,
  scaleDrift,
  scaleNoise,
  slopeDeviation,
  zeroDriftVariance,
  zeroOffsetVariance,
} from "../../../server/domain/hopper/scaleModel.ts";
import { updateHopperByWeighing } from "../../../server/domain/hopper/weighing.ts";
import { after, days, hours, type Instant, seconds } from "../../../server/domain/instant.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { grams } from "../../../server/domain/units.ts";
import { dawn, portionAt, rowanSettings } from "./rowan.ts";

const scale = rowanSettings();
const noScale = rowanSettings({ scale: false });
const at = (second: number): Instant => after(dawn, seconds(second));
const level = (mass: number, when = dawn) => ({ at: when, what: { kind: "level" as const, grams: grams(mass) } });
const known = (mass: number, settings: FeederSettings): HopperState =>
  updateHopperByRefill(initialHopper(settings, dawn), level(mass), settings);

describe("a reading far from what was expected", () => {
  const outlier = (residual: number, second: number, different: object = {}) => ({
    ...{
      reading: 1_000 + residual,
      residual,
      kelvinAboveTare: 0,
      at: at(second),
      gate: 20,
      hasUnreportedEating: false,
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
    expect(found(120, 0, 60, 120)).toBe(120);
  });

  it("must stay for five minutes where a bird may weigh so much: 130 to 700 g", () => {
    for (const mass of [130, 400, 700]) {
      expect(found(mass, 0, 60, 120, 299)).toBeNull();
      expect(found(mass, 0, 60, 120, 300)).toBe(mass);
    }
    expect(found(129, 0, 60, 120)).toBe(129);
    expect(found(701, 0, 60, 120)).toBe(701);
  });

  it("must stay for twenty seconds where the food is gone, or a refill was just entered", () => {
    const fallen = sees(start, outlier(-300, 0), outlier(-300, 20)).hopper;
    expect(Math.round(fallen.estimate.level)).toBeLessThan(750);
    expect(sees(start, outlier(-300, 0), outlier(-300, 19)).hopper.estimate.level).toBe(start.estimate.level);
    const reported = { ...start, refillReportedAt: at(-1_800) };
    expect(sees(reported, outlier(400, 0), outlier(400, 20)).hopper.pendingJump).not.toBeNull(); // half an hour is over
    const justReported = { ...start, refillReportedAt: at(-1_780) };
    const refilled = sees(justReported, outlier(400, 0), outlier(400, 20));
    expect(refilled.hopper.pendingJump).toBeNull();
    expect(refilled.foundRefill).toBeNull(); // it is the one that was entered
    expect(refilled.hopper.foundRefill).toEqual({ grams: 400, at: at(0) });
  });

  it("begins again where it moves by more than its gate or a fiftieth of itself, or turns round", () => {
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

  it("is something on the lid where it is less than three hundredths of the hopper", () => {
    const small = sees(start, outlier(59, 0), outlier(59, 60), outlier(59, 120));
    expect(small.foundRefill).toBeNull();
    expect(lidLoadVariance(small.hopper.estimate)).toBeGreaterThan(0);
    expect(found(60, 0, 60, 120)).toBe(60);
  });

  it("that falls is what slid off the lid, as far as the lid's load explains it", () => {
    const snowed = { ...start, estimate: { ...start.estimate, lidLoad: 100 } };
    const slides = (fall: number) => {
      const of = (second: number) => outlier(-fall, second, { reading: 1_100 - fall });
      return sees(snowed, of(0), of(20)).hopper.estimate.level - start.estimate.level;
    };
    expect(Math.abs(slides(110))).toBeLessThan(30);
    expect(slides(900)).toBeLessThan(-300);
  });

  it("that falls without portions is a meal that nobody reported, unless it ends a rise just found", () => {
    const eaten = (hopper: HopperState, hasUnreportedEating = true) =>
      sees(hopper, outlier(-300, 0, { hasUnreportedEating }), outlier(-300, 20, { hasUnreportedEating })).hopper
        .appetite.dayEaten;
    const watched = {
      ...start,
      appetite: { ...initialAppetite(dawn), watchedSince: at(-9_000), watchedUntil: at(-60), dayStart: at(-9_000) },
    };
    expect(eaten(watched)).toBe(300);
    expect(eaten(watched, false)).toBe(0);
    expect(eaten({ ...watched, foundRefill: { grams: 300, at: at(-1_700) } })).toBe(0);
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

  it("to the brim is right within three hundredths, of an assumed capacity within three tenths", () => {
    const full = refill(initialHopper(noScale, dawn), { kind: "filled" });
    expect([full.estimate.level, deviation(full)]).toEqual([2_000, expect.closeTo(60, 9)]);
    const assumed: FeederSettings = { ...noScale, assumed: ["hopperCapacity"] };
    expect(deviation(refill(initialHopper(assumed, dawn), { kind: "filled" }, assumed))).toBeCloseTo(600, 9);
  });

  it("of a level is certain where it is empty, and right within a tenth of it, three hundredths of the hopper at most", () => {
    const seen = (mass: number) =>
      deviation(refill(initialHopper(noScale, dawn), { kind: "level", grams: grams(mass) }));
    expect([seen(0), seen(200), seen(1_500)]).toEqual([10, 30, 60].map((value) => expect.closeTo(value, 9)));
  });

  it("of an amount begins the level where none was known, and adds to a known one with three hundredths of itself", () => {
    const unknown = refill(initialHopper(noScale, dawn), { kind: "added", grams: grams(500) });
    expect([unknown.estimate.level, deviation(unknown)]).toEqual([500, expect.closeTo(300, 9)]);
    expect(unknown).toMatchObject({ isKnown: true, levelMeasuredAt: at(60), amountReportedAt: at(60) });
    const start = known(400, noScale);
    const added = refill(start, { kind: "added", grams: grams(500) });
    expect(added.estimate.level).toBe(900);
    expect(levelVariance(added.estimate)).toBeCloseTo(levelVariance(start.estimate) + 15 ** 2, 6);
  });

  it("of a large amount mostly fills the hopper, unless a scale measures it or the capacity is assumed", () => {
    const added = (mass: number, settings: FeederSettings) =>
      refill(known(400, settings), { kind: "added", grams: grams(mass) }, settings).estimate.level;
    expect(added(599, noScale)).toBe(999);
    expect(added(600, noScale)).toBeGreaterThan(1_000);
    expect(added(600, scale)).toBe(1_000);
    expect(added(600, { ...noScale, assumed: ["hopperCapacity"] })).toBe(1_000);
  });

  it("is in the scale's reading already where that is newer", () => {
    const weighed = { ...known(1_000, scale), weighedAt: at(61) };
    expect(refill(weighed, { kind: "added", grams: grams(300) }, scale).estimate.level).toBe(1_000);
    expect(refill({ ...weighed, weighedAt: at(60) }, { kind: "added", grams: grams(300) }, scale).estimate.level).toBe(
      1_300,
    );
  });

  it("is the one that the scale found, where that was within half an hour and about as much", () => {
    const start = { ...known(1_000, scale), foundRefill: { grams: 400, at: at(60) } };
    const added = (mass: number, second: number) =>
      refill(start, { kind: "added", grams: grams(mass) }, scale, at(second)).estimate.level;
    expect([added(800, 60), added(801, 60)]).toEqual([1_000, 1_801]);
    expect([added(400, 1_860), added(400, 1_861)]).toEqual([1_000, 1_400]);
    const stated = (mass: number) => refill(start, { kind: "level", grams: grams(mass) }, scale).levelMeasuredAt;
    expect([stated(1_500), stated(1_501)]).toEqual([dawn, at(60)]);
    expect(refill(start, { kind: "filled" }, scale).levelMeasuredAt).toBe(at(60));
  });

  it("that is older than the level changes nothing but the time of the newest refill", () => {
    const start = known(1_000, noScale);
    const late = refill(start, { kind: "level", grams: grams(300) }, noScale, at(-60));
    expect(late.estimate.level).toBe(1_000);
    expect(late.refillReportedAt).toBe(start.refillReportedAt);
    expect(refill(start, { kind: "level", grams: grams(990) }).refillReportedAt).toBe(at(60));
  });

  it("after three portions without food and little left shows that the hopper had run dry, so the portions are corrected", () => {
    const dry = (emptyPortions: number, mass = 20, settings = noScale) => {
      const start = { ...known(mass, settings), emptyPortions };
      const widened = {
        ...start,
        estimate: { ...start.estimate, covariance: [400, -20, 4, ...start.estimate.covariance.slice(3)] },
      } as unknown as HopperState;
      return refill(widened, { kind: "filled" }, settings).estimate.portion;
    };
    expect(dry(2)).toBe(8);
    expect(dry(3)).toBeGreaterThan(8);
    expect(dry(3, 900)).toBe(8); // a jam
    expect(dry(3, 20, scale)).toBe(8);
    expect(refill({ ...known(20, noScale), emptyPortions: 5 }, { kind: "filled" }).emptyPortions).toBe(0);
  });
});

describe("a portion from the hopper", () => {
  const given = (hopper: HopperState, different: object, settings = noScale, blind = false) =>
    updateHopperByPortion(hopper, portionAt(at(60), different), settings, blind);
  const start = known(1_000, noScale);

  it("lowers the level by the mean portion where food was seen to fall, or nothing can show it", () => {
    expect(given(start, { chuteCount: 3 }).estimate.level).toBe(992);
    expect(given(start, { chuteCount: null }).estimate.level).toBe(992);
    expect(given(start, { chuteCount: 0 }, noScale, true).estimate.level).toBe(992);
    expect(given(start, { chuteCount: 0 }).estimate.level).toBe(1_000);
    expect(given(start, { motorRan: seconds(0) }).estimate.level).toBe(1_000);
  });

  it("counts as empty where the motor ran and nothing fell, until food falls again", () => {
    expect(given(start, { chuteCount: 0 }).emptyPortions).toBe(1);
    expect(given(start, { chuteCount: 0, motorRan: seconds(0) }).emptyPortions).toBe(0);
    expect(given({ ...start, emptyPortions: 2 }, { chuteCount: 3 }).emptyPortions).toBe(0);
    expect(given({ ...start, emptyPortions: 2 }, { chuteCount: null }).emptyPortions).toBe(2);
  });

  it("is missing already from a level that was measured later", () => {
    expect(given({ ...start, levelMeasuredAt: at(60) }, {}).estimate.level).toBe(1_000);
    expect(given({ ...start, levelMeasuredAt: at(59) }, {}).estimate.level).toBe(992);
    expect(given({ ...start, levelMeasuredAt: at(60) }, {}).lastPortionAt).toBe(at(60));
  });

  it("widens the level by the portions' own scatter, and counts until the next weighing", () => {
    const one = given(start, {});
    expect(levelVariance(one.estimate)).toBeCloseTo(
      levelVariance(start.estimate) + portionVariance(start.estimate) + start.portionSpreadVariance,
      6,
    );
    expect(one.portionsSinceWeighed).toBe(1);
    expect(start.portionSpreadVariance).toBeCloseTo((0.3 * 8) ** 2, 9);
    expect(portionVariance(start.estimate)).toBeCloseTo((0.19 * 8) ** 2, 9);
    expect(portionVariance(initialHopper({ ...noScale, assumed: ["portionMass"] }, dawn).estimate)).toBeCloseTo(
      (0.5 * 8) ** 2,
      9,
    );
  });

  it("is learnt anew once the keeper enters another weight", () => {
    const heavier = given(start, {}, { ...noScale, portionMass: grams(12) });
    expect(heavier).toMatchObject({ statedPortionGrams: 12, estimate: { portion: 12, level: 988 } });
    expect(heavier.portionSpreadVariance).toBeCloseTo((0.3 * 12) ** 2, 9);
  });

  it("can't be given below two portions or a fiftieth of the hopper: it is empty then", () => {
    expect(emptyThreshold(noScale)).toBe(40);
    expect(emptyThreshold({ ...noScale, portionMass: grams(30) })).toBe(60);
  });
});

describe("the load on the lid", () => {
  const still = { air: 5 as never, lid: null, inside: null };
  const cold = { air: -5 as never, lid: null, inside: null };
  const change = (temperatures: Parameters<typeof lidLoadChange>[0], riseRate: number, load: number) =>
    lidLoadChange(temperatures, { riseRate, portionRate: 0 }, load, 8, 1);

  it("thaws by two thirds in an hour and a half from one degree on", () => {
    expect(change(still, 0, 50).keptShare).toBeCloseTo(Math.exp(-1 / 1.5), 12);
    expect(change(still, 0, 50).variance).toBeCloseTo(0.1 * 50 * 50, 9);
    expect(change({ ...still, air: 1 as never }, 0, 50).keptShare).toBeLessThan(1);
    expect(change({ ...still, air: 0.9 as never }, 0, 50).keptShare).toBe(1);
    expect(change({ air: null, lid: null, inside: null }, 0, 50).keptShare).toBeCloseTo(Math.exp(-1 / 24), 12);
    expect(change({ air: null, lid: null, inside: 5 as never }, 0, 50).keptShare).toBeLessThan(0.6);
  });

  it("grows only by a rise beyond two standard deviations of the scale's usual error", () => {
    // 8 g² an hour: the mean of an hour scatters by 2 g, so 4 g are ignored.
    expect(change(cold, 4, 0).variance).toBe(0.25);
    expect(change(cold, 7, 0).variance).toBeCloseTo(0.25 + 9, 9);
    expect(change(cold, -7, 0).variance).toBe(0.25); // nothing lies there that could go
    expect(change(cold, -7, 50).variance).toBeCloseTo(0.02 + 9, 9);
    expect(change(cold, 0, 8).variance).toBe(0.02);
    expect(change(cold, 0, 7.9).variance).toBe(0.25);
  });

  it("is known by the rise of the last hour, and by the portions in it", () => {
    const { estimate } = known(1_000, scale);
    const raised = { ...estimate, level: estimate.level + 12 };
    const state = updateLidLoad(
      { riseRate: 10, portionRate: 4 },
      { before: estimate, after: raised, kelvinAboveTare: 0, portions: 3, hours: 0.5 },
    );
    expect(state.riseRate).toBeCloseTo(10 * Math.exp(-0.5) + 12, 9);
    expect(state.portionRate).toBeCloseTo(4 * Math.exp(-0.5) + 3, 9);
    expect(initialLidLoad).toEqual({ riseRate: 0, portionRate: 0 });
  });
});

describe("a load cell outdoors", () => {
  it("errs as its data sheet says, by the size of the hopper", () => {
    const small = rowanSettings({}, { hopperCapacity: grams(500) });
    expect([fullScale(scale), scaleNoise(scale), scaleNoise(small), scaleDrift(scale), scaleDrift(small)]).toEqual([
      4_400, 4, 4, 10, 5,
    ]);
    expect(scaleNoise(rowanSettings({}, { hopperCapacity: grams(5_000) }))).toBe(10);
    expect(slopeDeviation(scale)).toBeCloseTo(0.88, 9);
    expect(creepVariance(400)).toBeCloseTo(0.04, 12);
  });

  it("has an offset and a drift that grow with its slope, far more without a thermometer", () => {
    expect(zeroOffsetVariance(0.25, true, scale)).toBeCloseTo(4.84 ** 2 + 36 * 0.25, 9);
    expect(zeroOffsetVariance(0.25, false, scale)).toBeCloseTo(4.84 ** 2 + 100 * 0.25, 9);
    expect(zeroDriftVariance(0.25, true, scale)).toBeCloseTo(2.42 ** 2 + 0.64 * 0.25, 9);
    expect(zeroDriftVariance(0.25, false, scale)).toBeCloseTo(2.42 ** 2 + 16 * 0.25, 9);
  });
});

describe("the forecast of the food", () => {
  const hopper = known(1_000, noScale);
  const forecast = updateHopperForecast(null, hopper, noScale, dawn, null);

  it("is made again after ten minutes, and sooner where the level changed by a fiftieth of the hopper", () => {
    const again = (second: number, mass = 0) =>
      updateHopperForecast(
        forecast,
        { ...hopper, estimate: { ...hopper.estimate, level: 1_000 + mass } },
        noScale,
        at(second),
        null,
      ) !== forecast;
    expect([again(599), again(600)]).toEqual([false, true]);
    expect([again(60, 40), again(60, 41), again(60, -40), again(60, -41)]).toEqual([false, true, false, true]);
  });

  it("looks twice as far while its alarm is active, and a quarter further once somebody refilled", () => {
    const horizon = (since: number | null, different: Partial<HopperState> = {}) =>
      updateHopperForecast(null, { ...hopper, ...different }, noScale, at(600), since === null ? null : at(since))
        ?.horizon;
    expect(horizon(null)).toBe(days(2));
    expect(horizon(60)).toBe(days(4));
    expect(horizon(60, { refillReportedAt: at(61) })).toBe(days(2.5));
    expect(horizon(60, { refillReportedAt: at(60) })).toBe(days(4));
    expect(horizon(60, { foundRefill: { grams: 1, at: at(61) } })).toBe(days(2.5));
    expect(horizon(60, { foundRefill: { grams: 1, at: at(60) } })).toBe(days(4));
  });

  it("goes by a tenth of the hopper alone while nothing is known of the birds", () => {
    const low = (mass: number) =>
      updateHopperForecast(null, known(mass, noScale), noScale, at(60), null)?.foodLowFault?.kind;
    expect([low(200), low(205)]).toEqual(["foodLow", undefined]);
  });

  it("is none of an empty hopper, which is a fault of its own, by what it is known", () => {
    const empty = { ...known(10, noScale), emptySince: dawn };
    expect(updateHopperForecast(null, empty, noScale, at(60), null)).toBeNull();
    const [byPortions] = hopperFaults(empty, noScale, at(60), null);
    expect(byPortions).toMatchObject({
      kind: "foodOut",
      reason: expect.stringContaining("by the portions given since the last refill"),
    });
    const [byScale] = hopperFaults({ ...empty, weighedAt: dawn }, scale, at(60), null);
    expect(byScale?.reason).toContain("by the scale");
    expect(hopperFaults(initialHopper(noScale, dawn), noScale, at(60), null)).toEqual([]);
  });

  it("names its day, its part of the day, or both ends", () => {
    const text = (p10: number, p50: number, p90 = p50 + 1) =>
      runOutText(
        { kind: "emptyAt", p10: after(dawn, hours(p10)), p50: after(dawn, hours(p50)), p90: after(dawn, hours(p90)) },
        "Europe/Stockholm",
        dawn,
      );
    expect(text(24.1, 40)).toMatch(/^very likely enough until /);
    expect(text(24, 40)).toMatch(/^may be empty by .*, probably by /);
    expect(text(1, 1.1)).toMatch(/^empty by /);
    expect(text(-9, -5, 0)).toMatch(/^empty since /);
    expect(text(-9, -5, 0.1)).not.toMatch(/^empty since /);
  });

  it("names what was only assumed, unless a scale measured it", () => {
    const assumed: FeederSettings = {
      ...noScale,
      portionMass: grams(8.25),
      assumed: ["portionMass", "hopperCapacity"],
    };
    const forecast = {
      kind: "emptyAt",
      p10: after(dawn, days(3)),
      p50: after(dawn, days(4)),
      p90: after(dawn, days(5)),
    } as const;
    expect(assumedFoodSettings(hopper, assumed)).toEqual(["portionMass", "hopperCapacity"]);
    expect(assumedFoodSettings({ ...hopper, weighedAt: dawn }, assumed)).toEqual([]);
    expect(foodText(forecast, hopper, assumed, dawn)).toMatch(
      /^enough until .* \(assuming that a portion weighs 8\.3 g and a full hopper holds 2 kg\)$/,
    );
    expect(foodText(forecast, hopper, noScale, dawn)).toMatch(/^very likely enough until [^(]*$/);
    expect(foodText({ kind: "notEmptying" }, hopper, assumed, dawn)).toBe("almost nothing is eaten");
    expect(foodText(forecast, { ...hopper, emptySince: dawn }, assumed, dawn)).not.toContain("assuming");
  });
});

describe("what is known of the birds' appetite", () => {
  const watched = (length: number, different: object = {}) => ({
    ...initialAppetite(dawn),
    watchedSince: dawn,
    watchedUntil: after(dawn, hours(length)),
    ...different,
  });

  it("compares days from the second one on", () => {
    const daily = {} as never;
    expect([
      hasComparedDays(watched(47.9, { daily })),
      hasComparedDays(watched(48, { daily })),
      hasComparedDays(watched(48)),
    ]).toEqual([false, true, false]);
  });

  it("is nothing after a day on which nobody came", () => {
    expect([isUnvisited(watched(23.9)), isUnvisited(watched(24)), isUnvisited(initialAppetite(dawn))]).toEqual([
      false,
      true,
      false,
    ]);
    expect(isUnvisited(watched(24, { daily: {} }))).toBe(false);
    expect(isUnvisited(watched(24, { eatenByPart: [0, 5] }))).toBe(false);
  });

  it("is a usual day's grams by the days that are remembered", () => {
    const everyPart = Array.from({ length: 24 }, () => 2);
    expect(usualDailyGrams(watched(99, { eatenByPart: everyPart, daysWatchedByPart: everyPart }))).toBeCloseTo(24, 9);
    expect(usualDailyGrams(initialAppetite(dawn))).toBeNull();
    expect(usualDailyGrams(watched(99, { daysWatchedByPart: everyPart }))).toBeNull();
  });
});

describe("grams for a keeper", () => {
  it("have two figures", () => {
    expect([19.4, 20, 22, 22.6, 99, 100, 104, 105, 995, 1_000, 1_249, 1_250].map(gramsText)).toEqual([
      ...["19 g", "20 g", "20 g", "25 g", "100 g", "100 g", "100 g", "110 g", "1000 g", "1 kg", "1.2 kg", "1.3 kg"],
    ]);
  });

  it("are rounded outwards in an interval, the finer the smaller it is", () => {
    expect(gramsRangeText(12.4, 99.2)).toBe("12 g to 100 g");
    expect(gramsRangeText(12.4, 100)).toBe("10 g to 100 g");
    expect(gramsRangeText(1_984, 9_999)).toBe("1.98 kg to 10 kg");
    expect(gramsRangeText(1_984, 10_000)).toBe("1.9 kg to 10 kg");
  });
});

describe("a level's interval", () => {
  it("lies between nothing and a little above the brim", () => {
    const interval = hopperLevel(known(2_000, noScale), noScale);
    expect(interval?.high).toBeLessThanOrEqual(2_100);
    expect(hopperLevel(known(0, noScale), noScale)?.low).toBeGreaterThanOrEqual(0);
  });
});
