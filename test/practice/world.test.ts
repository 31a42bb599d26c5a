import fc from "fast-check";
import { describe, expect, it } from "vitest";
import type { PracticeFault } from "../../server/contract/api.ts";
import { condensationKind, vapourPressure } from "../../server/domain/cold/psychrometrics.ts";
import {
  days,
  hours,
  type Instant,
  instantOf,
  after as plus,
  type Span,
  seconds,
} from "../../server/domain/instant.ts";
import type { Place } from "../../server/domain/settings.ts";
import { celsius, humidityPercent } from "../../server/domain/units.ts";
import { terminalVolts } from "../../server/practice/model/battery.ts";
import { isCivilDaylight } from "../../server/practice/model/light.ts";
import { mildClimate, weatherAt as modelWeatherAt, type Weather } from "../../server/practice/model/weather.ts";
import { hashedRandom, seededRandom } from "../../server/practice/random.ts";
import {
  advanceWorld,
  conditionsAt,
  foodGrams,
  newWorld,
  portionRun,
  readSensors,
  runMotor,
  weigh,
  withFault,
} from "../../server/practice/world.ts";
import { larch, practiceYard, rowan } from "../../server/practice/yard.ts";

const winter = instantOf("2026-01-15T12:00:00Z");
const place = practiceYard.place;
const weatherAt = (seed: number, yard: Place, at: Instant): Weather => modelWeatherAt(seed, yard, at, mildClimate);

/** Frost or dew on the lid and on the inside, by the domain's own rule. */
const settled = (here: Weather) => {
  const vapour = vapourPressure(celsius(here.insideCelsius), humidityPercent(here.humidityPercent));
  return [condensationKind(vapour, celsius(here.lidCelsius)), condensationKind(vapour, celsius(here.insideCelsius))];
};

describe("practice weather", () => {
  it("is cold in January, warm in July, and the same whenever it is computed", () => {
    const meanOver = (from: string) => {
      let sum = 0;
      for (let hour = 0; hour < 24 * 28; hour++)
        sum += weatherAt(7, place, plus(instantOf(from), hours(hour))).airCelsius;
      return sum / (24 * 28);
    };
    expect(meanOver("2026-01-05T00:00:00Z")).toBeLessThan(1);
    expect(meanOver("2026-07-05T00:00:00Z")).toBeGreaterThan(13);
    expect(weatherAt(7, place, winter)).toEqual(weatherAt(7, place, winter));
  });

  it("is warmest in the afternoon and coldest before the day", () => {
    const byHour = Array.from({ length: 24 }, (_, hour) => {
      let sum = 0;
      for (let day = 0; day < 60; day++) {
        sum += weatherAt(
          7,
          place,
          plus(instantOf("2026-06-01T00:00:00Z"), (days(day) + hours(hour)) as Span),
        ).airCelsius;
      }
      return sum;
    });
    expect(byHour.indexOf(Math.max(...byHour))).toBeGreaterThanOrEqual(12);
    expect(byHour.indexOf(Math.max(...byHour))).toBeLessThanOrEqual(15);
    expect(byHour.indexOf(Math.min(...byHour))).toBeLessThanOrEqual(4);
  });

  it("never lets frost or dew grow on a healthy feeder's lid", () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 2 ** 32 - 1 }), fc.integer({ min: 0, max: 365 * 24 }), (seed, hour) => {
        const here = weatherAt(seed, place, plus(instantOf("2026-01-01T00:00:00Z"), hours(hour)));
        expect(settled(here)).toEqual(["none", "none"]);
        expect(here.humidityPercent).toBeGreaterThan(25);
      }),
    );
  });

  it("has some storms and some snow in a winter", () => {
    let stormHours = 0;
    let snowHours = 0;
    for (let hour = 0; hour < 24 * 120; hour++) {
      const here = weatherAt(7, place, plus(instantOf("2025-11-15T00:00:00Z"), hours(hour)));
      if (here.windMetersPerSecond >= 14) stormHours++;
      if (here.snowing) snowHours++;
    }
    expect(stormHours / 24).toBeGreaterThan(2);
    expect(stormHours / 24).toBeLessThan(20);
    expect(snowHours).toBeGreaterThan(20);
    expect(snowHours).toBeLessThan(1_200);
  });
});

