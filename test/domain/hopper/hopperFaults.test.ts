import { describe, expect, it } from "vitest";
import type { FeederSettings } from "../../../server/domain/feeder.ts";
import { hopperFaults } from "../../../server/domain/hopper/hopperFaults.ts";
import {
  dispensed,
  type HopperState,
  heardThrough,
  refilled,
  unknownHopper,
  weighed,
} from "../../../server/domain/hopper/level.ts";
import { forecastEmpty } from "../../../server/domain/hopper/runOut.ts";
import { days, type Span } from "../../../server/domain/instant.ts";
import { grams } from "../../../server/domain/units.ts";
import { dawn, minuteAfter, portionAt, rowan, seeded } from "./rowan.ts";

const scaled = rowan();
const reckoned = rowan({ scale: false });
const kinds = (hopper: HopperState, settings: FeederSettings, minute: number, stands = false) =>
  hopperFaults(hopper, settings, minuteAfter(dawn, minute), stands).map((fault) => fault.kind);

const weighedAt = (hopper: HopperState, reading: number, minute: number) =>
  weighed(hopper, grams(reading), minuteAfter(dawn, minute), scaled).hopper;

describe("food out", () => {
  it("is found by a scale that reads next to nothing, and says so", () => {
    const hopper = weighedAt(weighedAt(unknownHopper(scaled, dawn), 6, 0), 5, 1);
    const [fault] = hopperFaults(hopper, scaled, minuteAfter(dawn, 1));
    expect(fault?.kind).toBe("foodOut");
    expect(fault?.reason).toMatch(/^The hopper is empty by the scale: at most \d+ g are left, since this morning\.$/);
    expect(fault?.evidence.length).toBeGreaterThan(0);
  });

  it("doesn't flicker at the border, and clears with a refill", () => {
    let hopper = weighedAt(unknownHopper(scaled, dawn), 10, 0);
    const random = seeded(3);
    for (let minute = 1; minute < 500; minute += 1) {
      hopper = weighedAt(hopper, 14 + random.normal(0, 6), minute);
      expect(kinds(hopper, scaled, minute)).toEqual(["foodOut"]);
    }
    hopper = weighedAt(weighedAt(hopper, 900, 500), 900, 501);
    expect(kinds(hopper, scaled, 501)).toEqual([]);
  });

  it("isn't claimed of a level that nobody knows", () => {
    expect(kinds(unknownHopper(scaled, dawn), scaled, 0)).toEqual([]);
  });
});

describe("food low", () => {
  /** Thirty portions a day by reckoning. */
  const fed = (wholeDays: number) => {
    let hopper = heardThrough(
      refilled(unknownHopper(reckoned, dawn), { at: dawn, what: { kind: "filled" } }, reckoned),
      dawn,
    );
    for (let portion = 0; portion < wholeDays * 30; portion += 1) {
      const minute = Math.floor(portion / 30) * 1440 + (portion % 30) * 20;
      hopper = dispensed(hopper, portionAt(minuteAfter(dawn, minute)), reckoned);
    }
    return heardThrough(hopper, minuteAfter(dawn, wholeDays * 1440));
  };

  it("is told when the hopper may be empty within the span that the keeper set, and not before", () => {
    let first: number | null = null;
    for (let day = 1; day <= 8 && first === null; day += 1) {
      const forecast = forecastEmpty(fed(day), reckoned, minuteAfter(dawn, day * 1440));
      const due = forecast.kind === "emptyAt" && forecast.p10 - minuteAfter(dawn, day * 1440) <= days(2);
      expect(kinds(fed(day), reckoned, day * 1440)).toEqual(due ? ["foodLow"] : []);
      if (due) first = day;
    }
    expect(first).not.toBeNull();
    expect(first).toBeGreaterThan(3);
  });

  it("once it stands, takes a quarter more to clear", () => {
    const hopper = fed(4);
    const now = minuteAfter(dawn, 4 * 1440);
    const forecast = forecastEmpty(hopper, reckoned, now);
    if (forecast.kind !== "emptyAt") throw new Error("expected a time");
    const justAbove = rowan({ scale: false }, { warnAhead: ((forecast.p10 - now) / 1.1) as Span });
    expect(kinds(hopper, justAbove, 4 * 1440, false)).toEqual([]);
    expect(kinds(hopper, justAbove, 4 * 1440, true)).toEqual(["foodLow"]);
  });

  it("goes by the level alone while the appetite isn't known", () => {
    expect(kinds(weighedAt(unknownHopper(scaled, dawn), 150, 0), scaled, 0)).toEqual(["foodLow"]);
    expect(kinds(weighedAt(unknownHopper(scaled, dawn), 500, 0), scaled, 0)).toEqual([]);
  });

  it("is told in words with rounded numbers", () => {
    const [fault] = hopperFaults(weighedAt(unknownHopper(scaled, dawn), 153.27, 0), scaled, dawn);
    expect(fault?.reason).toBe(
      "About 150 g are left, less than a tenth of the hopper. It is too early to say how long that lasts.",
    );
  });
});

describe("a healthy hopper", () => {
  it("raises no false alarm over thousands of portions, refilled each time a fifth is left", () => {
    const random = seeded(11);
    const settings = rowan({}, { warnAhead: days(0.5) });
    let truth = 1_900;
    let hopper = weighed(unknownHopper(settings, dawn), grams(truth), dawn, settings).hopper;
    let portions = 0;
    for (let minute = 1; portions < 3_000; minute += 1) {
      const day = minute % 1440 < 600;
      if (day && random.uniform() < 0.06) {
        truth -= Math.max(0, random.normal(8.5, 2));
        hopper = dispensed(hopper, portionAt(minuteAfter(dawn, minute)), settings);
        portions += 1;
      }
      if (truth < 700 && minute % 1440 === 300) {
        truth = 1_900;
      }
      const bird = day && random.uniform() < 0.05 ? 300 : 0;
      const drift = 8 * Math.sin((minute / 1440) * 2 * Math.PI);
      hopper = weighed(
        hopper,
        grams(truth + bird + drift + random.normal(0, 2)),
        minuteAfter(dawn, minute),
        settings,
      ).hopper;
      if (minute % 10 === 0) {
        expect(
          hopperFaults(hopper, settings, minuteAfter(dawn, minute)),
          `seed 11, minute ${minute}, ${truth} g`,
        ).toEqual([]);
      }
    }
  });
});
