import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { forecastEmpty, mayBeEmptyWithin } from "../../../server/domain/hopper/emptyForecast.ts";
import { hopperFaults, needsRefillToday, updateHopperForecast } from "../../../server/domain/hopper/hopperFaults.ts";
import {
  type HopperState,
  initialHopper,
  updateHopperByPortion,
  updateHopperUntil,
} from "../../../server/domain/hopper/level.ts";
import { updateHopperByRefill } from "../../../server/domain/hopper/refill.ts";
import { updateHopperByWeighing } from "../../../server/domain/hopper/weighing.ts";
import { days, type Instant, type Span } from "../../../server/domain/instant.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { grams } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { dawn, minuteAfter, portionAt, rowanSettings } from "./rowan.ts";

const scaled = rowanSettings();
const reckoned = rowanSettings({ scale: false });
const found = (hopper: HopperState, settings: FeederSettings, at: Instant, since: Instant | null = null) =>
  hopperFaults(hopper, settings, at, updateHopperForecast(null, hopper, settings, at, since));
const kinds = (hopper: HopperState, settings: FeederSettings, minute: number, since: Instant | null = null) =>
  found(hopper, settings, minuteAfter(dawn, minute), since).map((fault) => fault.kind);

const weighedAt = (hopper: HopperState, reading: number, minute: number) =>
  updateHopperByWeighing(hopper, grams(reading), minuteAfter(dawn, minute), scaled).hopper;

describe("hopper empty", () => {
  it("is found by a scale that reads next to nothing, and states so", () => {
    const hopper = weighedAt(weighedAt(initialHopper(scaled, dawn), 6, 0), 5, 1);
    const [fault] = found(hopper, scaled, minuteAfter(dawn, 1));
    expect(fault?.kind).toBe("foodOut");
    expect(fault?.reason).toMatch(
      /^The hopper is as good as empty by the scale: at most \d+ g are left, since this morning\.$/,
    );
    expect(fault?.evidence.length).toBeGreaterThan(0);
  });

  it("doesn't flicker at the border, and clears with a refill", () => {
    let hopper = weighedAt(initialHopper(scaled, dawn), 10, 0);
    const random = seededRandom(3);
    for (let minute = 1; minute < 500; minute += 1) {
      hopper = weighedAt(hopper, 14 + random.normal(0, 6), minute);
      expect(kinds(hopper, scaled, minute)).toEqual(["foodOut"]);
    }
    for (let minute = 500; minute <= 503; minute += 1) hopper = weighedAt(hopper, 900, minute);
    expect(kinds(hopper, scaled, 503)).toEqual([]);
  });

  it("isn't claimed of a level that nobody knows", () => {
    expect(kinds(initialHopper(scaled, dawn), scaled, 0)).toEqual([]);
  });
});

