import * as astronomy from "astronomy-engine";
import { describe, expect, it } from "vitest";
import { Agenda, day, hour, minute } from "./agenda.ts";
import { Belt, type BeltOrder } from "./belt.ts";
import { Cell } from "./cell.ts";
import { Chance, Drifting } from "./chance.ts";
import { Counter } from "./counter.ts";
import { drawFood } from "./food.ts";
import { drawPlace, lightOf, sunSine } from "./place.ts";
import { Planted } from "./planted.ts";
import { Silo } from "./silo.ts";
import { mean, play, seedsTo } from "./told.ts";
import { relative, type Sky, Weather } from "./weather.ts";

const calm: Sky = { air: 15, humidity: 60, cloud: 0.5, wind: 0, rain: 0, snow: 0, sun: 0.3, damp: 0.1 };
const usual = (steps: number): BeltOrder => ({ steps, isEnough: () => false });

function store(seed: number) {
  const chance = new Chance(seed, "store");
  const planted = new Planted(new Chance(seed, "planted"));
  const food = drawFood(chance);
  const silo = new Silo(new Chance(seed, "silo"), food, 1_500, planted);
  const belt = new Belt(new Chance(seed, "belt"), silo, planted);
  return { planted, food, silo, belt };
}

describe("the mass of the food", () => {
  it("agrees: what was poured in was given, or lies in the hopper, on the belt or at its edge", () => {
    let pours = 0;
    for (const seed of seedsTo(6))
      for (const kind of [null, "foodBridged", "trayPartlyJammed", "motorStalled"] as const) {
        const fault = kind === null ? null : { kind, at: 5 * day };
        let worst = 0;
        const { parts } = play({ seed, days: 12, fault }, ({ parts: { account, silo, belt } }) => {
          const left = account.pouredGrams - account.givenGrams - silo.content - belt.load.grams;
          worst = Math.max(worst, Math.abs(left));
        });
        expect(worst).toBeLessThan(1e-6);
        expect(parts.account.givenGrams).toBeGreaterThan(0);
        if (parts.account.pouredGrams > parts.silo.capacity) pours += 1;
      }
    expect(pours).toBeGreaterThan(2);
  }, 60_000);

  it("is never negative, and what is told to be left can be given, but for the corners", () => {
    for (const seed of seedsTo(20)) {
      const { silo, belt } = store(seed);
      silo.pour(silo.capacity);
      belt.prime(calm);
      const givable = silo.givable + belt.load.grams;
      let given = 0;
      for (let run = 0; run < 60_000 && silo.givable + belt.load.grams > 0; run += 1) {
        given += belt.run(usual(belt.portionSteps), calm).grams;
        expect(silo.content).toBeGreaterThanOrEqual(0);
      }
      expect(given).toBeCloseTo(givable, 5);
      expect(silo.content).toBeCloseTo(silo.rest, 5);
    }
  });

  it("falls from the belt some portions after it came through the gate", () => {
    const { silo, belt } = store(4);
    silo.pour(700);
    belt.prime(calm);
    const onBelt = belt.load.grams;
    expect(onBelt).toBeGreaterThan(0);
    silo.bridge(0);
    let given = 0;
    for (let run = 0; run < 200; run += 1) given += belt.run(usual(belt.portionSteps), calm).grams;
    expect(given).toBeCloseTo(onBelt, 5);
    expect(belt.isBare).toBe(true);
    expect(silo.givable).toBeGreaterThan(500);
  });
});

describe("the counter in the chute", () => {
  const counters = seedsTo(60).map((seed) => {
    const planted = new Planted(new Chance(seed, "planted"));
    const food = drawFood(new Chance(seed, "food"));
    return { planted, food, counter: new Counter(new Chance(seed, "counter"), food, planted) };
  });

  it("counts less and less of what falls together, whatever kind it is", () => {
    const kinds = new Set<string>();
    for (const { counter } of counters) {
      const share = (pieces: number) =>
        mean(Array.from({ length: 300 }, () => counter.count({ pieces, ms: 400 }, 0) / pieces));
      expect(share(60)).toBeLessThan(share(2) * 1.02);
      kinds.add(counter.kind);
    }
    expect(kinds).toEqual(new Set(["knockPad", "reflector", "beam"]));
  });

  it("counts nothing of nothing, and nothing once it is blind", () => {
    for (const { counter, planted } of counters) {
      expect(counter.count({ pieces: 0, ms: 400 }, 0)).toBe(0);
      planted.begin("chuteBlind", 0);
      const before = counter.total;
      for (let run = 0; run < 50; run += 1) expect(counter.count({ pieces: 8, ms: 400 }, 0)).toBe(0);
      counter.idle(day, { ...calm, rain: 5 }, day);
      counter.step(day);
      expect(counter.total).toBe(before);
    }
  });
});

