import { describe, expect, it } from "vitest";
import { Agenda } from "./agenda.ts";
import { Computer, drawComputer } from "./computer.ts";
import { Dispenser, dispenserKinds, drawBuild } from "./dispenser.ts";
import { drawBatch, drawFood, Hopper, meanPieceGrams, pieceGrams } from "./food.ts";
import { Garden } from "./garden.ts";
import { drawLine, Line } from "./line.ts";
import { drawCell, LoadCell } from "./loadCell.ts";
import { drawMotor, type MotorState, motorCurrent, Supply } from "./motor.ts";
import { Random } from "./random.ts";
import {
  dayMs,
  hourMs,
  isDaylight,
  lightSpan,
  minuteMs,
  noonElevation,
  places,
  solarMidnight,
  sunElevation,
} from "./sky.ts";
import {
  countedPieces,
  drawChute,
  drawDetector,
  drawThermometer,
  measuredCelsius,
  seenInSlot,
} from "./smallSensors.ts";
import { allFitted, mean, storyOf } from "./stories.ts";
import { drawBegin, Weather, weatherStepMs } from "./weather.ts";

const numbers = (count: number, draw: (index: number) => number) =>
  Array.from({ length: count }, (_, index) => draw(index));
const deviation = (values: readonly number[]) => {
  const middle = mean(values);
  return Math.sqrt(mean(values.map((value) => (value - middle) ** 2)));
};

describe("random numbers", () => {
  const random = new Random(7, "test");

  it("repeat with seed and label, and differ with another of either", () => {
    const first = (seed: number, label: string) => new Random(seed, label).uniform();
    expect(first(7, "a")).toBe(first(7, "a"));
    expect(new Set([first(7, "a"), first(8, "a"), first(7, "b"), new Random(7, "a").branch("b").uniform()]).size).toBe(
      4,
    );
  });

  it("have the means and spreads of their kinds", () => {
    const uniform = numbers(20_000, () => random.uniform());
    expect([Math.min(...uniform) >= 0, Math.max(...uniform) < 1]).toEqual([true, true]);
    expect(mean(uniform)).toBeCloseTo(0.5, 1);
    const normal = numbers(20_000, () => random.normal(3, 2));
    expect([mean(normal), deviation(normal)]).toEqual([expect.closeTo(3, 0), expect.closeTo(2, 0)]);
    for (const expected of [0.3, 4, 60]) {
      const counts = numbers(8_000, () => random.poisson(expected));
      expect(Math.abs(mean(counts) / expected - 1)).toBeLessThan(0.06);
      expect(Math.abs(deviation(counts) ** 2 / expected - 1)).toBeLessThan(0.12);
    }
    expect(Math.abs(mean(numbers(20_000, () => random.exponential(5))) - 5)).toBeLessThan(0.2);
    const picks = numbers(4_000, () => (random.weighted({ seldom: 1, often: 3 }) === "often" ? 1 : 0));
    expect(mean(picks)).toBeCloseTo(0.75, 1);
  });
});

describe("the agenda", () => {
  it("lets things happen in order of time, and of entry at one time", () => {
    const random = new Random(1, "agenda");
    const agenda = new Agenda(0);
    const happened: (readonly [number, number])[] = [];
    for (let index = 0; index < 500; index += 1) {
      const time = random.integer(0, 60);
      agenda.at(time, () => happened.push([time, index]));
    }
    while (agenda.step(50));
    expect(happened).toEqual(happened.toSorted(([a, i], [b, j]) => a - b || i - j));
    expect(happened.at(-1)?.[0]).toBe(50);
    const before = happened.length;
    agenda.plan(agenda.now - 1, () => happened.push([0, 0]));
    agenda.step(50);
    expect(happened.length).toBe(before);
  });
});

