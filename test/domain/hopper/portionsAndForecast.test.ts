import { describe, expect, it } from "vitest";
import {
  hasComparedDays,
  initialAppetite,
  isUnvisited,
  usualDailyGrams,
} from "../../../server/domain/hopper/appetite.ts";
import { daySpanAt } from "../../../server/domain/hopper/daySpan.ts";
import { runOutText } from "../../../server/domain/hopper/emptyForecast.ts";
import { assumedFoodSettings, foodText } from "../../../server/domain/hopper/foodText.ts";
import { hopperFaults, updateHopperForecast } from "../../../server/domain/hopper/hopperFaults.ts";
import {
  clampPortion,
  emptyThreshold,
  type HopperState,
  hopperLevel,
  initialHopper,
  updateEmptySince,
  updateHopperByPortion,
} from "../../../server/domain/hopper/level.ts";
import { levelVariance, portionVariance } from "../../../server/domain/hopper/levelFilter.ts";
import { initialLidLoad, lidLoadChange, updateLidLoad } from "../../../server/domain/hopper/lidLoad.ts";
import { updateHopperByRefill } from "../../../server/domain/hopper/refill.ts";
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
import { gramsRangeText, gramsText } from "../../../server/text/format.ts";
import { dawn, portionAt, rowanSettings } from "./rowan.ts";

const scale = rowanSettings();
const noScale = rowanSettings({ scale: false });
const at = (second: number): Instant => after(dawn, seconds(second));
const level = (mass: number, when = dawn) => ({ at: when, what: { kind: "level" as const, grams: grams(mass) } });
/** By its scale, or else by the keeper's word. */
const known = (mass: number, settings: FeederSettings): HopperState =>
  settings.sensors.scale
    ? updateHopperByWeighing(initialHopper(settings, dawn), grams(mass), dawn, settings).hopper
    : updateHopperByRefill(initialHopper(settings, dawn), level(mass), settings);