describe("practice light", () => {
  it("begins and ends with civil twilight", () => {
    // sun-alder-2026-12-21, astronomy-engine 2.1.19: civil dawn 06:49:49Z, civil dusk 14:43:50Z; two minutes of tolerance.
    expect(isCivilDaylight(place, instantOf("2026-12-21T06:47:49Z"))).toBe(false);
    expect(isCivilDaylight(place, instantOf("2026-12-21T06:51:49Z"))).toBe(true);
    expect(isCivilDaylight(place, instantOf("2026-12-21T14:41:50Z"))).toBe(true);
    expect(isCivilDaylight(place, instantOf("2026-12-21T14:45:50Z"))).toBe(false);
  });
});

describe("practice random numbers", () => {
  it("spreads evenly and is the same for the same seed", () => {
    const chance = seededRandom(3);
    const draws = Array.from({ length: 20_000 }, () => Math.floor(chance.uniform() * 20));
    const bins = Array.from({ length: 20 }, (_, bin) => draws.filter((draw) => draw === bin).length);
    // Chi-square with 19 degrees of freedom exceeds 43.8 once in a thousand.
    expect(bins.reduce((sum, count) => sum + (count - 1_000) ** 2 / 1_000, 0)).toBeLessThan(43.8);
    expect(seededRandom(3).uniform()).toBe(seededRandom(3).uniform());
    expect(seededRandom(3).uniform()).not.toBe(seededRandom(4).uniform());
    let sum = 0;
    for (let index = 0; index < 10_000; index++) sum += hashedRandom(7, 1, index);
    expect(sum / 10_000).toBeCloseTo(0.5, 1);
  });
});

describe("a practice battery", () => {
  it("shows a quarter charge of lead-acid within the band of the handbooks", () => {
    // bat-ocv-common 12.06 V (from memory) and bat-ocv-motorhome 12.15 V at rest; under load it is lower.
    expect(terminalVolts("leadAcid", 0.25, 0)).toBeGreaterThan(11.85);
    expect(terminalVolts("leadAcid", 0.25, 0)).toBeLessThan(12.15);
  });

  it("stays charged over a dark winter and never charges lithium in frost, unless that is the fault", () => {
    const random = seededRandom(1);
    let world = newWorld(rowan, 7, 2_000, winter);
    for (let hour = 0; hour < 24 * 30; hour++) {
      world = advanceWorld(world, plus(winter, hours(hour)), random);
      const here = conditionsAt(world, world.at);
      expect(world.battery.chargeShare).toBeGreaterThan(0.5);
      if (here.batteryCelsius < 0) expect(here.chargeMilliamps).toBe(0);
    }
    const broken = conditionsAt(withFault(world, "chargingInFrost"), world.at);
    expect(broken.batteryCelsius).toBeLessThan(0);
    expect(broken.chargeMilliamps).toBeGreaterThan(100);
  });
});

describe("a practice fault's conditions", () => {
  it("coldNight wets the lid with dew, then freezes it, and frost continues to grow on lid and inside", () => {
    // In any season, and by the time since the choice, not since the start of the world.
    for (const start of [winter, instantOf("2026-07-15T13:00:00Z")]) {
      const world = withFault(
        advanceWorld(newWorld(rowan, 7, 2_000, start), plus(start, hours(3)), seededRandom(1)),
        "coldNight",
      );
      const conditionsAfter = (span: Span) => conditionsAt(world, plus(world.at, span));
      for (const span of [seconds(0), seconds(14)]) {
        expect(settled(conditionsAfter(span))).toEqual(["dew", "none"]);
        expect(conditionsAfter(span).lidCelsius).toBe(1);
      }
      for (const span of [seconds(15), hours(9)]) {
        expect(settled(conditionsAfter(span))).toEqual(["frost", "frost"]);
        expect(conditionsAfter(span).lidCelsius).toBeLessThanOrEqual(-6);
      }
    }
  });

  it("weakBattery leaves no margin to the freezing point of a quarter charge", () => {
    const world = withFault(newWorld(larch, 7, 2_000, winter), "weakBattery");
    const read = readSensors(world, seededRandom(1));
    // bat-sg-soc-rolls: 25 % is a gravity of 1.155 to 1.165; bat-freeze-1.15 freezes at -15.0 °C (both quoted from source).
    expect(read.batteryCelsius).toBeLessThan(-13.5);
    expect(read.batteryVolts).toBeLessThan(12.06);
    const gravityByRule = read.batteryVolts / 6 - 0.845; // bat-ocv-sg-rule
    expect(gravityByRule).toBeLessThan(1.155);
  });

  it("a dry frost grows no frost, so that only the battery has a fault", () => {
    for (const [settings, fault] of [
      [larch, "weakBattery"],
      [rowan, "chargingInFrost"],
    ] as const) {
      const here = conditionsAt(withFault(newWorld(settings, 7, 2_000, winter), fault), winter);
      expect(settled(here)).toEqual(["none", "none"]);
    }
  });
});