describe("the sky", () => {
  const [south, middle, north, down] = places;
  if (!south || !middle || !north || !down) throw new Error("expected four places");
  const [june, december, march] = [Date.UTC(2026, 5, 21), Date.UTC(2026, 11, 21), Date.UTC(2026, 2, 20)];
  const lightHours = (place: typeof south, day: number) =>
    numbers(288, (step) => (isDaylight(place, day + step * 5 * minuteMs) ? 5 / 60 : 0)).reduce(
      (sum, each) => sum + each,
      0,
    );

  it("has the heights and lengths of almanacs", () => {
    expect(noonElevation(middle, june)).toBeCloseTo(90 - 59.5 + 23.44, 0);
    const highest = Math.max(...numbers(288, (step) => sunElevation(south, march + step * 5 * minuteMs)));
    expect(Math.abs(highest - 45)).toBeLessThan(0.7);
    expect(Math.abs(lightHours(south, march) - 12.15)).toBeLessThan(0.25);
    expect(Math.abs(lightHours(middle, june) - 18.6)).toBeLessThan(0.4);
    expect([lightHours(north, december), lightHours(north, june)]).toEqual([0, expect.closeTo(24, 5)]);
    expect(lightHours(down, december)).toBeGreaterThan(lightHours(down, june) + 4);
  });

  it("gives birds some hours also in the polar night, and rest in the midnight sun", () => {
    for (const place of places) {
      for (let day = 0; day < 365; day += 5) {
        const midnight = solarMidnight(place, Date.UTC(2026, 0, 1) + day * dayMs);
        const { from, to } = lightSpan(place, midnight);
        expect(to - from).toBeGreaterThanOrEqual(3 * hourMs);
        expect(to - from).toBeLessThanOrEqual(19 * hourMs);
      }
    }
  });

  it("has weather of its season and place", () => {
    for (const [index, place] of places.entries()) {
      const air = [0, 6].map((month) => {
        const begin = Date.UTC(2026, month, 1);
        const weather = new Weather(place, new Random(index, "weather"), begin);
        const temperatures = numbers(60 * 144, (step) => {
          weather.step(begin + step * weatherStepMs);
          return weather.airCelsius;
        });
        expect(weather.snowGrams).toBeGreaterThanOrEqual(0);
        expect([weather.soak, weather.foodDamp].every((share) => share >= 0 && share <= 1)).toBe(true);
        expect(deviation(temperatures)).toBeGreaterThan(1.5);
        expect([Math.min(...temperatures) > -50, Math.max(...temperatures) < 45]).toEqual([true, true]);
        return mean(temperatures);
      });
      const [january = 0, july = 0] = air;
      expect(place.latitudeDegrees < 0 ? january - july : july - january).toBeGreaterThan(8);
    }
    expect(new Date(drawBegin(new Random(3, "begin"))).getUTCFullYear()).toBeGreaterThan(2024);
  });
});

describe("food and hopper", () => {
  it("has pieces of its mean", () => {
    for (let seed = 0; seed < 10; seed += 1) {
      const random = new Random(seed, "food");
      const food = drawFood(random);
      const pieces = numbers(4_000, () => pieceGrams(food, { pieceFactor: 1, flow: 1 }, 0, random));
      expect(Math.abs(mean(pieces) / meanPieceGrams(food) - 1)).toBeLessThan(0.06);
    }
  });

  it("fills its corners first and never gives them, nor what is above a bridge or off the scale", () => {
    const hopper = new Hopper(1_000, 0.05);
    hopper.pour(400);
    expect([hopper.rest, hopper.usable, hopper.onScale]).toEqual([50, 350, 400]);
    hopper.belowBridge = 20;
    expect([hopper.take(15), hopper.take(15), hopper.take(15)]).toEqual([15, 5, 0]);
    hopper.belowBridge = null;
    hopper.isOff = true;
    expect([hopper.reachable, hopper.onScale]).toEqual([0, 0]);
    hopper.isOff = false;
    expect([hopper.take(1_000), hopper.usable, hopper.onScale]).toEqual([330, 0, 50]);
  });
});