describe("a portion from the hopper", () => {
  const given = (hopper: HopperState, different: object, settings = noScale, blind = false) =>
    updateHopperByPortion(hopper, portionAt(at(60), different), settings, blind);
  const start = known(1_000, noScale);
  const begun = start.estimate.level;

  it("lowers the level by the mean portion where food was seen to fall, or nothing can show it", () => {
    expect(given(start, { chuteCount: 3 }).estimate.level).toBeCloseTo(begun - 8, 6);
    expect(given(start, { chuteCount: null }).estimate.level).toBeCloseTo(begun - 8, 6);
    expect(given(start, { chuteCount: 0 }, noScale, true).estimate.level).toBeCloseTo(begun - 8, 6);
    expect(given(start, { chuteCount: 0 }).estimate.level).toBeCloseTo(begun, 6);
    expect(given(start, { motorRan: seconds(0) }).estimate.level).toBeCloseTo(begun, 6);
  });

  it("counts as empty where the motor ran and nothing fell, until food falls again", () => {
    expect(given(start, { chuteCount: 0 }).emptyPortions).toBe(1);
    expect(given(start, { chuteCount: 0, motorRan: seconds(0) }).emptyPortions).toBe(0);
    expect(given({ ...start, emptyPortions: 2 }, { chuteCount: 3 }).emptyPortions).toBe(0);
    expect(given({ ...start, emptyPortions: 2 }, { chuteCount: null }).emptyPortions).toBe(2);
  });

  it("is missing already from a level that was measured later", () => {
    expect(given({ ...start, levelMeasuredAt: at(60) }, {}).estimate.level).toBeCloseTo(begun, 6);
    expect(given({ ...start, levelMeasuredAt: at(59) }, {}).estimate.level).toBeCloseTo(begun - 8, 6);
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

  it("is learnt again once the keeper enters another weight", () => {
    const heavier = given(start, {}, { ...noScale, portionMass: grams(12) });
    expect(heavier).toMatchObject({ statedPortionGrams: 12, estimate: { portion: 12 } });
    expect(heavier.estimate.level).toBeCloseTo(begun - 12, 6);
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
  const change = (temperatures: Parameters<typeof lidLoadChange>[0], riseRate: number, load: number, hours = 1) =>
    lidLoadChange(temperatures, { riseRate, portionRate: 0 }, load, 8, hours);

  it("melts by four grams an hour and kelvin from two degrees on, and dries by two thirds in six hours", () => {
    // Hock 2003: 2.5 to 11 mm a day and kelvin; on a lid of 200 cm² 2 to 9 g an hour.
    expect(change(still, 0, 500).keptShare).toBeCloseTo(1 - 20 / 500, 12);
    expect(change(still, 0, 50).keptShare).toBeCloseTo(Math.exp(-1 / 6), 12);
    expect(change(still, 0, 50).variance).toBeCloseTo(0.02 * 50 * 50, 9);
    expect(change({ ...still, air: 2 as never }, 0, 50).keptShare).toBeLessThan(1);
    expect(change({ ...still, air: 1.9 as never }, 0, 50).keptShare).toBe(1);
    expect(change({ air: null, lid: null, inside: null }, 0, 50).keptShare).toBeCloseTo(Math.exp(-1 / 24), 12);
    expect(change({ air: null, lid: null, inside: 5 as never }, 0, 50).keptShare).toBeLessThan(0.9);
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

  it("may have grown by anything while no reading came in the cold", () => {
    expect(change(cold, 0, 0, 6).variance).toBeCloseTo(6 * 0.25 + 150 ** 2, 9);
    expect(change(still, 0, 0, 6).variance).toBe(0);
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
  it("errs as its data sheet states, by the size of the hopper", () => {
    const small = rowanSettings({}, { hopperCapacity: grams(500) });
    expect([fullScale(scale), scaleNoise(scale), scaleNoise(small), scaleDrift(scale), scaleDrift(small)]).toEqual([
      4_400, 4, 4, 10, 5,
    ]);
    expect(scaleNoise(rowanSettings({}, { hopperCapacity: grams(5_000) }))).toBe(10);
    expect(slopeDeviation(scale)).toBeCloseTo(0.88, 9);
    expect(creepVariance(400)).toBeCloseTo(0.04, 12);
  });

  it("has an offset and a drift that grow with its slope, far more without a thermometer", () => {
    expect(zeroOffsetVariance(0.25, true, scale)).toBeCloseTo(33 ** 2 + 36 * 0.25, 9);
    expect(zeroOffsetVariance(0.25, false, scale)).toBeCloseTo(33 ** 2 + 100 * 0.25, 9);
    expect(zeroDriftVariance(0.25, true, scale)).toBeCloseTo(4.4 ** 2 + 0.64 * 0.25, 9);
    expect(zeroDriftVariance(0.25, false, scale)).toBeCloseTo(4.4 ** 2 + 16 * 0.25, 9);
  });
});

describe("the forecast of the food", () => {
  const hopper = known(1_000, noScale);
  const forecast = updateHopperForecast(null, hopper, noScale, dawn, null);

  it("is made again after ten minutes, and sooner where the level changed by a fiftieth of the hopper", () => {
    const again = (second: number, mass = 0) =>
      updateHopperForecast(
        forecast,
        { ...hopper, hypotheses: hopper.hypotheses.map((each) => ({ ...each, level: each.level + mass })) },
        noScale,
        at(second),
        null,
      ) !== forecast;
    expect([again(599), again(600)]).toEqual([false, true]);
    expect([again(60, 39), again(60, 41), again(60, -39), again(60, -41)]).toEqual([false, true, false, true]);
  });

  it("covers twice the time while its alarm is active, and a quarter more once somebody refilled", () => {
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
    expect(interval?.high).toBeLessThanOrEqual(2_400);
    expect(hopperLevel(known(0, noScale), noScale)?.low).toBeGreaterThanOrEqual(0);
  });
});

describe("an empty hopper", () => {
  it("is one whose whole interval lies below the limit, until it lies well above it", () => {
    const of = (mass: number, emptySince: Instant | null) =>
      updateEmptySince({ ...known(mass, noScale), emptySince }, at(60), noScale).emptySince;
    expect([of(18, null), of(39, null)]).toEqual([at(60), null]);
    expect([of(60, dawn), of(100, dawn)]).toEqual([dawn, null]);
    expect(of(40, dawn)).toBe(dawn);
  });

  it("is one whose level lies below the limit where a scale weighs it, which is never sure of the last grams", () => {
    const of = (mass: number) =>
      updateEmptySince({ ...known(mass, scale), emptySince: null }, at(60), scale).emptySince;
    expect([of(39), of(41)]).toEqual([at(60), null]);
  });

  it("isn't one by a scale that may be off by a good part of it, and doesn't flicker by such a width", () => {
    const wide = (mass: number, deviation: number, emptySince: Instant | null) => {
      const weighed = known(mass, scale);
      const [, ...others] = weighed.estimate.covariance;
      const covariance: typeof weighed.estimate.covariance = [deviation * deviation, ...others];
      return { ...weighed, estimate: { ...weighed.estimate, covariance }, emptySince };
    };
    expect(hopperLevel(wide(20, 270, null), scale)?.high).toBeGreaterThan(440);
    expect(updateEmptySince(wide(20, 270, null), at(60), scale).emptySince).toBeNull();
    let hopper: HopperState = wide(20, 90, null);
    const seen = Array.from({ length: 20 }, (_, minute) => {
      hopper = updateEmptySince(hopper, at(60 * minute + 60), scale);
      return hopper.emptySince;
    });
    expect(new Set(seen)).toEqual(new Set([at(60)]));
    expect(updateEmptySince(wide(300, 90, dawn), at(60), scale).emptySince).toBeNull();
  });

  it("learns no portion beyond a tenth or ten times of what the keeper entered", () => {
    const { estimate } = known(1_000, noScale);
    const portion = (learnt: number) => clampPortion({ ...estimate, portion: learnt }, noScale).portion;
    expect([portion(0.7), portion(0.9), portion(79), portion(81)]).toEqual([0.8, 0.9, 79, 80]);
    expect(clampPortion(estimate, noScale)).toBe(estimate);
  });
});

describe("the day of a yard", () => {
  it("is its own, whichever yard was asked about before", () => {
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    const dusk = (different: Partial<typeof place>) =>
      daySpanAt({ place: { ...place, ...different }, zone: "Europe/Stockholm" }, dawn).dusk;
    const [own, south, east] = [{}, { latitudeDegrees: 40 }, { longitudeDegrees: 20 }].map(dusk);
    expect(new Set([own, south, east]).size).toBe(3);
    expect([dusk({ longitudeDegrees: 20 }), dusk({}), dusk({ latitudeDegrees: 40 })]).toEqual([east, own, south]);
  });
});
