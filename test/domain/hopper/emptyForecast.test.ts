import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  appetiteForecast,
  expectedEaten,
  forecastVariance,
  initialAppetite,
  updateAppetiteByMeal,
  updateAppetiteUntil,
} from "../../../server/domain/hopper/appetite.ts";
import { initialDailyAppetite } from "../../../server/domain/hopper/dailyAppetite.ts";
import { daySpanAt, isDaylightPart, lightHours, partAt } from "../../../server/domain/hopper/daySpan.ts";
import { type EmptyForecast, forecastEmpty, runOutText } from "../../../server/domain/hopper/emptyForecast.ts";
import {
  type HopperState,
  initialHopper,
  updateHopperByPortion,
  updateHopperUntil,
} from "../../../server/domain/hopper/level.ts";
import { updateHopperByRefill } from "../../../server/domain/hopper/refill.ts";
import { updateHopperByWeighing } from "../../../server/domain/hopper/weighing.ts";
import { hours, type Instant, inDays, instantOf, type Span } from "../../../server/domain/instant.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { civilDaylightHours } from "../../../server/domain/sun.ts";
import { grams } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { appetiteAfterMeals, rateOf } from "./appetiteAfterMeals.ts";
import { dawn, minuteAfter, portionAt, rowanSettings } from "./rowan.ts";

const settings = rowanSettings({ scale: false });
const zone = "Europe/Stockholm";
const midnight = instantOf("2026-11-02T00:00:00Z");

const emptyAt = (forecast: EmptyForecast) => {
  if (forecast.kind !== "emptyAt") throw new Error(`expected a time, got ${forecast.kind}`);
  return forecast;
};

/** So many whole days of birds that come between 06 and 16 UTC, from a full hopper; ends at dawn. */
function fed(wholeDays: number, perDay: number, seed = 1): HopperState {
  const random = seededRandom(seed);
  let hopper = updateHopperByRefill(initialHopper(settings, dawn), { at: dawn, what: { kind: "filled" } }, settings);
  hopper = updateHopperUntil(hopper, dawn, settings);
  for (let day = 0; day < wholeDays; day += 1) {
    for (let minute = 0; minute < 600; minute += 1) {
      if (random.uniform() < perDay / 600) {
        hopper = updateHopperByPortion(hopper, portionAt(minuteAfter(dawn, day * 1440 + minute)), settings);
      }
    }
  }
  return updateHopperUntil(hopper, minuteAfter(dawn, wholeDays * 1440), settings);
}

describe("the appetite", () => {
  it("is what was eaten a day, with the scatter of portions at least", () => {
    const hopper = fed(5, 30);
    const rate = rateOf(hopper.appetite, settings) ?? 0;
    expect(rate).toBeGreaterThan(190);
    expect(rate).toBeLessThan(290);
    const outlook = appetiteForecast(hopper.appetite, settings);
    if (outlook === null) throw new Error("expected an outlook");
    // References: rate · (w² + s²) a day, for portions of mean w and spread s.
    const share = forecastVariance(outlook, 3, 3 * rate, 8, 2.4);
    expect(share * (3 * rate) ** 2).toBeGreaterThanOrEqual((3 * rate * (64 + 5.76)) / 8);
  });

  it("follows a flock that stays away within a week", () => {
    const left = updateHopperUntil(fed(5, 30), minuteAfter(dawn, 12 * 1440), settings);
    expect(rateOf(left.appetite, settings)).toBeLessThan(80);
  });

  it("learns at which hours these birds eat", () => {
    const shares = appetiteForecast(fed(5, 60).appetite, settings)?.partShares ?? [];
    expect(shares.reduce((sum, share) => sum + share, 0)).toBeCloseTo(1, 9);
    const day = daySpanAt(settings, dawn);
    const shareOf = (time: string) => shares[partAt(day, instantOf(`2026-11-02T${time}:00Z`)).part];
    expect(shareOf("02:00")).toBeLessThan(0.01);
    expect(shareOf("11:00")).toBeGreaterThan(0.04);
  });

  it("counts a late portion where it belongs", () => {
    const early = appetiteAfterMeals(settings, ["06:00", 8], ["07:00", 8], ["20:00", 0]);
    const late = appetiteAfterMeals(settings, ["06:00", 8], ["20:00", 0], ["07:00", 8]);
    expect(late.dayEaten).toBeCloseTo(early.dayEaten, 9);
    expect(late.eatenTodayByPart).toEqual(early.eatenTodayByPart);
  });

  it("isn't taken for gone while the hopper is empty, however long that lasts", () => {
    const hungry = fed(5, 30);
    const rate = rateOf(hungry.appetite, settings) ?? 0;
    const empty = updateHopperByRefill(
      hungry,
      { at: minuteAfter(dawn, 5 * 1440), what: { kind: "level", grams: grams(0) } },
      settings,
    );
    const later = updateHopperUntil(empty, minuteAfter(dawn, 9 * 1440), settings);
    expect((rateOf(later.appetite, settings) ?? 0) / rate).toBeCloseTo(1, 1);
  });
});

