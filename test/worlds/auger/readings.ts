import type { WorldSensors } from "../world.ts";
import type { Beam } from "./beam.ts";
import type { Computer } from "./computer.ts";
import type { Dispenser } from "./dispenser.ts";
import type { LidLoads } from "./lidLoads.ts";
import type { Line } from "./line.ts";
import type { Motor } from "./motor.ts";
import { clamp, roundTo } from "./numbers.ts";
import type { PlantedFault } from "./planted.ts";
import type { Random } from "./random.ts";
import type { Scale } from "./scale.ts";
import type { Weather, WeatherHour } from "./weather.ts";

interface MeasuredParts {
  readonly sensors: WorldSensors;
  readonly fault: PlantedFault;
  readonly weather: Weather;
  readonly dispenser: Dispenser;
  readonly lid: LidLoads;
  readonly scale: Scale;
  readonly motor: Motor;
  readonly beam: Beam;
  readonly line: Line;
  readonly computer: Computer;
}

/** What the feeder measures as it sends a report: only what it has. */
export class Readings {
  readonly #parts: MeasuredParts;
  readonly #traits: ReadingTraits;
  readonly #random: Random;
  #stuck: { readonly air: number; readonly humidity: number } | null = null;
  #last: number;

  constructor(random: Random, begin: number, parts: MeasuredParts) {
    this.#random = random;
    this.#parts = parts;
    this.#last = begin;
    this.#traits = drawTraits(random);
    if (parts.fault.kind === "thermometerStuck") this.#traits.hasAir = true; // such a story has a thermometer
  }

  at(at: number): Record<string, unknown> {
    const { weather, sensors, motor, line, computer } = this.#parts;
    const { hasVolts, hasSignal, hasSpooled, hasPaused, hasCounts } = this.#traits;
    const air = weather.at(at);
    const now = weather.celsiusAt(at);
    const readings: Record<string, unknown> = {};
    if (sensors.scale) this.#addScale(readings, at, air, now);
    this.#addClimate(readings, at, air, now);
    if (hasVolts) readings.supplyVolts = roundTo(0.01, motor.voltsAt(at));
    if (hasSignal) readings.signalDbm = line.signalDbm();
    if (hasSpooled) readings.spooled = computer.waiting;
    if (hasPaused) readings.paused = false;
    this.#countStrays(at, air);
    if (hasCounts) readings.counts = this.#counts();
    this.#last = at;
    return readings;
  }

  #addScale(readings: Record<string, unknown>, at: number, air: WeatherHour, now: number): void {
    const { scale, dispenser, lid, fault } = this.#parts;
    const grams = scale.read(at, dispenser.content + lid.at(at), air, now, fault);
    if (grams !== undefined) readings.hopperGrams = grams;
  }

  #addClimate(readings: Record<string, unknown>, at: number, air: WeatherHour, now: number): void {
    const { hasAir, hasHumidity, hasInside, insideWarmth, failures } = this.#traits;
    if (!hasAir) return;
    const random = this.#random;
    const fresh = { air: this.#air(now, air), humidity: this.#humidity(air) };
    const { fault } = this.#parts;
    if (fault.is("thermometerStuck", at)) this.#stuck ??= fresh;
    const shown = this.#stuck ?? fresh;
    const fails = random.chance(failures) && this.#stuck === null;
    readings.airCelsius = fails ? null : shown.air;
    if (hasHumidity) readings.humidityPercent = fault.traits.stuckTogether ? shown.humidity : fresh.humidity;
    if (hasInside) readings.insideCelsius = roundTo(0.1, now + insideWarmth + 6 * air.sunshine + 0.1 * random.normal());
  }

  /** In the shade, more or less: the sun warms the box that the thermometer sits in. */
  #air(now: number, air: WeatherHour): number {
    const { airOffset, airNoise, airStep, sunKelvin } = this.#traits;
    const celsius = now + airOffset + sunKelvin * air.sunshine + airNoise * this.#random.normal();
    return clamp(roundTo(airStep, celsius), -60, 65);
  }

  #humidity(air: WeatherHour): number {
    return clamp(Math.round(air.humidityPercent + this.#traits.humidityOffset + this.#random.normal()), 5, 102);
  }

  #countStrays(at: number, air: WeatherHour): void {
    const { sensors, beam, computer, fault } = this.#parts;
    if (!sensors.chute) return;
    computer.tally("chute", beam.strayCounts(at, at - this.#last, air, fault.sightLeft(at)));
  }

  #counts(): Record<string, number> {
    const { sensors, computer } = this.#parts;
    const counts: Record<string, number> = {};
    for (const name of countedSensors) if (sensors[name]) counts[name] = computer.counts[name];
    return counts;
  }
}

const countedSensors = ["button", "detector", "chute", "perch"] as const;

interface ReadingTraits {
  hasAir: boolean;
  readonly hasHumidity: boolean;
  readonly hasInside: boolean;
  readonly hasVolts: boolean;
  readonly hasSignal: boolean;
  readonly hasSpooled: boolean;
  readonly hasPaused: boolean;
  readonly hasCounts: boolean;
  readonly insideWarmth: number;
  readonly failures: number;
  readonly airOffset: number;
  readonly airNoise: number;
  readonly airStep: number;
  readonly sunKelvin: number;
  readonly humidityOffset: number;
}

const drawTraits = (random: Random): ReadingTraits => ({
  hasAir: random.chance(0.9),
  hasHumidity: random.chance(0.5),
  hasInside: random.chance(0.25),
  hasVolts: random.chance(0.4),
  hasSignal: random.chance(0.6),
  hasSpooled: random.chance(0.7),
  hasPaused: random.chance(0.6),
  hasCounts: random.chance(0.5),
  insideWarmth: random.between(0.5, 6),
  failures: random.chance(0.3) ? random.logBetween(0.0002, 0.01) : 0,
  airOffset: 0.4 * random.normal(), // digital thermometers: 0.5 K (data sheets, from memory)
  airNoise: random.logBetween(0.02, 0.3),
  airStep: random.pick([0.01, 0.0625, 0.1, 0.5, 1]), // common digital thermometers, from memory
  sunKelvin: random.between(0, 8), // unventilated screens, from memory
  humidityOffset: 3 * random.normal(),
});
