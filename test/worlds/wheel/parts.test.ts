import * as astronomy from "astronomy-engine";
import { describe, expect, it } from "vitest";
import { Agenda } from "./agenda.ts";
import { Chute } from "./chute.ts";
import { PlantedFault } from "./fault.ts";
import { drawMix } from "./food.ts";
import { Hopper } from "./hopper.ts";
import { CurrentSensor, Motor, type MotorState } from "./motor.ts";
import { bitSource, randomFor } from "./random.ts";
import { Spool } from "./spool.ts";
import { sunAltitude } from "./sun.ts";
import { day, hour } from "./time.ts";
import { type Sky, Weather } from "./weather.ts";
import { emptyRange, Wheel } from "./wheel.ts";

describe("the parts of the wheel world", () => {
  const drySky: Sky = {
    air: -5,
    humidity: 80,
    cloud: 0.5,
    wind: 2,
    rain: 0,
    snowfall: 0,
    freezingRain: 0,
    hail: false,
    damp: 0,
    glaze: 0,
  };

  it("give empty portions at a rate within the stated range while the hopper is dry and not low", () => {
    for (let seed = 1; seed <= 15; seed += 1) {
      const hopper = new Hopper(randomFor(seed, "hopper"), drawMix(randomFor(seed, "mix")), 100_000);
      hopper.refill(100_000);
      const wheel = new Wheel(randomFor(seed, "wheel"), hopper, new PlantedFault());
      let [runs, empty, grams] = [0, 0, 0];
      for (; runs < 3_000 && hopper.fullness > 0.3; runs += 1) {
        const drop = wheel.turn(drySky);
        grams += drop.grams;
        if (drop.pieces.length === 0) empty += 1;
      }
      const chance = 4 * Math.sqrt((emptyRange.high * 2) / runs); // clusters double the variance
      expect(empty / runs).toBeGreaterThan(emptyRange.low - 4 * Math.sqrt((emptyRange.low * 2) / runs));
      expect(empty / runs).toBeLessThan(emptyRange.high + chance);
      expect(Math.abs(grams / runs / wheel.usualPortionGrams - 1)).toBeLessThan(0.15);
    }
  });

  it("give an empty last layer over many turns, with food between empty ones", () => {
    let mixed = 0;
    for (let seed = 1; seed <= 20; seed += 1) {
      const hopper = new Hopper(randomFor(seed, "hopper"), drawMix(randomFor(seed, "mix")), 1_000);
      hopper.refill(1_000);
      const wheel = new Wheel(randomFor(seed, "wheel"), hopper, new PlantedFault());
      const fed: boolean[] = [];
      while (hopper.available > 0) fed.push(wheel.turn(drySky).pieces.length > 0);
      const end = fed.slice(-40);
      if (end.filter((each) => !each).length > 8) mixed += 1;
      expect(fed.length).toBeLessThan(5_000);
    }
    expect(mixed).toBeGreaterThan(10);
  });

  it("keep what lies above a bridge among the food that can still be given, though no turn gets it", () => {
    const hopper = new Hopper(randomFor(3, "hopper"), drawMix(randomFor(3, "mix")), 1_000);
    hopper.refill(900);
    const corners = hopper.total - hopper.remaining;
    expect(corners).toBeGreaterThan(0);
    const before = hopper.remaining;
    hopper.bridge(20);
    expect(hopper.available).toBeCloseTo(20, 6);
    expect(hopper.remaining).toBeCloseTo(before, 6);
    while (hopper.available > 0) hopper.takePiece();
    expect(hopper.remaining).toBeCloseTo(before - 20, 6);
    hopper.refill(50); // falls on the bridge
    expect(hopper.available).toBe(0);
    expect(hopper.remaining).toBeCloseTo(before + 30, 6);
    expect(hopper.total - hopper.remaining).toBeCloseTo(corners, 6);
  });

  it("show a stalled servo by its current, a loose wire by none, and a stalled stepper not at all", () => {
    const kinds = new Set<string>();
    for (let seed = 1; seed <= 40; seed += 1) {
      const motor = new Motor(randomFor(seed, "motor"), 1);
      const sensor = new CurrentSensor(randomFor(seed, "sensor"));
      kinds.add(motor.kind);
      const mean = (state: MotorState) => {
        let sum = 0;
        for (let run = 0; run < 50; run += 1) sum += sensor.measure(motor.run(state, 1, 10), 10).meanMilliamps;
        return sum / 50;
      };
      const [turning, stalled, off] = [mean("turning"), mean("stalled"), mean("wire off")];
      expect(off).toBeLessThan(0.8 * turning);
      if (motor.kind === "servo") expect(stalled).toBeGreaterThan(1.8 * turning);
      else expect(Math.abs(stalled / turning - 1)).toBeLessThan(0.1);
    }
    expect(kinds.size).toBe(3);
  });

  it("see in a chute that gets dirty only harder hits each day, and none after a week", () => {
    const pieces = Array.from({ length: 12 }, () => 0.4);
    const counts = [0, 0, 0, 0, 0, 0, 0, 0];
    for (let seed = 1; seed <= 30; seed += 1) {
      const fault = new PlantedFault();
      const chute = new Chute(randomFor(seed, "chute"), fault);
      fault.begin("chuteDirty", 0);
      for (let passed = 0; passed <= 7; passed += 1) {
        for (let run = 0; run < 40; run += 1) {
          counts[passed] = (counts[passed] ?? 0) + chute.countPortion(pieces, 1, drySky, passed * day);
        }
      }
    }
    expect(counts).toEqual([...counts].sort((a, b) => b - a));
    expect(counts[0]).toBeGreaterThan(5_000);
    expect(counts[7]).toBe(0);
  });

  it("send what an earlier boot left behind until it is confirmed, where a card keeps it", () => {
    let kept = 0;
    for (let seed = 1; seed <= 20; seed += 1) {
      const spool = new Spool(randomFor(seed, "spool"), 0);
      spool.record("press", 10);
      const { boot } = spool.next();
      spool.restart(1_000);
      expect(spool.next()).toMatchObject({ events: [] });
      expect(spool.next().boot).not.toBe(boot);
      const left = spool.nextLeftBehind();
      if (left === null) continue;
      expect(left).toEqual({ boot, events: [{ seq: 1, uptimeMs: 10, kind: "press" }] });
      spool.confirm(left);
      expect(spool.nextLeftBehind()).toBeNull();
      kept += 1;
    }
    expect(kept).toBeGreaterThan(3);
    expect(kept).toBeLessThan(17);
  });

  it("place the sun where a library of astronomy has it, to a twentieth of a degree", () => {
    const place = { latitudeDegrees: 68, longitudeDegrees: 21.5 };
    const observer = new astronomy.Observer(68, 21.5, 0);
    for (let index = 0; index < 200; index += 1) {
      const at = Date.UTC(2024, 0, 1) + index * 47.3 * hour;
      const date = new Date(at);
      const { ra, dec } = astronomy.Equator(astronomy.Body.Sun, date, observer, true, true);
      const { altitude } = astronomy.Horizon(date, observer, ra, dec);
      expect(Math.abs(sunAltitude(at, place) - altitude)).toBeLessThan(0.05);
    }
  });

  it("know frost to -35 °C, thaws in winter and freezing rain, within some years", () => {
    let [coldest, dampest, thaws, freezingRain] = [0, 0, 0, 0];
    for (let seed = 1; seed <= 4; seed += 1) {
      const begin = Date.UTC(2024, 10, 1);
      const weather = new Weather(randomFor(seed, "weather"), begin, { latitudeDegrees: 68, longitudeDegrees: 21 });
      for (let at = begin; at < begin + 120 * day; at += hour) {
        const sky = weather.at(at);
        coldest = Math.min(coldest, sky.air);
        if (sky.air > 0) thaws += 1;
        if (sky.freezingRain > 0) freezingRain += 1;
        dampest = Math.max(dampest, sky.humidity);
      }
    }
    expect(coldest).toBeLessThan(-35);
    expect(coldest).toBeGreaterThan(-42);
    expect(dampest).toBeLessThanOrEqual(100);
    expect(thaws).toBeGreaterThan(50);
    expect(freezingRain).toBeGreaterThan(5);
  });

  it("draw the random bits of the published generator", () => {
    const next = bitSource([0, 1, 2, 3]);
    // By the authors' C code, as other ports test it too.
    expect([next(), next(), next(), next(), next()]).toEqual([5_760, 17_280, 2_966_400, 32_451_840, 2_604_340_873]);
  });

  it("run what is planned in time order, and at one moment in the order of planning", () => {
    const agenda = new Agenda(0);
    const random = randomFor(1, "agenda");
    const ran: (readonly [at: number, order: number])[] = [];
    for (let order = 0; order < 500; order += 1) {
      const at = random.whole(1, 40);
      agenda.plan(at, () => ran.push([at, order]));
    }
    while (agenda.nextAt < Number.POSITIVE_INFINITY) agenda.runNext();
    expect(ran).toEqual([...ran].sort(([a, first], [b, second]) => a - b || first - second));
    expect(ran.length).toBe(500);
  });
});
