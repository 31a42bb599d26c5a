import { describe, expect, it } from "vitest";
import {
  type HopperState,
  hopperLevel,
  initialHopper,
  learntPortion,
  updateHopperByPortion,
  updateHopperUntil,
} from "../../../server/domain/hopper/level.ts";
import { updateHopperByRefill } from "../../../server/domain/hopper/refill.ts";
import { fullScale, slopeDeviation } from "../../../server/domain/hopper/scaleModel.ts";
import { updateHopperByWeighing } from "../../../server/domain/hopper/weighing.ts";
import type { Instant } from "../../../server/domain/instant.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { celsius, grams } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { dawn, minuteAfter, portionAt, rowanSettings } from "./rowan.ts";

const settings = rowanSettings();

/** A hopper on a load cell outdoors, reported each minute: what is true beside what is estimated. */
function outdoors(start: number, seed: number, feeder: FeederSettings = settings) {
  const random = seededRandom(seed);
  const truth = { grams: start, slope: 0, celsius: 5, snow: 0, bird: 0, away: false };
  const found: { readonly grams: number; readonly minute: number }[] = [];
  let hopper: HopperState = initialHopper(feeder, dawn);
  let minute = 0;
  const at = (): Instant => minuteAfter(dawn, minute);
  const pass = (minutes: number, each: (minute: number) => void = () => {}) => {
    for (let passed = 0; passed < minutes; passed += 1) {
      minute += 1;
      each(minute);
      if (truth.away) continue;
      const drift = truth.slope * (truth.celsius - 12);
      const reading = truth.grams + drift + truth.snow + truth.bird + random.normal(0, 1.5);
      const around = { air: celsius(truth.celsius), inside: celsius(truth.celsius), lid: celsius(truth.celsius) };
      hopper = updateHopperUntil(hopper, at(), feeder);
      const next = updateHopperByWeighing(hopper, grams(reading), at(), feeder, around);
      if (next.foundRefill !== null) found.push({ grams: next.foundRefill, minute });
      hopper = next.hopper;
    }
  };
  const feed = () => {
    truth.grams -= Math.max(0, random.normal(8, 1.5));
    hopper = updateHopperByPortion(hopper, portionAt(at()), feeder);
  };
  const off = () => (hopperLevel(hopper, feeder)?.grams ?? Number.NaN) - truth.grams;
  const holds = () => {
    const level = hopperLevel(hopper, feeder);
    return level !== null && level.low <= truth.grams && truth.grams <= level.high;
  };
  return { truth, found, pass, feed, off, holds, random, hopper: () => hopper, minute: () => minute };
}

describe("what a cell's zero does with the temperature", () => {
  it("is expected between a data sheet's and a design note's word (checks lc-datasheet, lc-drift-scaled, lc-pessimistic)", () => {
    // lc-datasheet and lc-drift-scaled: 0.05 % of full scale per 10 °C, so 1 g over 40 °C on a 500 g cell, 10 g on 5 kg.
    const dataSheet = (0.05 / 100 / 10) * fullScale(settings);
    expect((dataSheet / fullScale(settings)) * 500 * 40).toBeCloseTo(1, 9);
    expect((dataSheet / fullScale(settings)) * 5_000 * 40).toBeCloseTo(10, 9);
    // lc-pessimistic: 0.02 to 0.05 % of full scale a degree, so 4 to 10 g over 20 °C on 1 kg.
    const designNote = [0.02, 0.05].map((share) => (share / 100) * fullScale(settings));
    expect(designNote.map((slope) => (slope / fullScale(settings)) * 1_000 * 20)).toEqual([4, 10]);
    expect(slopeDeviation(settings)).toBeGreaterThan(dataSheet);
    expect(slopeDeviation(settings)).toBeLessThan(designNote[1] ?? 0);
  });

  it("is learnt in two nights, and taken for no meal", () => {
    const house = outdoors(1_200, 1);
    house.truth.slope = 1.2;
    house.pass(2 * 1440, (minute) => {
      house.truth.celsius = 2 + 8 * Math.cos((2 * Math.PI * (minute - 480)) / 1440);
      if (minute % 1440 < 540 && minute % 20 === 0) house.feed();
    });
    expect(Math.abs(house.hopper().estimate.slope - 1.2)).toBeLessThan(0.3);
    expect(house.holds()).toBe(true);
    expect(Math.abs(learntPortion(house.hopper()).mean - 8)).toBeLessThan(0.8);
    expect(house.found).toEqual([]);
  });
});

