import { clamp } from "./numbers.ts";
import type { Random } from "./random.ts";
import { daylightOf } from "./sun.ts";
import { day, dayBegin, hour, minute } from "./time.ts";
import type { WeatherHour } from "./weather.ts";

/** The infrared beam across the chute, which counts what breaks it. */
export class Beam {
  readonly #traits: BeamTraits;
  readonly #random: Random;
  #dust = 0; // share of the light that it takes

  constructor(random: Random, capacity: number) {
    this.#random = random;
    this.#traits = drawTraits(random, capacity);
  }

  /** @param sightLeft what a planted fault leaves of the light: 1 in health */
  count(at: number, pieces: number, weather: WeatherHour, sightLeft: number): number {
    const { missed, shadowed, doubled, sunCatch } = this.#traits;
    const random = this.#random;
    const sees = this.#sees((1 - this.#dust) * sightLeft) * (1 - missed);
    const seen = sees * (this.#isDazzled(at, weather) ? sunCatch : 1);
    // The more fall together, the more of them hide behind each other.
    const shadow = clamp((shadowed * (pieces - 1)) / 5, 0, 0.5);
    let count = 0;
    for (let piece = 0; piece < pieces; piece += 1) {
      if (!random.chance(seen) || (piece > 0 && random.chance(shadow))) continue;
      count += random.chance(doubled) ? 2 : 1; // it turns over as it falls
    }
    return count;
  }

  /** Counts that no piece made: insects, a spider's thread, sunlight between leaves. */
  strayCounts(at: number, span: number, weather: WeatherHour, sightLeft: number): number {
    const rate = this.#traits.straysPerHour + (this.#isDazzled(at, weather) ? this.#traits.sunStraysPerHour : 0);
    return this.#sees(sightLeft) > 0.5 ? this.#random.poisson((rate * span) / hour) : 0;
  }

  soil(grams: number): void {
    this.#dust = Math.min(this.#traits.dustMax, this.#dust + grams * this.#traits.dustPerGram);
  }

  clean(): void {
    this.#dust *= this.#random.between(0, 0.25);
  }

  /** A comparator: with enough light it sees every piece, and below its threshold none. */
  #sees(light: number): number {
    const { blindBelow, sureAbove } = this.#traits;
    return clamp((light - blindBelow) / (sureAbove - blindBelow), 0, 1);
  }

  /** On clear mornings of some weeks of the year the low sun shines into the receiver. */
  #isDazzled(at: number, weather: WeatherHour): boolean {
    const { facesSun, sunDay, sunDays, sunFrom, sunSpan } = this.#traits;
    if (!facesSun || weather.sunshine < 0.05) return false;
    const dayOfYear = (dayBegin(at) / day) % 365.25;
    if (Math.min(Math.abs(dayOfYear - sunDay), Math.abs(dayOfYear - (344 - sunDay))) > sunDays) return false;
    const since = at - daylightOf(at).sunrise;
    return since > sunFrom && since < sunFrom + sunSpan;
  }
}

interface BeamTraits {
  readonly missed: number;
  readonly shadowed: number;
  readonly doubled: number;
  readonly blindBelow: number;
  readonly sureAbove: number;
  readonly dustPerGram: number;
  readonly dustMax: number;
  readonly straysPerHour: number;
  readonly facesSun: boolean;
  readonly sunDay: number; // the sun rises at the same place on two days a year, as far from midsummer
  readonly sunDays: number;
  readonly sunFrom: number;
  readonly sunSpan: number;
  readonly sunCatch: number;
  readonly sunStraysPerHour: number;
}

/** How well home-made beams count: common practice, no source. */
const drawTraits = (random: Random, capacity: number): BeamTraits => ({
  missed: random.logBetween(0.003, 0.08),
  shadowed: random.between(0.02, 0.25),
  doubled: random.between(0.005, 0.07),
  blindBelow: random.between(0.1, 0.3),
  sureAbove: random.between(0.45, 0.8),
  // A hopper of food takes 1 to 10 % of the light.
  dustPerGram: random.logBetween(0.01, 0.1) / capacity,
  dustMax: random.between(0.15, 0.3),
  straysPerHour: random.logBetween(0.001, 0.1),
  facesSun: random.chance(0.35),
  sunDay: random.between(20, 165),
  sunDays: random.between(10, 30),
  sunFrom: random.between(5, 110) * minute,
  sunSpan: random.between(10, 60) * minute,
  sunCatch: random.between(0, 0.5),
  sunStraysPerHour: random.chance(0.4) ? random.logBetween(1, 40) : 0,
});