describe("the appetite at any time of day", () => {
  /** Thirty portions of eight grams between 07 and 15 UTC each day, evenly; watched for so many hours from `from` on. */
  const rateAfter = (hoursWatched: number, from: Instant, yard: Pick<FeederSettings, "place" | "zone"> = settings) => {
    const end = (from + hours(hoursWatched)) as Instant;
    let appetite = updateAppetiteUntil(initialAppetite(from), from, yard);
    for (let at: Instant = from; at < end; at = minuteAfter(at, 1)) {
      const minute = (at / 60_000) % 1440;
      if (minute >= 7 * 60 && minute < 15 * 60 && minute % 16 === 0)
        appetite = updateAppetiteByMeal(appetite, 8, at, yard);
    }
    return rateOf(updateAppetiteUntil(appetite, end, yard), yard);
  };

  it("is no higher in the evening than at dawn, after the first days, whenever watching began", () => {
    for (const begun of [0, 7, 11, 15, 20]) {
      for (let watched = 72; watched <= 120; watched += 1) {
        const mean = rateAfter(watched, minuteAfter(midnight, 60 * begun)) ?? 0;
        expect(mean / 240, `begun at ${begun} h, watched for ${watched} h`).toBeGreaterThan(0.8);
        expect(mean / 240, `begun at ${begun} h, watched for ${watched} h`).toBeLessThan(1.25);
      }
    }
  });

  it("is projected from the light that has passed, on the first day", () => {
    for (const begun of [0, 7, 11, 15, 20]) {
      for (let watched = 1; watched < 24; watched += 1) {
        for (const yard of [settings, { place: null, zone }]) {
          const rate = rateAfter(watched, minuteAfter(midnight, 60 * begun), yard);
          if (rate === null) continue;
          // These birds keep eight hours, the light or the assumption ten: off by a half, never by the night.
          expect(rate / 240, `begun at ${begun} h, watched for ${watched} h`).toBeLessThan(1.5);
          // Late risers look few at first.
          if ((begun + watched) % 24 < 11) continue;
          expect(rate / 240, `begun at ${begun} h, watched for ${watched} h`).toBeGreaterThan(0.6);
        }
      }
    }
  });

  it("claims nothing of a night, of the first hours of light, or of a day that nobody has come on yet", () => {
    expect(rateAfter(11, minuteAfter(midnight, 18 * 60))).toBeNull();
    expect(rateAfter(2, minuteAfter(midnight, 7 * 60))).toBeNull();
    const start = updateAppetiteUntil(initialAppetite(midnight), midnight, settings);
    expect(rateOf(updateAppetiteUntil(start, minuteAfter(midnight, 1_200), settings), settings)).toBeNull();
  });
});