describe.each(dispenserKinds.map(({ name }) => name))("a dispenser: %s", (name) => {
  const dry = { damp: 0, celsius: 20, days: 0, speed: 1, obstacle: "none" } as const;
  const builds = numbers(80, (seed) => seed).flatMap((seed) => {
    const random = new Random(seed, "build");
    const food = drawFood(random);
    const build = drawBuild(food, random);
    return build.kind.name === name ? [{ food, build, random }] : [];
  });
  const runs = (
    { food, build, random }: (typeof builds)[number],
    level: number,
    around: Partial<typeof dry> | object,
  ) => {
    const hopper = new Hopper(10_000, 0);
    const dispenser = new Dispenser(build, food, hopper, random);
    return Array.from({ length: 1_200 }, () => {
      hopper.usable = level * 10_000;
      return dispenser.run({ pieceFactor: 1, flow: 1 }, { ...dry, ...around });
    });
  };
  const meanGrams = (falls: readonly { readonly grams: number }[]) => mean(falls.map(({ grams }) => grams));

  it("gives its mean from a full hopper, with few empty runs", () => {
    expect(builds.length).toBeGreaterThan(3);
    for (const each of builds.slice(0, 4)) {
      const falls = runs(each, 1, {});
      const fed = falls.filter(({ grams }) => grams > 0);
      expect(Math.abs(meanGrams(fed) / each.build.portionGrams - 1)).toBeLessThan(0.15);
      expect(fed.length / falls.length).toBeGreaterThan(0.87);
      expect(fed.every(({ pieces }) => pieces >= 1)).toBe(true);
    }
  });

  it("gives less of damp food in the cold, far less past a partial jam, and nothing past a jam", () => {
    const [one] = builds;
    if (one === undefined) throw new Error("expected a dispenser");
    const usual = meanGrams(runs(one, 1, {}));
    expect(meanGrams(runs(one, 1, { damp: 1, celsius: -20 }))).toBeLessThan(usual * 1.04);
    expect(meanGrams(runs(one, 1, { obstacle: "partJam" }))).toBeLessThan(usual * 0.6);
    expect(meanGrams(runs(one, 1, { obstacle: "jam" }))).toBe(0);
  });

  it("gives less and less at the end, and all of it", () => {
    const [one] = builds;
    if (one === undefined) throw new Error("expected a dispenser");
    const hopper = new Hopper(1_500, 0.02);
    hopper.pour(230);
    const dispenser = new Dispenser(one.build, one.food, hopper, one.random);
    const batch = drawBatch(one.food, one.random);
    const falls = numbers(5_000, () => dispenser.run(batch, dry).grams);
    expect(falls.reduce((sum, grams) => sum + grams, 0)).toBeCloseTo(200, 6);
    expect(hopper.usable).toBe(0);
    expect(falls.slice(-50).every((grams) => grams === 0)).toBe(true);
  });
});

describe("sensors", () => {
  it("measure more current against a jam, most when stalled, and none without the wire", () => {
    for (let seed = 0; seed < 20; seed += 1) {
      const random = new Random(seed, "motor");
      const build = drawBuild(drawFood(random), random);
      const part = drawMotor(build, random);
      const current = (state: MotorState) => {
        const turn = { state, celsius: 10, days: 3, speed: 1, isEmpty: false };
        return mean(numbers(400, () => motorCurrent(build, part, turn, random).mean));
      };
      const [wireOff, turns, against, stalled] = [
        current("wireOff"),
        current("turns"),
        current("against"),
        current("stalled"),
      ];
      expect([wireOff, turns < against, against < stalled * 1.03]).toEqual([0, true, true]);
    }
  });

  it("have a supply that stays healthy over a year", () => {
    for (let seed = 0; seed < 20; seed += 1) {
      const supply = new Supply(new Random(seed, "supply"));
      const volts = numbers(365, () => {
        supply.age(1);
        return supply.measured(1_500) / supply.nominal;
      });
      expect(Math.min(...volts)).toBeGreaterThan(0.9);
    }
  });

  it("weigh to their step and within some percent; without the hopper far below zero", () => {
    const still = { snowGrams: 0, soak: 0, windSpeed: 1, boxCelsius: 20 };
    const load = { foodGrams: 800, birdGrams: 0, isOff: false, hasHand: false };
    for (let seed = 0; seed < 30; seed += 1) {
      const random = new Random(seed, "cell");
      const cell = new LoadCell({ ...drawCell(random), glitches: 0 }, random);
      const readings = numbers(200, (index) => cell.read(index * minuteMs, load, still));
      expect(Math.abs(mean(readings) - 800)).toBeLessThan(60);
      expect(
        readings.every((grams) => Math.abs(grams / cell.part.step - Math.round(grams / cell.part.step)) < 1e-6),
      ).toBe(true);
      expect(cell.read(201 * minuteMs, { ...load, birdGrams: 500 }, still)).toBeGreaterThan(mean(readings) + 400);
      expect(cell.read(202 * minuteMs, { ...load, isOff: true }, still)).toBeLessThan(-150);
    }
  });

  it("miss pieces and caps now and then, and see nothing when blind or deaf", () => {
    for (let seed = 0; seed < 20; seed += 1) {
      const random = new Random(seed, "small");
      const chute = drawChute(random);
      const counted = mean(numbers(500, () => countedPieces(10, chute, 1, random))) / 10;
      expect([counted > 0.5, counted < 1.13, countedPieces(50, chute, 0, random)]).toEqual([true, true, 0]);
      const part = drawDetector(random);
      const seen = (isDeaf: boolean, isCap = true) =>
        mean(numbers(400, () => (seenInSlot(isCap, part, { celsius: 5, isDeaf }, random).metal ? 1 : 0)));
      expect([seen(false) > 0.8, seen(true), seen(false, false)]).toEqual([true, 0, 0]);
    }
  });

  it("measure temperature in their steps", () => {
    const random = new Random(5, "thermometer");
    const part = { ...drawThermometer(random), step: 0.5, offset: 0.4, noise: 0.01 };
    expect(measuredCelsius(3.9, part, random)).toBe(4.5);
  });
});