describe("food low", () => {
  /** Thirty portions a day by reckoning. */
  const fed = (wholeDays: number) => {
    let hopper = updateHopperUntil(
      updateHopperByRefill(initialHopper(reckoned, dawn), { at: dawn, what: { kind: "filled" } }, reckoned),
      dawn,
      reckoned,
    );
    for (let portion = 0; portion < wholeDays * 30; portion += 1) {
      const minute = Math.floor(portion / 30) * 1440 + (portion % 30) * 20;
      hopper = updateHopperByPortion(hopper, portionAt(minuteAfter(dawn, minute)), reckoned);
    }
    return updateHopperUntil(hopper, minuteAfter(dawn, wholeDays * 1440), reckoned);
  };

  it("is raised when the hopper may be empty within the span that the keeper set and probably is within two, and not before", () => {
    let first: number | null = null;
    for (let day = 1; day <= 8 && first === null; day += 1) {
      const forecast = forecastEmpty(fed(day), reckoned, minuteAfter(dawn, day * 1440));
      const now = minuteAfter(dawn, day * 1440);
      const due = forecast.kind === "emptyAt" && forecast.p10 - now <= days(2) && forecast.p50 - now <= days(4);
      expect(kinds(fed(day), reckoned, day * 1440)).toEqual(due ? ["foodLow"] : []);
      if (due) first = day;
    }
    expect(first).not.toBeNull();
    expect(first).toBeGreaterThan(3);
  });

  it("once it stands, takes twice the span to clear until somebody refills, then a quarter more", () => {
    const hopper = fed(4);
    const now = minuteAfter(dawn, 4 * 1440);
    const forecast = forecastEmpty(hopper, reckoned, now);
    if (forecast.kind !== "emptyAt") throw new Error("expected a time");
    const warning = (share: number) =>
      rowanSettings({ scale: false }, { foodWarningAhead: ((forecast.p10 - now) / share) as Span });
    const since = minuteAfter(dawn, 3 * 1440);
    expect(kinds(hopper, warning(1.1), 4 * 1440)).toEqual([]);
    expect(kinds(hopper, warning(1.9), 4 * 1440, since)).toEqual(["foodLow"]);
    expect(kinds(hopper, warning(2.1), 4 * 1440, since)).toEqual([]);
    const filledSince: HopperState = { ...hopper, refillReportedAt: minuteAfter(dawn, 3 * 1440 + 1) };
    expect(kinds(filledSince, warning(1.1), 4 * 1440, since)).toEqual(["foodLow"]);
    expect(kinds(filledSince, warning(1.4), 4 * 1440, since)).toEqual([]);
  });

  it("goes by the level alone while the appetite isn't known", () => {
    expect(kinds(weighedAt(initialHopper(scaled, dawn), 150, 0), scaled, 0)).toEqual(["foodLow"]);
    expect(kinds(weighedAt(initialHopper(scaled, dawn), 500, 0), scaled, 0)).toEqual([]);
  });

  it("is forecast again after ten minutes, and at once where the level, the alarm or the hopper's end requires it", () => {
    const now = minuteAfter(dawn, 4 * 1440);
    const hopper = fed(4);
    const seen = updateHopperForecast(null, hopper, reckoned, now, null);
    const later = (minute: number, changed: HopperState = hopper, since: Instant | null = null) =>
      updateHopperForecast(seen, changed, reckoned, minuteAfter(now, minute), since);
    expect(later(9)).toBe(seen);
    expect(later(10)).not.toBe(seen);
    const sunk = (share: number) => {
      const drop = share * reckoned.hopperCapacity;
      return { ...hopper, hypotheses: hopper.hypotheses.map((each) => ({ ...each, level: each.level - drop })) };
    };
    expect(later(1, sunk(0.019))).toBe(seen);
    expect(later(1, sunk(0.025))).not.toBe(seen); // what is below nothing is cut off, so the level as told falls by a little less
    expect(later(1, hopper, minuteAfter(dawn, 1))).not.toBe(seen);
    expect(later(1, { ...hopper, emptySince: now })).toBeNull();
  });

  it("is asked for by the digest a day and a half before the alarm, so that whoever follows it gets no alarm", () => {
    const asked: number[] = [];
    const rang: number[] = [];
    for (let quarter = 4; quarter <= 40; quarter += 1) {
      const day = quarter / 4;
      const at = minuteAfter(dawn, day * 1440);
      const hopper = updateHopperUntil(fed(Math.floor(day)), at, reckoned);
      if (needsRefillToday(hopper, reckoned, at)) asked.push(day);
      if (found(hopper, reckoned, at).length > 0) rang.push(day);
    }
    expect((rang[0] ?? 0) - (asked[0] ?? 0)).toBeGreaterThanOrEqual(1.25);
    expect(asked[0]).toBeGreaterThan(1); // not from the first day on
  });

  it("is described with rounded numbers", () => {
    const [fault] = found(weighedAt(initialHopper(scaled, dawn), 153.27, 0), scaled, dawn);
    expect(fault?.reason).toBe(
      "About 150 g are left, less than a tenth of the hopper. Not enough data for a forecast.",
    );
  });
});

describe("a new feeder's first days", () => {
  interface FirstDays {
    readonly perHour: number; // portions, from 07 to 15 UTC
    readonly lasts: number; // days until it is truly empty
    readonly begun: number; // the hour (UTC) at which watching begins
    readonly hours: number; // watched for so long
    readonly placed: boolean;
    readonly seed: number;
  }
  /** The hour after which food low is first raised, computed from portions alone; null where it isn't. */
  const firstTold = ({ perHour, lasts, begun, hours, placed, seed }: FirstDays) => {
    const capacity = grams(8 * 8 * perHour * lasts);
    const settings = rowanSettings({ scale: false }, { hopperCapacity: capacity, ...(placed ? {} : { place: null }) });
    const random = seededRandom(seed);
    const from = minuteAfter(dawn, 60 * (begun - 6));
    const full = { at: from, what: { kind: "level", grams: capacity } } as const;
    let hopper = updateHopperUntil(updateHopperByRefill(initialHopper(settings, from), full, settings), from, settings);
    for (let minute = 1; minute <= 60 * hours; minute += 1) {
      const at = minuteAfter(from, minute);
      const hour = new Date(at).getUTCHours();
      if (hour >= 7 && hour < 15 && random.uniform() < perHour / 60)
        hopper = updateHopperByPortion(hopper, portionAt(at), settings);
      if (minute % 10 !== 0) continue;
      hopper = updateHopperUntil(hopper, at, settings);
      if (found(hopper, settings, at).length > 0) return minute / 60;
    }
    return null;
  };
  const everyFirstDay = (more: Pick<FirstDays, "lasts" | "hours">): readonly FirstDays[] =>
    [true, false].flatMap((placed) =>
      [4, 10, 20].flatMap((perHour) =>
        [0, 7, 10, 13, 20].flatMap((begun) => [1, 2, 3, 4].map((seed) => ({ ...more, placed, perHour, begun, seed }))),
      ),
    );

  it("raise no alarm for a hopper that lasts for days beyond the warning, few birds or many, whenever watching begins", () => {
    for (const first of [...everyFirstDay({ lasts: 6.5, hours: 24 }), ...everyFirstDay({ lasts: 9, hours: 60 })]) {
      expect(firstTold(first), JSON.stringify(first)).toBeNull();
    }
  });

  it("tell within the first day of one that is truly empty before the warning ends", () => {
    for (const first of everyFirstDay({ lasts: 1.5, hours: 24 })) {
      expect(firstTold(first), JSON.stringify(first)).not.toBeNull();
    }
  });
});

