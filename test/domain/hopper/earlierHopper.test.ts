import { describe, expect, it } from "vitest";
import { type HopperV1, hopperFromV1 } from "../../../server/domain/hopper/earlierHopper.ts";
import { dispensed, heardThrough, levelOf, portionOf } from "../../../server/domain/hopper/level.ts";
import { forecastEmpty } from "../../../server/domain/hopper/runOut.ts";
import { weighed } from "../../../server/domain/hopper/weighing.ts";
import { inDays, type Span } from "../../../server/domain/instant.ts";
import { grams } from "../../../server/domain/units.ts";
import { rateOf } from "./appetiteOf.ts";
import { dawn, minuteAfter, portionAt, rowan } from "./rowan.ts";

const settings = rowan();
const at = minuteAfter(dawn, 5 * 1440);
/** Five days of thirty portions of nine grams, weighed, told by a feeder of the earlier shape. */
const old: HopperV1 = {
  known: true,
  belief: { level: 700, levelVariance: 4, portion: 9, portionVariance: 0.04, covariance: -0.1 },
  spreadVariance: 3,
  portionSaid: 8,
  portionsSinceWeighed: 2,
  lastPortionAt: minuteAfter(at, -60),
  weighedAt: minuteAfter(at, -61),
  fixedAt: minuteAfter(at, -61),
  jump: null,
  found: null,
  toldAt: null,
  emptySince: null,
  appetite: {
    since: dawn,
    at,
    dayStart: at,
    dayEaten: 0,
    days: 5,
    dayMean: 270,
    dayVariance: 900,
    byHour: Array.from({ length: 24 }, (_, hour) => (hour >= 7 && hour < 15 ? 70 : 0)),
  },
};

describe("a hopper stored by an earlier version", () => {
  it("keeps its level, its portion and its doubt, to which that of the scale's zero comes", () => {
    const hopper = hopperFromV1(old, settings);
    const level = levelOf(hopper, settings);
    expect(level?.grams).toBeCloseTo(700, 6);
    expect((level?.high ?? 0) - (level?.low ?? 0)).toBeGreaterThan(20);
    expect(portionOf(hopper).mean).toBe(9);
    expect(JSON.parse(JSON.stringify(hopper))).toEqual(hopper);
  });

  it("keeps its appetite and its birds' hours", () => {
    const hopper = hopperFromV1(old, settings);
    expect(rateOf(hopper.appetite, settings)).toBeCloseTo(270, 0);
    const forecast = forecastEmpty(hopper, settings, at);
    if (forecast.kind !== "emptyAt") throw new Error("expected a time");
    expect(inDays((forecast.p50 - at) as Span)).toBeGreaterThan(2);
    expect(inDays((forecast.p50 - at) as Span)).toBeLessThan(3.2);
    const hour = new Date(forecast.p50).getUTCHours();
    expect(hour).toBeGreaterThanOrEqual(6);
    expect(hour).toBeLessThan(16);
  });

  it("goes on as if nothing had happened", () => {
    let hopper = heardThrough(hopperFromV1(old, settings), minuteAfter(at, 10), settings);
    hopper = dispensed(hopper, portionAt(minuteAfter(at, 11)), settings);
    expect(levelOf(hopper, settings)?.grams).toBeCloseTo(691, 6);
    hopper = weighed(hopper, grams(690), minuteAfter(at, 12), settings).hopper;
    expect(Math.abs((levelOf(hopper, settings)?.grams ?? 0) - 690.5)).toBeLessThan(3);
  });

  it("claims nothing that it didn't know", () => {
    const unheard = { ...old.appetite, since: null, days: 0, dayMean: 0, dayVariance: 0 };
    const nothing = hopperFromV1({ ...old, known: false, weighedAt: null, appetite: unheard }, settings);
    expect(levelOf(nothing, settings)).toBeNull();
    expect(forecastEmpty(nothing, settings, at)).toEqual({ kind: "unknown", missing: "level" });
    const firstDay = { ...old.appetite, days: 0, dayMean: 0, dayVariance: 0 };
    expect(rateOf(hopperFromV1({ ...old, appetite: firstDay }, settings).appetite, settings)).toBeNull();
  });
});