describe("the load cell", () => {
  const load = { food: 800, birds: 0, hands: 0 };

  it("follows the food, and is never far off on a calm day of one temperature", () => {
    for (const seed of seedsTo(30)) {
      const cell = new Cell(seed, new Planted(new Chance(seed, "planted")), 3, 0);
      const read = (food: number, from: number) =>
        mean(
          Array.from({ length: 40 }, (_, index) =>
            cell.read(from + index * 5 * minute, { ...load, food }, calm),
          ).filter((grams) => typeof grams === "number"),
        );
      const [full, less] = [read(800, 0), read(500, day)];
      expect(full - less).toBeGreaterThan(220);
      expect(full - less).toBeLessThan(380);
      expect(Math.abs(full - 800)).toBeLessThan(350);
    }
  });

  it("drifts with the temperature and the snow, up or down", () => {
    const drifts = seedsTo(30).map((seed) => {
      const cell = new Cell(seed, new Planted(new Chance(seed, "planted")), 3, 0);
      const shown = (from: number, sky: Sky) => {
        let last = 0;
        for (let at = from; at < from + 12 * hour; at += 10 * minute) last = cell.read(at, load, sky) ?? last;
        return last;
      };
      const warm = shown(0, calm);
      return {
        cold: shown(day, { ...calm, air: -15 }) - warm,
        snow: shown(2 * day, { ...calm, air: -3, snow: 1 }) - warm,
      };
    });
    expect(drifts.some(({ cold }) => cold > 5)).toBe(true);
    expect(drifts.some(({ cold }) => cold < -5)).toBe(true);
    expect(drifts.filter(({ snow }) => snow > 150).length).toBeGreaterThan(8);
  });
});

describe("sky and chance", () => {
  it("puts the sun where a library has it, within half a degree", () => {
    for (const seed of seedsTo(12)) {
      const { latitude, longitude } = drawPlace(new Chance(seed, "place"));
      const observer = new astronomy.Observer(latitude, longitude, 0);
      for (let index = 0; index < 40; index += 1) {
        const at = Date.UTC(2028, 0, 3) + index * 9.13 * day;
        const date = new Date(at);
        const equator = astronomy.Equator(astronomy.Body.Sun, date, observer, true, true);
        const { altitude } = astronomy.Horizon(date, observer, equator.ra, equator.dec);
        const own = (Math.asin(sunSine(at, { latitude, longitude })) * 180) / Math.PI;
        expect(Math.abs(own - altitude)).toBeLessThan(0.6);
      }
    }
  });

  it("has light of plausible length, the midnight sun and a short midwinter day at 68 degrees", () => {
    const north = { ...drawPlace(new Chance(1, "place")), latitude: 68, longitude: 15 };
    const length = (at: number) => {
      const light = lightOf(at - hour, north);
      return light === null ? 0 : (light.to - light.from) / hour;
    };
    expect(length(Date.UTC(2028, 5, 21))).toBe(24);
    expect(length(Date.UTC(2028, 11, 21))).toBeGreaterThan(2);
    expect(length(Date.UTC(2028, 11, 21))).toBeLessThan(7);
  });

  it("has warm and cold seasons in their places, humidity within its range, and rain and snow", () => {
    let [rain, snow, outside] = [0, 0, 0];
    for (const seed of seedsTo(8)) {
      const place = drawPlace(new Chance(seed, "place"));
      const begin = Date.UTC(2028, 0, 1);
      const weather = new Weather(seed, place, begin);
      const months: number[][] = Array.from({ length: 12 }, () => []);
      for (let at = begin; at < begin + 365 * day; at += 3 * hour) {
        const sky = weather.at(at);
        months[new Date(at).getUTCMonth()]?.push(sky.air);
        if (sky.rain > 0) rain += 1;
        if (sky.snow > 0) snow += 1;
        if (!(sky.humidity > 5 && sky.humidity <= 100 && Math.abs(sky.air) < 48)) outside += 1;
      }
      const [january, july] = [mean(months[0] ?? []), mean(months[6] ?? [])];
      expect(Math.sign(july - january)).toBe(Math.sign(place.latitude));
    }
    expect(outside).toBe(0);
    expect(rain).toBeGreaterThan(500);
    expect(snow).toBeGreaterThan(100);
    // 4 K below 20 °C: 2,337 and 1,818 Pa (tables of saturation pressure, from memory).
    expect(relative(20, 4)).toBeCloseTo(77.8, 0);
  });

  it("draws what its names say", () => {
    const chance = new Chance(7, "test");
    const many = <Item>(draw: () => Item) => Array.from({ length: 20_000 }, draw);
    expect(mean(many(() => chance.share()))).toBeCloseTo(0.5, 1);
    expect(mean(many(() => chance.gauss()))).toBeCloseTo(0, 1);
    expect(mean(many(() => chance.gauss() ** 2))).toBeCloseTo(1, 1);
    for (const rate of [0.3, 4, 90]) expect(mean(many(() => chance.poisson(rate))) / rate).toBeCloseTo(1, 1);
    expect(mean(many(() => chance.ofMany(200, 0.3))) / 60).toBeCloseTo(1, 1);
    expect(mean(many(() => chance.ofMany(9, 0.3))) / 2.7).toBeCloseTo(1, 1);
    expect(mean(many(() => chance.wait(5))) / 5).toBeCloseTo(1, 1);
    const drift = new Drifting(new Chance(8, "drift"), hour, 0);
    const drifted = Array.from({ length: 20_000 }, (_, index) => drift.valueAt(index * 20 * minute));
    expect(mean(drifted.map((value) => value ** 2))).toBeCloseTo(1, 0);
  });

  it("runs what was planned in time order, and what is late at once", () => {
    const agenda = new Agenda(100);
    const ran: string[] = [];
    agenda.at(300, () => ran.push("b"));
    agenda.at(200, () => ran.push("a"));
    agenda.at(300, () => ran.push("c"));
    agenda.at(50, () => ran.push("late"));
    const times: number[] = [];
    while (agenda.nextAt < 1_000) {
      agenda.next();
      times.push(agenda.now);
    }
    expect(ran).toEqual(["late", "a", "b", "c"]);
    expect(times).toEqual([100, 200, 300, 300]);
  });
});