describe("snow on the lid", () => {
  it("that falls through a night is no food, stays no food, and none is lost when it slides", () => {
    const house = outdoors(900, 2);
    house.truth.celsius = -4;
    house.pass(24 * 60, (minute) => {
      if (minute < 540 && minute % 20 === 0) house.feed();
    });
    house.pass(6 * 60, () => {
      house.truth.snow += 12 / 60;
    });
    expect(Math.abs(house.off())).toBeLessThan(20);
    house.pass(10 * 60, (minute) => {
      if (minute % 20 === 0) house.feed();
    });
    expect(Math.abs(house.off())).toBeLessThan(25);
    house.truth.snow = 0;
    house.pass(10);
    expect(Math.abs(house.off())).toBeLessThan(25);
    expect(house.holds()).toBe(true);
    expect(house.found).toEqual([]);
  });

  it("that thaws away takes no food with it", () => {
    const house = outdoors(900, 3);
    house.truth.celsius = -2;
    house.pass(12 * 60, (minute) => {
      if (minute < 540 && minute % 20 === 0) house.feed();
    });
    house.pass(5 * 60, () => {
      house.truth.snow += 12 / 60;
    });
    house.truth.celsius = 3;
    house.pass(4 * 60, () => {
      house.truth.snow = Math.max(0, house.truth.snow - 40 / 60);
    });
    house.pass(8 * 60);
    expect(Math.abs(house.off())).toBeLessThan(35);
    expect(house.holds()).toBe(true);
  });
});

describe("a refill that nobody entered", () => {
  it("is found within ten minutes, also a partial one that rain can't be", () => {
    for (const poured of [250, 400, 900]) {
      const house = outdoors(600, 4);
      house.pass(300);
      const begun = house.minute();
      house.truth.grams += poured;
      house.pass(15);
      expect(house.found, `${poured} g`).toHaveLength(1);
      expect(house.found[0]?.minute, `${poured} g`).toBeLessThanOrEqual(begun + 10);
      expect(Math.abs((house.found[0]?.grams ?? 0) - poured)).toBeLessThan(20);
      expect(house.holds()).toBe(true);
    }
  });

  it("is found after the server was away while it was poured in", () => {
    const house = outdoors(600, 5);
    house.pass(300);
    house.truth.away = true;
    house.pass(6 * 60);
    house.truth.grams += 700;
    house.pass(60);
    house.truth.away = false;
    house.pass(10);
    expect(house.found).toHaveLength(1);
    expect(house.holds()).toBe(true);
  });

  it("isn't seen in birds that sit there for up to four minutes, however still", () => {
    const house = outdoors(600, 6);
    let leaves = 0;
    house.pass(5 * 1440, (minute) => {
      const bySun = minute % 1440 < 540;
      if (house.truth.bird > 0 && minute >= leaves) house.truth.bird = 0;
      else if (house.truth.bird === 0 && bySun && house.random.uniform() < 0.05) {
        house.truth.bird = 180 + 320 * house.random.uniform();
        leaves = minute + 1 + Math.floor(4 * house.random.uniform());
      }
    });
    expect(house.found).toEqual([]);
    expect(Math.abs(house.off())).toBeLessThan(15);
  });
});

describe("a hopper that is only reckoned from portions", () => {
  it("learns what a portion weighs when it has run dry and is filled again", () => {
    const reckoned = rowanSettings({ scale: false });
    let truth = 2_000;
    let hopper = updateHopperByRefill(initialHopper(reckoned, dawn), { at: dawn, what: { kind: "filled" } }, reckoned);
    let minute = 0;
    for (let dry = 0; dry < 6; minute += 10) {
      const fell = Math.min(truth, 9.5);
      truth -= fell;
      if (fell === 0) dry += 1;
      hopper = updateHopperByPortion(
        hopper,
        portionAt(minuteAfter(dawn, minute + 1), { chuteCount: fell > 0 ? 3 : 0 }),
        reckoned,
      );
    }
    hopper = updateHopperByRefill(hopper, { at: minuteAfter(dawn, minute + 60), what: { kind: "filled" } }, reckoned);
    expect(Math.abs(learntPortion(hopper).mean - 9.5)).toBeLessThan(1); // how full "filled" was is known to an eighth
    expect(Math.abs((hopperLevel(hopper, reckoned)?.grams ?? 0) - 2_000)).toBeLessThan(200);
  });

  it("isn't believed empty by a jam while much is left", () => {
    const reckoned = rowanSettings({ scale: false });
    let hopper = updateHopperByRefill(initialHopper(reckoned, dawn), { at: dawn, what: { kind: "filled" } }, reckoned);
    for (let minute = 1; minute <= 20; minute += 1)
      hopper = updateHopperByPortion(hopper, portionAt(minuteAfter(dawn, minute)), reckoned);
    const before = learntPortion(hopper).mean;
    for (let minute = 21; minute <= 30; minute += 1)
      hopper = updateHopperByPortion(hopper, portionAt(minuteAfter(dawn, minute), { chuteCount: 0 }), reckoned);
    hopper = updateHopperByRefill(hopper, { at: minuteAfter(dawn, 60), what: { kind: "filled" } }, reckoned);
    expect(learntPortion(hopper).mean).toBeCloseTo(before, 1);
  });
});