describe("a practice tray", () => {
  const portions = (grams: number, count: number) => {
    const chance = seededRandom(5);
    let world = newWorld(rowan, 7, grams, winter);
    const fell: number[] = [];
    const seen: number[] = [];
    for (let index = 0; index < count; index++) {
      const { world: next, result } = runMotor(world, portionRun, chance);
      world = next;
      fell.push(result.fellGrams);
      seen.push(result.chuteCount ?? 0);
    }
    return { world, fell, seen };
  };

  it("gives portions of about 7.5 g with some spread", () => {
    const { fell } = portions(2_000, 200);
    const mean = fell.reduce((sum, mass) => sum + mass, 0) / fell.length;
    const deviation = Math.sqrt(fell.reduce((sum, mass) => sum + (mass - mean) ** 2, 0) / fell.length);
    expect(mean).toBeCloseTo(7.5, 0);
    expect(deviation).toBeGreaterThan(0.8);
    expect(deviation).toBeLessThan(1.4);
  });

  it("takes from the hopper what falls, tapers, and never gives what is not there", () => {
    const { world, fell } = portions(40, 400);
    expect(foodGrams(world)).toBeGreaterThanOrEqual(0);
    expect(foodGrams(world) + fell.reduce((sum, mass) => sum + mass, 0)).toBeCloseTo(40, 6);
    expect(fell[0]).toBeGreaterThan(fell[55] ?? 9);
    expect(fell.at(-1)).toBe(0);
  });

  it("gives a share of a portion when it is cut short", () => {
    const { result } = runMotor(newWorld(rowan, 7, 900, winter), 300 as Span, seededRandom(5));
    expect(result.fellGrams).toBeGreaterThan(1.5);
    expect(result.fellGrams).toBeLessThan(3.5);
  });

  it("distinguishes a bridge from a jam by the motor current, under a full hopper from which nothing falls", () => {
    const meanWith = (fault: PracticeFault) => {
      const chance = seededRandom(11);
      let world = withFault(newWorld(rowan, 7, 1_900, winter), fault);
      let sum = 0;
      for (let index = 0; index < 200; index++) {
        const { world: next, result } = runMotor(world, portionRun, chance);
        world = next;
        sum += result.meanMilliamps;
        if (fault !== "none") expect([result.fellGrams, result.chuteCount]).toEqual([0, 0]);
      }
      if (fault !== "none") expect(foodGrams(world)).toBe(1_900);
      return sum / 200;
    };
    const loaded = meanWith("none");
    expect(meanWith("feedBridged") / loaded).toBeCloseTo(0.94, 2);
    expect(meanWith("trayJammed") / loaded).toBeCloseTo(1.12, 2);
  });

  it("draws more in the cold", () => {
    const meanIn = (at: Instant) =>
      runMotor(newWorld(rowan, 7, 900, at), portionRun, seededRandom(5)).result.meanMilliamps;
    expect(meanIn(winter)).toBeGreaterThan(meanIn(instantOf("2026-07-15T13:00:00Z")));
  });
});

describe("a practice load cell", () => {
  it("shows what is in the hopper to within its drift and noise", () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 0, max: rowan.hopperCapacityGrams }),
        fc.integer({ min: 0, max: 1_000 }),
        (grams, seed) => {
          const shown = weigh(newWorld(rowan, seed, grams, winter), seededRandom(seed));
          expect(Math.abs((shown ?? Number.NaN) - grams)).toBeLessThan(15);
        },
      ),
    );
  });

  it("is heavier while a bird sits there, and shows nothing when it is dead", () => {
    const world = newWorld(rowan, 7, 1_000, winter);
    const sat = weigh({ ...world, perchedUntil: plus(winter, 1_000 as Span) }, seededRandom(2)) ?? 0;
    expect(sat - (weigh(world, seededRandom(2)) ?? 0)).toBeGreaterThan(15);
    expect(weigh(withFault(world, "scaleDead"), seededRandom(2))).toBeNull();
  });
});