describe("the cheap look ahead", () => {
  it("never states a time further ahead than the forecast (property)", () => {
    let far = 0;
    let due = 0;
    fc.assert(
      fc.property(
        fc.noBias(fc.integer({ min: 60, max: 4_000 })), // minutes watched
        fc.noBias(fc.integer({ min: 0, max: 20 })), // portions in ten hours, also at night
        fc.noBias(fc.integer({ min: 20, max: 2_000 })), // g
        fc.noBias(fc.integer({ min: 1, max: 80 })), // tenths of a day ahead
        fc.constantFrom(0.1, 0.5),
        fc.constantFrom(true, false),
        fc.nat(1_000),
        (minutesWatched, perTenHours, poured, tenths, chance, placed, seed) => {
          const ahead = tenths / 10;
          const random = seededRandom(seed);
          const settings = placed ? reckoned : rowanSettings({ scale: false }, { place: null });
          const refill = { at: dawn, what: { kind: "level", grams: grams(poured) } } as const;
          let hopper = updateHopperUntil(
            updateHopperByRefill(initialHopper(settings, dawn), refill, settings),
            dawn,
            settings,
          );
          for (let minute = 10; minute < minutesWatched; minute += 10) {
            const at = minuteAfter(dawn, minute);
            if (random.uniform() < perTenHours / 60) hopper = updateHopperByPortion(hopper, portionAt(at), settings);
          }
          const now = minuteAfter(dawn, minutesWatched);
          hopper = updateHopperUntil(hopper, now, settings);
          const within = mayBeEmptyWithin(hopper, settings, days(ahead), chance, now);
          const forecast = forecastEmpty(hopper, settings, now);
          if (forecast.kind !== "emptyAt") {
            expect(within).toBe(forecast.kind === "unknown");
            return;
          }
          const foreseen = (chance === 0.1 ? forecast.p10 : forecast.p50) - now;
          if (foreseen <= days(ahead)) expect(within).toBe(true);
          if (within) due += 1;
          else far += 1;
          // Nor does it waste the exact answer on what is far: beyond the whole day it looks to, with some room.
          if (foreseen > days(1.1 * Math.ceil(ahead) + 1)) expect(within).toBe(false);
        },
      ),
      { numRuns: 400 },
    );
    expect(far).toBeGreaterThan(50);
    expect(due).toBeGreaterThan(50);
  });
});

describe("a healthy hopper", () => {
  it("raises no false alarm over thousands of portions, refilled each time a fifth is left", () => {
    const random = seededRandom(11);
    const settings = rowanSettings({}, { foodWarningAhead: days(0.5) });
    let truth = 1_900;
    let hopper = updateHopperByWeighing(initialHopper(settings, dawn), grams(truth), dawn, settings).hopper;
    let portions = 0;
    for (let minute = 1; portions < 3_000; minute += 1) {
      const day = minute % 1440 < 600;
      if (day && random.uniform() < 0.06) {
        truth -= Math.max(0, random.normal(8.5, 2));
        hopper = updateHopperByPortion(hopper, portionAt(minuteAfter(dawn, minute)), settings);
        portions += 1;
      }
      if (truth < 700 && minute % 1440 === 300) {
        truth = 1_900;
      }
      const bird = day && random.uniform() < 0.05 ? 300 : 0;
      const drift = 8 * Math.sin((minute / 1440) * 2 * Math.PI);
      hopper = updateHopperByWeighing(
        hopper,
        grams(truth + bird + drift + random.normal(0, 2)),
        minuteAfter(dawn, minute),
        settings,
      ).hopper;
      if (minute % 10 === 0) {
        expect(found(hopper, settings, minuteAfter(dawn, minute)), `seed 11, minute ${minute}, ${truth} g`).toEqual([]);
      }
    }
  });
});