describe("a day's parts", () => {
  it("lie between dawn and dusk as the sun makes them", () => {
    const day = daySpanAt(settings, minuteAfter(midnight, 720));
    expect(lightHours(day)).toBeCloseTo(
      civilDaylightHours({ latitudeDegrees: 59.5, longitudeDegrees: 17.8 }, midnight, minuteAfter(midnight, 1440)),
      2,
    );
    expect(isDaylightPart(partAt(day, minuteAfter(midnight, 720)).part)).toBe(true);
    expect(isDaylightPart(partAt(day, minuteAfter(midnight, 120)).part)).toBe(false);
  });

  it("go by the yard's own clock where the place isn't known, or where the sun stays down", () => {
    const anchorage = { place: null, zone: "America/Anchorage" }; // 07 to 17 there is 16 to 02 UTC
    const noon = daySpanAt(anchorage, minuteAfter(midnight, 21 * 60));
    expect(new Date(noon.dawn).getUTCHours()).toBe(16);
    expect(lightHours(noon)).toBe(10);
    const polar = { place: { latitudeDegrees: 80, longitudeDegrees: 15 }, zone };
    expect(lightHours(daySpanAt(polar, instantOf("2026-12-21T12:00:00Z")))).toBe(10);
  });

  it("follow one another without a gap, through a year, at any place (property)", () => {
    fc.assert(
      fc.property(
        fc.double({ min: -70, max: 80, noNaN: true }),
        fc.double({ min: -179, max: 179, noNaN: true }),
        fc.integer({ min: 0, max: 365 * 24 * 60 }),
        fc.boolean(),
        (latitudeDegrees, longitudeDegrees, minute, placed) => {
          const yard = { place: placed ? { latitudeDegrees, longitudeDegrees } : null, zone };
          const at = minuteAfter(midnight, minute);
          const day = daySpanAt(yard, at);
          expect(day.from).toBeLessThanOrEqual(at);
          expect(day.to).toBeGreaterThan(at);
          expect(day.from).toBeLessThan(day.dawn);
          expect(day.dawn).toBeLessThan(day.dusk);
          expect(day.dusk).toBeLessThan(day.to);
          let [walked, parts] = [day.from, 0];
          while (walked < day.to) {
            const { part, until } = partAt(day, walked);
            expect(part).toBe(parts);
            expect(until).toBeGreaterThan(walked);
            [walked, parts] = [until, parts + 1];
          }
          expect(parts).toBe(24);
        },
      ),
      { numRuns: 60 },
    );
  });
});

