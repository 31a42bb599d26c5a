import type { Random } from "./random.ts";
import { dayMs, dayOfYear, hourMs, minuteMs, noonElevation, type Place, solarHour, sunElevation } from "./sky.ts";

/** The weather in the garden and what it does to the box, in steps of ten minutes. Ranges: common practice, no source. */

export const weatherStepMs = 10 * minuteMs;
const stepHours = weatherStepMs / hourMs;

/** In the north; about a month after the shortest day (from memory). */
const coldestDay = 22;

export class Weather {
  airCelsius = 0;
  boxCelsius = 0;
  lidCelsius = 0;
  humidity = 70;
  windSpeed = 2; // metres a second
  rainRate = 0; // millimetres of water an hour, also as snow
  snowGrams = 0; // on the lid
  soak = 0; // of the wood, 0 to 1
  foodDamp = 0; // 0 to 1
  readonly #place: Place;
  readonly #random: Random;
  readonly #box: Box;
  #front: number;
  #cloud: number;
  #mist = 0;
  #logWind = 0;

  constructor(place: Place, random: Random, begin: number) {
    this.#place = place;
    this.#random = random;
    this.#box = drawBox(random);
    this.#front = random.normal(0, 3.5);
    this.#cloud = random.normal(0.3, 1.5);
    this.soak = random.uniform(0, 0.5);
    this.step(begin);
    this.boxCelsius = this.airCelsius + this.#box.heat;
  }

  step(at: number): void {
    this.#moveFront();
    this.#air(at);
    this.#rain();
    this.#warmBox(at);
    this.#snow();
    this.#wetness();
  }

  clearSnow(): void {
    this.snowGrams = 0;
  }

  get #cloudCover(): number {
    return 1 / (1 + Math.exp(-this.#cloud));
  }

  #moveFront(): void {
    this.#front = this.#relaxed(this.#front, 60, 3.6);
    if (this.#random.chance(stepHours / (9 * 24))) this.#front -= this.#random.uniform(2, 9); // a cold front passes
    this.#cloud = this.#relaxed(this.#cloud - 0.3, 14, 1.7) + 0.3;
    this.#mist = this.#relaxed(this.#mist, 10, 7);
    this.#logWind = this.#relaxed(this.#logWind, 7, 0.65);
    this.windSpeed = Math.min(25, this.#box.exposure * Math.exp(this.#logWind));
  }

  /** One step of an Ornstein-Uhlenbeck process about 0 with the given correlation time and standard deviation. */
  #relaxed(value: number, hours: number, deviation: number): number {
    const kept = Math.exp(-stepHours / hours);
    return value * kept + this.#random.normal(0, deviation * Math.sqrt(1 - kept * kept));
  }

  #air(at: number): void {
    const { climate, latitudeDegrees } = this.#place;
    const shift = latitudeDegrees < 0 ? 182.6 : 0;
    const season = -climate.season * Math.cos((2 * Math.PI * (dayOfYear(at) - coldestDay - shift)) / 365.2422);
    const sun = Math.max(0.1, Math.min(1, noonElevation(this.#place, at) / 55));
    const clear = 1 - 0.75 * this.#cloudCover;
    const swing = climate.day * sun * clear * Math.cos((2 * Math.PI * (solarHour(this.#place, at) - 15)) / 24);
    this.airCelsius = climate.mean + season + this.#front + swing - (1 - sun) * 4 * clear;
    const humid = 72 + 20 * this.#cloudCover - 3 * swing + this.#mist + (this.rainRate > 0 ? 8 : 0);
    this.humidity = Math.max(18, Math.min(100, humid));
  }

  #rain(): void {
    if (this.rainRate > 0) {
      if (this.#random.chance(stepHours / 3.5)) this.rainRate = 0;
    } else if (this.#random.chance(stepHours * 0.09 * this.#cloudCover ** 3)) {
      this.rainRate = this.#random.exponential(1.3);
    }
  }

  #warmBox(at: number): void {
    const height = Math.max(0, Math.sin((sunElevation(this.#place, at) * Math.PI) / 180));
    const sunshine = height * (1 - 0.8 * this.#cloudCover);
    const target = this.airCelsius + this.#box.heat + this.#box.sunGain * sunshine;
    this.boxCelsius += (target - this.boxCelsius) * (1 - Math.exp(-stepHours / this.#box.lagHours));
    // A lid radiates to a clear sky and falls below the air by a few degrees at night (from memory).
    this.lidCelsius =
      this.airCelsius + this.#box.sunGain * 1.3 * sunshine - 3.5 * (1 - this.#cloudCover) * (1 - height);
  }

  /** A millimetre of water on a square metre is a kilogram; melting takes some grams for each degree and hour (from memory). */
  #snow(): void {
    const isSnow = this.airCelsius < 0.7;
    if (isSnow) this.snowGrams += this.rainRate * stepHours * 1_000 * this.#box.lidArea * this.#box.snowCaught;
    const melting = Math.max(0, this.lidCelsius) * 45 + (isSnow ? 0 : this.rainRate * 60);
    this.snowGrams = Math.max(0, this.snowGrams - melting * stepHours - (this.windSpeed > 8 ? 4 * stepHours : 0));
    if (this.snowGrams > 150 && this.#random.chance(0.004)) this.snowGrams *= this.#random.uniform(0, 0.5); // it slides
    this.snowGrams = Math.min(this.snowGrams, 700);
  }

  #wetness(): void {
    const isRain = this.rainRate > 0 && this.airCelsius >= 0.7;
    const wet = isRain ? 1 : Math.max(0, (this.humidity - 70) / 60);
    this.soak += (wet - this.soak) * (1 - Math.exp(-stepHours / (isRain ? 7 : 40)));
    const damp = Math.min(1, (isRain ? this.#box.leak : 0) + Math.max(0, (this.humidity - 80) / 20) * this.#box.airing);
    this.foodDamp += (damp - this.foodDamp) * (1 - Math.exp(-stepHours / (damp > this.foodDamp ? 9 : 20)));
  }
}

interface Box {
  readonly heat: number; // of the computer in it, Celsius
  readonly sunGain: number; // Celsius in full sun
  readonly lagHours: number;
  readonly leak: number;
  readonly airing: number;
  readonly lidArea: number; // square metres
  readonly snowCaught: number;
  readonly exposure: number; // metres a second of a usual wind
}

const drawBox = (random: Random): Box => ({
  heat: random.uniform(0.3, 6),
  sunGain: random.logUniform(1, 16),
  lagHours: random.logUniform(0.4, 3),
  leak: random.chance(0.5) ? random.uniform(0, 0.2) : random.uniform(0, 0.9),
  airing: random.uniform(0.05, 0.6),
  lidArea: random.logUniform(0.015, 0.12),
  snowCaught: random.uniform(0.1, 0.9),
  exposure: random.logUniform(0.6, 4),
});

/** When a story begins: any day of two years, at any quarter of an hour. */
export function drawBegin(random: Random): number {
  const quarter = 15 * minuteMs;
  return Date.UTC(2025, 0, 1) + random.integer(0, 730) * dayMs + random.integer(0, 95) * quarter;
}