describe("line and computer", () => {
  it("loses few reports in its good state and all in an outage", () => {
    const base = {
      ...drawLine(new Random(1, "part")),
      lossGood: 0.01,
      goodMs: 1e15,
      outagesPerDay: 0.2,
      outageMs: 2 * hourMs,
    };
    const line = new Line(base, new Random(2, "line"), 0);
    const fates = numbers(30_000, (index) => index * minuteMs).map(
      (at) => [line.isOut(at), line.fate(at, 9_000)] as const,
    );
    const [out, clear] = [fates.filter(([isOut]) => isOut), fates.filter(([isOut]) => !isOut)];
    expect(out.length).toBeGreaterThan(60);
    expect(out.every(([, { kind }]) => kind === "lost")).toBe(true);
    const lost = clear.filter(([, { kind }]) => kind !== "answered").length / clear.length;
    expect([lost > 0.006, lost < 0.015]).toEqual([true, true]);
    expect(fates.every(([, { latencyMs }]) => latencyMs <= 9_000)).toBe(true);
  });

  it("holds back what follows a portion that has its number and still runs", () => {
    const part = {
      ...drawComputer(new Random(1, "part")),
      numbersAtStart: true,
      stampsEnd: false,
      hasCard: true,
      batch: 50,
    };
    const computer = new Computer(part, allFitted, new Random(1, "computer"));
    computer.start(0);
    computer.record(1_000, { kind: "press" });
    const open = computer.beginPortion(2_000, "press", 1);
    computer.record(2_500, { kind: "visit" });
    expect(computer.nextBatch().events).toMatchObject([{ seq: 1 }]);
    computer.endPortion(4_000, open, { motorMs: 2_000 });
    expect(computer.nextBatch().events).toMatchObject([
      { seq: 1 },
      { seq: 2, kind: "portion", paysFor: 1 },
      { seq: 3 },
    ]);
    expect(computer.nextBatch().events[1]).toMatchObject({ uptimeMs: computer.uptime(2_000) });
  });

  it("has a portion that a power cut ended as cut short, under its own boot; without a card nothing is left", () => {
    for (const hasCard of [true, false]) {
      const part = { ...drawComputer(new Random(1, "part")), numbersAtStart: false, hasCard, batch: 50 };
      const computer = new Computer(part, allFitted, new Random(1, "computer"));
      computer.start(0);
      const { boot } = computer;
      computer.beginPortion(2_000, "timer", null);
      computer.stop();
      computer.start(60_000, 50_000);
      expect(computer.boot).not.toBe(boot);
      const left = computer.nextBatch();
      if (hasCard)
        expect(left).toMatchObject({ boot, isOld: true, events: [{ seq: 1, cutShort: true, motorMs: null }] });
      else expect(left).toMatchObject({ boot: computer.boot, isOld: false, events: [] });
    }
  });
});

describe("birds", () => {
  const days = 12;
  const comings = numbers(24, (seed) => seed).map((seed) => {
    const garden = new Garden(storyOf({ seed, days }), { asksForFood: true });
    const hours: number[] = [];
    let before = 0;
    while (garden.agenda.step(garden.begin + days * dayMs)) {
      if (garden.books.bouts > before) hours.push((garden.agenda.now - garden.begin) / hourMs);
      before = garden.books.bouts;
    }
    return { hours, runs: garden.books.runs / days, grams: garden.hopper.given / days };
  });

  it("come some times to some hundred times a day, and most feeders give five to a few hundred portions", () => {
    const perDay = comings.map(({ hours }) => hours.length / days);
    expect([Math.min(...perDay) > 0.2, Math.max(...perDay) < 200]).toEqual([true, true]);
    expect(comings.filter(({ runs }) => runs >= 5 && runs <= 400).length).toBeGreaterThan(20);
    expect(comings.every(({ grams }) => grams > 1 && grams < 3_000)).toBe(true);
  });

  it("come in clusters: their counts in quarters of an hour spread more than chance has it", () => {
    const ratios = comings.flatMap(({ hours }) => {
      if (hours.length < 40) return [];
      const counts = numbers(days * 96, () => 0);
      for (const hour of hours) counts[Math.floor(hour * 4)] = (counts[Math.floor(hour * 4)] ?? 0) + 1;
      return [deviation(counts) ** 2 / mean(counts)];
    });
    expect(ratios.length).toBeGreaterThan(10);
    expect(mean(ratios)).toBeGreaterThan(1.3);
  });
});
