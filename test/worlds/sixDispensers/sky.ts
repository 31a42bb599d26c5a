import { day, hour } from "./agenda.ts";
import { localHour, type Place, Sun, yearShare } from "./place.ts";
import { type Stream, Wander } from "./stream.ts";

/** The weather at one moment. */
export interface Sky {
  air: number; // °C in the shade
  humidity: number; // percent over water
  cloud: number; // 0 clear, 1 overcast
  wind: number; // m/s, mean of some minutes
  rain: number; // mm an hour
  snow: number; // mm of water an hour
  sun: number; // sine of the sun's height, negative at night
  damp: number; // 0..1: how wet wood and food in a box of this place are; days behind the air
}

/**
 * The weather, hour by hour, straight lines between. Temperature is season, day and fronts; moisture follows the dew point;
 * rain comes in spells. The forms are common in weather generators (Richardson 1981); the numbers are the place's.
 */
export class Weather {
  readonly #stream: Stream;
  readonly #place: Place;
  readonly sun: Sun;
  readonly now: Sky;
  readonly #fronts: Wander;
  readonly #cloudiness: Wander;
  readonly #gusts: Wander;
  readonly #moisture: Wander;
  #before: Hour;
  #after: Hour;
  #hourAt: number;
  #wetFor = 0; // hours left of this spell
  #rate = 0; // mm an hour in it
  #damp = 0.4;

  constructor(stream: Stream, place: Place, at: number) {
    this.#stream = stream;
    this.#place = place;
    this.sun = new Sun(place);
    this.#fronts = new Wander(stream, place.fronts, 2.5 * day, at);
    this.#cloudiness = new Wander(stream, 1.6, 14 * hour, at);
    this.#gusts = new Wander(stream, 0.6, 9 * hour, at);
    this.#moisture = new Wander(stream, 9, 2 * day, at);
    this.#hourAt = at;
    this.#before = this.#nextHour(at);
    this.#after = this.#nextHour(at + hour);
    this.now = { air: 0, humidity: 60, cloud: 0.5, wind: 1, rain: 0, snow: 0, sun: 0, damp: 0.4 };
    this.to(at);
  }

  to(at: number): Sky {
    while (at >= this.#hourAt + hour) {
      this.#hourAt += hour;
      this.#before = this.#after;
      this.#after = this.#nextHour(this.#hourAt + hour);
    }
    const share = (at - this.#hourAt) / hour;
    const { now } = this;
    const before = this.#before;
    const after = this.#after;
    now.air = before.air + share * (after.air - before.air);
    now.humidity = before.humidity + share * (after.humidity - before.humidity);
    now.cloud = before.cloud + share * (after.cloud - before.cloud);
    now.wind = before.wind + share * (after.wind - before.wind);
    now.rain = before.rain;
    now.snow = before.snow;
    now.damp = before.damp;
    now.sun = this.sun.heightSine(at);
    return now;
  }

  #nextHour(at: number): Hour {
    const place = this.#place;
    const cloud = 1 / (1 + Math.exp(-this.#cloudiness.to(at) - (this.#wetFor > 0 ? 2 : 0)));
    const clock = localHour(at, place.longitude);
    const clear = 1 - 0.75 * cloud;
    // Coldest near sunrise, warmest in the afternoon; the sea and the ground lag the sun by a month.
    const season = Math.cos(2 * Math.PI * (yearShare(at) - 0.56)) * Math.sign(place.latitude);
    const ofDay = Math.cos((2 * Math.PI * (clock - 15)) / 24) * place.daySwing * clear;
    const mean = place.yearMean + place.yearSwing * season + this.#fronts.to(at);
    const air = mean + ofDay;
    const wet = this.#nextRain();
    const dewPoint = dewPointOf(mean, Math.min(99, Math.max(20, place.humidDay + this.#moisture.to(at))));
    const humidity = Math.min(100, humidityOf(air, dewPoint) + (wet > 0 ? 12 : 0));
    const wind =
      place.windMean * Math.exp(this.#gusts.to(at) - 0.18) * (0.8 + 0.4 * Math.max(0, ofDay / place.daySwing));
    const snowShare = Math.min(1, Math.max(0, (1.8 - air) / 1.6)); // wet snow between: common practice, no source
    this.#damp += (Math.max(0, (humidity - 45) / 55) ** 2 + (wet > 0 ? 0.3 : 0) - this.#damp) * (1 - Math.exp(-1 / 40));
    const damp = Math.min(1, Math.max(0, this.#damp));
    return { air, humidity, cloud, wind, rain: wet * (1 - snowShare), snow: wet * snowShare, damp };
  }

  /** Spells of a few hours; the dry time between is what the place's share of wet hours leaves. */
  #nextRain(): number {
    if (this.#wetFor > 0) {
      this.#wetFor -= 1;
      return this.#rate * this.#stream.uniform(0.2, 1.8);
    }
    const spell = 4; // hours on average
    const begins = this.#place.wetShare / (1 - this.#place.wetShare) / spell;
    if (this.#stream.chance(begins)) {
      this.#wetFor = Math.ceil(this.#stream.exponential(spell));
      this.#rate = this.#stream.exponential(1);
    }
    return 0;
  }
}

type Hour = Pick<Sky, "air" | "humidity" | "cloud" | "wind" | "rain" | "snow" | "damp">;

/** Magnus's formula with the constants of Alduchov and Eskridge (1996). */
const saturation = (celsius: number): number => 6.1094 * Math.exp((17.625 * celsius) / (celsius + 243.04));

export function dewPointOf(celsius: number, humidity: number): number {
  const log = Math.log((saturation(celsius) * humidity) / 100 / 6.1094);
  return (243.04 * log) / (17.625 - log);
}

export const humidityOf = (celsius: number, dewPoint: number): number =>
  Math.min(100, (100 * saturation(dewPoint)) / saturation(celsius));