describe("the forecast", () => {
  it("is unknown without a level, and too early without some hours of watching", () => {
    expect(forecastEmpty(initialHopper(settings, dawn), settings, dawn)).toEqual({ kind: "unknown", missing: "level" });
    const full = updateHopperByRefill(initialHopper(settings, dawn), { at: dawn, what: { kind: "filled" } }, settings);
    expect(forecastEmpty(full, settings, dawn)).toEqual({ kind: "unknown", missing: "appetite" });
  });

  it("expects less of each day to come while the birds eat less from day to day", () => {
    const daily = { ...initialDailyAppetite(200, { portions: 25, observedShare: 1 }), trend: -0.1 };
    const first = daySpanAt(settings, dawn);
    const forecast = { daily, partShares: new Array<number>(24).fill(1 / 24), dayIndex: first.index };
    const eatenOn = (ahead: number) => {
      const day = daySpanAt(settings, minuteAfter(dawn, ahead * 1440));
      return expectedEaten(forecast, settings, day.from, day.to);
    };
    expect(eatenOn(5)).toBeLessThan(0.7 * eatenOn(0)); // about exp(-0.5), and a little less light
    expect(eatenOn(5)).toBeGreaterThan(0.4 * eatenOn(0));
  });

  it("sees no end where nobody eats", () => {
    expect(forecastEmpty(fed(3, 0), settings, minuteAfter(dawn, 3 * 1440)).kind).toBe("notEmptying");
  });

  it("falls into the hours at which birds eat, seldom into the night", () => {
    const now = minuteAfter(dawn, 5 * 1440);
    const hours = Array.from({ length: 20 }, (_, seed) => emptyAt(forecastEmpty(fed(5, 30, seed + 1), settings, now)))
      .flatMap(({ p10, p50, p90 }) => [p10, p50, p90])
      .map((at) => new Date(at).getUTCHours());
    // By the clock alone it would be 35 of 60; a tenth of each meal is kept for hours that saw nobody so far.
    expect(hours.filter((hour) => hour < 6 || hour > 16).length).toBeLessThan(10);
  });

  it("is calibrated: about one hopper in ten is empty before p10, half before p50, nine in ten before p90", () => {
    let before = { p10: 0, p50: 0, p90: 0 };
    const runs = 150;
    for (let seed = 1; seed <= runs; seed += 1) {
      // This feeder's portions and flock differ from what the keeper entered; each day has a weather of its own.
      const random = seededRandom(1_000 + seed);
      const mean = Math.max(3, random.normal(8, 2));
      const flock = 20 + 25 * random.uniform();
      let truth = 2_000 * (1 + random.normal(0, 0.05));
      let hopper = updateHopperUntil(
        updateHopperByRefill(initialHopper(settings, dawn), { at: dawn, what: { kind: "filled" } }, settings),
        dawn,
        settings,
      );
      let forecast: ReturnType<typeof emptyAt> | null = null;
      let emptied: Instant | null = null;
      for (let day = 0; day < 60 && emptied === null; day += 1) {
        if (day === 3) forecast = emptyAt(forecastEmpty(hopper, settings, minuteAfter(dawn, day * 1440)));
        const weather = Math.max(0.2, random.normal(1, 0.25));
        for (let minute = 0; minute < 600 && emptied === null; minute += 1) {
          if (random.uniform() >= (flock * weather) / 600) continue;
          const at = minuteAfter(dawn, day * 1440 + minute);
          truth -= Math.max(0, random.normal(mean, 2));
          if (truth <= 0) emptied = at;
          hopper = updateHopperByPortion(hopper, portionAt(at), settings);
        }
        hopper = updateHopperUntil(hopper, minuteAfter(dawn, (day + 1) * 1440), settings);
      }
      if (!forecast || emptied === null) throw new Error(`seed ${seed} never emptied its hopper`);
      before = {
        p10: before.p10 + (emptied < forecast.p10 ? 1 : 0),
        p50: before.p50 + (emptied < forecast.p50 ? 1 : 0),
        p90: before.p90 + (emptied < forecast.p90 ? 1 : 0),
      };
    }
    const share = { p10: before.p10 / runs, p50: before.p50 / runs, p90: before.p90 / runs };
    // Three standard errors of a share of 150 runs: 0.07 at the ends, 0.12 in the middle.
    expect(share.p10, JSON.stringify(share)).toBeLessThan(0.18);
    expect(share.p50, JSON.stringify(share)).toBeGreaterThan(0.36);
    expect(share.p50, JSON.stringify(share)).toBeLessThan(0.64);
    expect(share.p90, JSON.stringify(share)).toBeGreaterThan(0.82);
  });

  it("is always in order and within the calendar (property)", () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 0, max: 6 }),
        fc.integer({ min: 0, max: 120 }),
        fc.nat(1_000),
        (count, perDay, seed) => {
          const now = minuteAfter(dawn, count * 1440);
          const forecast = forecastEmpty(fed(count, perDay, seed), settings, now);
          if (forecast.kind !== "emptyAt") return;
          expect(forecast.p10).toBeLessThanOrEqual(forecast.p50);
          expect(forecast.p50).toBeLessThanOrEqual(forecast.p90);
          expect(inDays((forecast.p90 - now) as Span)).toBeLessThan(367);
        },
      ),
      { numRuns: 40 },
    );
  });
});

describe("the forecast in words", () => {
  const now = instantOf("2026-11-02T09:00:00Z"); // Monday, 10:00 in Stockholm
  const words = (p10: string, p50: string, p90: string) =>
    runOutText({ kind: "emptyAt", p10: instantOf(p10), p50: instantOf(p50), p90: instantOf(p90) }, zone, now);

  it("names the day until which there is enough", () => {
    expect(words("2026-11-05T13:00:00Z", "2026-11-06T13:00:00Z", "2026-11-08T13:00:00Z")).toBe(
      "very likely enough until Thursday",
    );
    expect(words("2026-11-19T13:00:00Z", "2026-11-22T13:00:00Z", "2026-11-28T13:00:00Z")).toBe(
      "very likely enough until 19 November",
    );
  });

  it("names the part of the day when it is near", () => {
    expect(words("2026-11-02T16:30:00Z", "2026-11-02T17:30:00Z", "2026-11-02T19:00:00Z")).toBe("empty by this evening");
    expect(words("2026-11-02T13:00:00Z", "2026-11-03T07:00:00Z", "2026-11-03T13:00:00Z")).toBe(
      "may be empty by this afternoon, probably by tomorrow morning",
    );
  });

  it("states since when it has been empty", () => {
    const since = instantOf("2026-11-01T15:00:00Z");
    expect(runOutText({ kind: "emptyAt", p10: since, p50: since, p90: since }, zone, now)).toBe(
      "empty since yesterday afternoon",
    );
  });

  it("is honest about what it doesn't know", () => {
    expect(runOutText({ kind: "unknown", missing: "level" }, zone, now)).toBe("food level not known: enter a refill");
    expect(runOutText({ kind: "unknown", missing: "appetite" }, zone, now)).toBe("not enough data for a forecast");
    expect(runOutText({ kind: "unknown", missing: "reports" }, zone, now)).toBe("not known without reports");
  });
});

