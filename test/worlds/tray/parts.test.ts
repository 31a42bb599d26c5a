import * as astronomy from "astronomy-engine";
import { describe, expect, it } from "vitest";
import { Agenda } from "./agenda.ts";
import { Beam } from "./beam.ts";
import { Drive } from "./drive.ts";
import { drawMixture } from "./food.ts";
import { Hopper } from "./hopper.ts";
import { PlantedFault } from "./plantedFault.ts";
import { Power } from "./power.ts";
import { Random } from "./random.ts";
import { Scale } from "./scale.ts";
import { daylightOf, sunHeight } from "./sun.ts";
import { day, hour, localHour, minute, place, summer } from "./time.ts";
import { mean } from "./told.ts";
import { Warmth } from "./warmth.ts";
import { Weather, weatherStep } from "./weather.ts";

const seeds = Array.from({ length: 12 }, (_, index) => index + 1);
const well = new PlantedFault(null, 0);
const july = Date.UTC(2031, 6, 10);
const january = Date.UTC(2031, 0, 10);

const hopperOf = (seed: number, fault = well): Hopper => {
  const random = new Random(seed, "hopper");
  return new Hopper(random, drawMixture(new Random(seed, "mixture")), fault);
};
const never = () => false;

describe("the tray world's parts", () => {
  it("draw normal and Poisson numbers of the stated mean and variance, from streams of their own", () => {
    const random = new Random(1, "moments");
    const normal = Array.from({ length: 20_000 }, () => random.normal());
    expect(Math.abs(mean(normal))).toBeLessThan(0.03);
    expect(mean(normal.map((value) => value ** 2))).toBeCloseTo(1, 1);
    for (const wanted of [0.3, 4, 60]) {
      const counts = Array.from({ length: 20_000 }, () => random.poisson(wanted));
      expect(Math.abs(mean(counts) / wanted - 1)).toBeLessThan(0.03);
      expect(Math.abs(mean(counts.map((count) => (count - wanted) ** 2)) / wanted - 1)).toBeLessThan(0.06);
    }
    const firsts = ["birds", "beam"].flatMap((name) =>
      [7, 8, 7 + 2 ** 33].map((seed) => new Random(seed, name).word()),
    );
    expect(new Set(firsts).size).toBe(6);
  });

  it("run what is planned in the order of time, and of planning where two have one time", () => {
    const agenda = new Agenda();
    const random = new Random(3, "agenda");
    const planned = Array.from({ length: 500 }, (_, index) => ({ at: random.whole(0, 60), index }));
    const ran: typeof planned = [];
    for (const item of planned) agenda.add(item.at, () => ran.push(item));
    while (agenda.runNext(50) !== null);
    const expected = planned.filter(({ at }) => at < 50).sort((a, b) => a.at - b.at || a.index - b.index);
    expect(ran).toEqual(expected);
  });

  it("have the sun rise, stand and set as astronomy-engine says, within two minutes and half a degree", () => {
    const observer = new astronomy.Observer(place.latitudeDegrees, place.longitudeDegrees, 0);
    for (let ofDay = 22_300; ofDay < 22_300 + 366; ofDay += 30) {
      const { sunrise, sunset, noon } = daylightOf(ofDay);
      for (const [direction, own] of [
        [1, sunrise],
        [-1, sunset],
      ] as const) {
        const found = astronomy.SearchRiseSet(astronomy.Body.Sun, observer, direction, new Date(own - 3 * hour), 1);
        expect(Math.abs((found?.date.getTime() ?? 0) - own)).toBeLessThan(2 * minute);
      }
      expect(localHour(noon)).toBeCloseTo(11.65, 0);
      const at = noon + 2 * hour;
      const { ra, dec } = astronomy.Equator(astronomy.Body.Sun, new Date(at), observer, true, true);
      const { altitude } = astronomy.Horizon(new Date(at), observer, ra, dec);
      expect(Math.abs((Math.asin(sunHeight(at)) * 180) / Math.PI - altitude)).toBeLessThan(0.5);
    }
  });

  it("have mild wet winters without hard frost, and hot dry summers", () => {
    const year = (seed: number) => {
      const weather = new Weather(new Random(seed, "weather"), january);
      const months = { summer: [] as number[], winter: [] as number[] };
      const rain = { summer: 0, winter: 0 };
      for (let at = january; at < january + 365 * day; at += weatherStep) {
        weather.step(at);
        const season = summer(at / day);
        if (Math.abs(season) < 0.8) continue;
        const name = season > 0 ? "summer" : "winter";
        months[name].push(weather.sky.air);
        rain[name] += weather.sky.rain / 12;
      }
      return { ...months, rain };
    };
    for (const { summer: hot, winter, rain } of seeds.slice(0, 4).map(year)) {
      expect(mean(hot)).toBeGreaterThan(19);
      expect(mean(hot)).toBeLessThan(28);
      expect(Math.max(...hot)).toBeGreaterThan(34);
      expect(Math.max(...hot)).toBeLessThan(49);
      expect(mean(winter)).toBeGreaterThan(6);
      expect(mean(winter)).toBeLessThan(14);
      expect(Math.min(...winter)).toBeGreaterThan(-6);
      expect(rain.winter).toBeGreaterThan(1.5 * rain.summer);
      expect(rain.winter).toBeLessThan(500);
    }
  });

  it("give empty portions at a few in a thousand to a few in a hundred, some in runs", () => {
    let rows = 0;
    const shares = seeds.map((seed) => {
      const hopper = hopperOf(seed);
      hopper.refill(400_000, 0);
      let empty = 0;
      let wasEmpty = false;
      for (let run = 0; run < 4_000; run += 1) {
        const isEmpty = hopper.run(1, 0, never).pieces === 0;
        if (isEmpty) empty += 1;
        if (isEmpty && wasEmpty) rows += 1;
        wasEmpty = isEmpty;
      }
      return empty / 4_000;
    });
    expect(Math.min(...shares)).toBeGreaterThan(0.0005);
    expect(Math.max(...shares)).toBeLessThan(0.06);
    expect(Math.max(...shares) / Math.min(...shares)).toBeGreaterThan(3);
    expect(rows).toBeGreaterThan(20);
  });

  it("let the last of the food trickle, keep some in the corners for ever, and lose none in the books", () => {
    const lastToFirst = seeds.map((seed) => {
      const hopper = hopperOf(seed);
      hopper.refill(300, 0);
      const portions: number[] = [];
      let runs = 0;
      for (; hopper.grams() > 0 && runs < 5_000; runs += 1) portions.push(hopper.run(1, 0, never).grams);
      const { refilled, given, toCorners, carriedOff } = hopper.books;
      expect(hopper.grams()).toBe(0);
      expect(refilled - given - toCorners - carriedOff).toBeCloseTo(0, 6);
      expect(given).toBeCloseTo(
        portions.reduce((sum, grams) => sum + grams, 0),
        6,
      );
      expect(toCorners).toBeGreaterThan(0);
      expect(hopper.isEmpty()).toBe(true);
      return mean(portions.slice(-6)) / mean(portions.slice(0, 10));
    });
    expect(mean(lastToFirst)).toBeLessThan(0.5);
  });

  it("keep what lies above a bridge in the food that can be given, and let it not down", () => {
    for (const seed of seeds) {
      const hopper = hopperOf(seed, new PlantedFault("foodBridged", 0));
      hopper.refill(3_000, 1);
      for (let run = 0; run < 300; run += 1) hopper.run(1, 1, never);
      expect(hopper.grams()).toBeGreaterThan(2_000);
      expect(hopper.isTrayBare()).toBe(true);
    }
  });

  it("count fewer grains than fall, the more of them the further apart", () => {
    for (const seed of seeds) {
      const beam = new Beam(new Random(seed, "beam"), well);
      const count = (gap: number) => {
        let seen = 0;
        beam.startRun();
        for (let grain = 0; grain < 2_000; grain += 1) seen += beam.see(0.3, grain * gap, 0);
        return seen / 2_000;
      };
      expect(count(2)).toBeLessThan(0.02);
      expect(count(60)).toBeGreaterThan(0.75);
      expect(count(60)).toBeLessThan(1.07);
    }
  });

  it("take about as much current as built while well, and more while the tray is wedged against a motor", () => {
    const ratios = seeds.map((seed) => {
      const current = (fault: PlantedFault) => {
        const drive = new Drive(new Random(seed, "drive"), fault, 0);
        const state = { at: 1, volts: 1, celsius: 20, fill: 0.5, ohms: 0 };
        return mean(Array.from({ length: 60 }, () => drive.run(state).meanMilliamps));
      };
      return current(new PlantedFault("trayJammed", 0)) / current(well);
    });
    expect(Math.min(...ratios)).toBeGreaterThan(0.8);
    expect(Math.max(...ratios)).toBeGreaterThan(1.4);
  });

  it("have the battery full by early afternoon of a clear day, and the panel's rest turned away", () => {
    for (const seed of seeds) {
      const power = new Power(new Random(seed, "power"));
      if (power.chemistry === "none") continue;
      const weather = new Weather(new Random(seed, "weather"), january);
      const warmth = new Warmth(new Random(seed, "warmth"), 25);
      const before = power.batteryVolts();
      let full = 0;
      for (let at = january; at < january + 4 * day; at += weatherStep) {
        weather.step(at);
        weather.sky.cloud = 0;
        warmth.step(weather.sky);
        warmth.battery = 25;
        power.step(weather.sky, warmth, 0);
        if (localHour(at) > 14 && localHour(at) < 14.1) full = power.batteryVolts();
      }
      expect(full).toBeGreaterThan(before - 0.1);
      expect(full).toBeLessThan(16);
    }
  });

  it("weigh food within some percent, and follow the box's warmth, creep after a refill and stop where dead", () => {
    const sky = new Weather(new Random(1, "weather"), july).sky;
    const calm = { ...sky, wind: 0 };
    for (const seed of seeds) {
      const scale = new Scale(new Random(seed, "scale"), well);
      const warmth = new Warmth(new Random(1, "warmth"), 20);
      const at = (celsius: number, time: number, load: number) => {
        warmth.inside = celsius;
        const places = { sky: calm, warmth, isOff: false };
        return mean(Array.from({ length: 30 }, () => scale.read(time, load, 0, places) ?? Number.NaN));
      };
      expect(Math.abs(at(20, 0, 1_000) - 1_000)).toBeLessThan(90);
      expect(Math.abs(at(45, 0, 1_000) - at(20, 0, 1_000))).toBeLessThan(45);
      expect(at(20, hour, 3_000)).toBeGreaterThan(2_800);
      const dead = new Scale(new Random(seed, "scale"), new PlantedFault("scaleDead", 5));
      expect(dead.read(4, 900, 0, { sky: calm, warmth, isOff: false })).toBeGreaterThan(700);
      expect(dead.read(6, 900, 0, { sky: calm, warmth, isOff: false }) ?? null).toBeNull();
    }
  });
});