describe("a hopper that the keeper found empty", () => {
  it("is empty since then, until it is filled again", () => {
    const found = minuteAfter(dawn, 5);
    const empty = updateHopperByRefill(
      initialHopper(settings, dawn),
      { at: found, what: { kind: "level", grams: grams(0) } },
      settings,
    );
    expect(forecastEmpty(empty, settings, minuteAfter(dawn, 60))).toEqual({
      kind: "emptyAt",
      p10: found,
      p50: found,
      p90: found,
    });
    const again = updateHopperByRefill(empty, { at: minuteAfter(dawn, 70), what: { kind: "filled" } }, settings);
    expect(forecastEmpty(again, settings, minuteAfter(dawn, 80)).kind).toBe("unknown");
  });
});

describe("a time that has passed", () => {
  const weighed = rowanSettings({ scale: true });
  /** Refilled to 400 g of 2 kg, and portions of 8 g every 20 minutes of light until `left` g are on the scale, which is off by `off` g. */
  const sunk = (left: number, off: number) => {
    let hopper = initialHopper(weighed, dawn);
    let now = dawn;
    let grains = 400;
    for (let minute = 0; grains > left; minute += 5) {
      now = minuteAfter(dawn, minute);
      if (minute % 20 === 0 && minute % 1440 < 600) {
        grains -= 8;
        hopper = updateHopperByPortion(hopper, portionAt(now), weighed);
      }
      hopper = updateHopperByWeighing(hopper, grams(grains + off), now, weighed).hopper;
    }
    return { hopper, now };
  };

  it("is never told while food may still come, however little the scale shows (property)", () => {
    let asGoodAsEmpty = 0;
    fc.assert(
      fc.property(
        fc.integer({ min: 8, max: 100 }),
        fc.integer({ min: -45, max: 45 }),
        fc.integer({ min: 5, max: 3_000 }),
        (left, off, minutes) => {
          const { hopper, now } = sunk(left, off);
          const later = minuteAfter(now, minutes);
          if (hopper.emptySince !== null) asGoodAsEmpty += 1;
          const forecast = forecastEmpty(hopper, weighed, later);
          if (forecast.kind !== "emptyAt") return;
          expect(forecast.p10).toBeGreaterThanOrEqual(later);
          expect(forecast.p90).toBeGreaterThan(later);
        },
      ),
      { numRuns: 60 },
    );
    expect(asGoodAsEmpty, "the property must reach the case it guards").toBeGreaterThan(5);
  });

  it("is told once nothing came any more, and is then the moment since when", () => {
    let { hopper, now } = sunk(16, 0);
    const since = minuteAfter(now, 3 * 20); // the third in a row is no coincidence
    for (let portion = 0; portion < 6; portion += 1) {
      const before = forecastEmpty(hopper, weighed, now);
      if (before.kind === "emptyAt") expect(before.p50).toBeGreaterThanOrEqual(now);
      now = minuteAfter(now, 20);
      hopper = updateHopperByPortion(hopper, portionAt(now, { chuteCount: 0 }), weighed);
    }
    const forecast = forecastEmpty(hopper, weighed, minuteAfter(now, 60));
    expect(forecast).toEqual({ kind: "emptyAt", p10: since, p50: since, p90: since });
  });
});
