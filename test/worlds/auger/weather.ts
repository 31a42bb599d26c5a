import { clamp } from "./numbers.ts";
import type { Random } from "./random.ts";
import { type Daylight, daylightOf, place } from "./sun.ts";
import { day, dayBegin, hour } from "./time.ts";

/** What an hour's weather is, at its begin. */
export interface WeatherHour {
  readonly celsius: number;
  readonly humidityPercent: number;
  readonly windMetresPerSecond: number;
  readonly rainMm: number;
  readonly snowMm: number; // as water
  readonly sunshine: number; // 0 in the dark and under thick cloud, 1 at a clear summer noon
}

/**
 * Continental weather, hour by hour. A daily anomaly that remembers the day before, wet and dry spells as a two-state chain, and a
 * daily course of temperature: the usual parts of a weather generator (Richardson, Water Resources Research 17(1), 1981).
 */
export class Weather {
  readonly #random: Random;
  #today: WeatherDay;
  #tomorrow: WeatherDay;
  #slow: SlowState;

  constructor(random: Random, begin: number) {
    this.#random = random;
    this.#slow = { anomaly: 4 * random.normal(), drawn: 0, cloud: random.uniform(), isWet: random.chance(0.3) };
    this.#today = this.#drawDay(dayBegin(begin));
    this.#tomorrow = this.#drawDay(this.#today.begin + day);
  }

  at(time: number): WeatherHour {
    const today = this.#dayOf(time);
    return today.hours[Math.min(23, Math.max(0, Math.floor((time - today.begin) / hour)))] as WeatherHour;
  }

  /** Between the hours along a straight line. */
  celsiusAt(time: number): number {
    const today = this.#dayOf(time);
    const hours = Math.max(0, (time - today.begin) / hour);
    const index = Math.min(23, Math.floor(hours));
    const from = (today.hours[index] as WeatherHour).celsius;
    const to = ((index === 23 ? this.#tomorrow.hours[0] : today.hours[index + 1]) as WeatherHour).celsius;
    return from + (to - from) * (hours - index);
  }

  #dayOf(time: number): WeatherDay {
    while (time >= this.#tomorrow.begin) {
      this.#today = this.#tomorrow;
      this.#tomorrow = this.#drawDay(this.#today.begin + day);
    }
    return this.#today;
  }

  #drawDay(begin: number): WeatherDay {
    const random = this.#random;
    const slow = this.#slow;
    const yearAngle = (2 * Math.PI * ((begin / day) % 365.25)) / 365.25; // day 0 of 1970 is the first of January
    const winter = (1 + Math.cos(yearAngle - 0.3)) / 2; // 1 in the middle of January
    // Day to day correlation and spread of the plains of middle Europe, from memory.
    slow.drawn = 0.75 * slow.drawn + (3.2 + 1.6 * winter) * Math.sqrt(1 - 0.75 ** 2) * random.normal();
    slow.isWet = random.chance(slow.isWet ? 0.52 : 0.22); // some 110 wet days a year, from memory
    slow.cloud = clamp(0.5 * slow.cloud + 0.5 * random.uniform() + 0.15 * (winter - 0.5), 0, 1);
    if (slow.isWet) slow.cloud = Math.max(slow.cloud, 0.7);
    const mean = 11.5 - 11.2 * Math.cos(yearAngle - 0.3); // about 0 °C in January and 23 °C in July, from memory
    const range = (5 + 9 * (1 - slow.cloud)) * (1.1 - 0.45 * winter);
    const rain = drawRain(random, slow.isWet);
    // Weibull with a shape near 2, as usual for wind; small means, since gardens are sheltered (from memory).
    const wind = 2.2 * (-Math.log(1 - random.uniform())) ** (1 / 1.8);
    const dewPoint = mean + slow.drawn - range / 2 - (slow.isWet ? 0 : random.between(0, 5));
    return { begin, hours: this.#drawHours({ begin, mean, range, wind, dewPoint, rain, cloud: slow.cloud }) };
  }

  #drawHours(course: DayCourse): WeatherHour[] {
    const light = daylightOf(course.begin + day / 2);
    const hours: WeatherHour[] = [];
    for (let index = 0; index < 24; index += 1) {
      const slow = this.#slow;
      slow.anomaly += 0.15 * (slow.drawn - slow.anomaly) + 0.35 * this.#random.normal();
      const solarHour = index + place.longitudeDegrees / 15;
      // Warmest at three in the afternoon by the sun.
      const wave = Math.cos((2 * Math.PI * (solarHour - 15)) / 24);
      const celsius = course.mean + slow.anomaly + (course.range / 2) * wave;
      const fallen = index >= course.rain.from && index < course.rain.to ? course.rain.mmPerHour : 0;
      hours.push({
        celsius,
        humidityPercent: humidity(celsius, Math.min(course.dewPoint, celsius)),
        windMetresPerSecond: course.wind * (1 + 0.4 * wave) * this.#random.between(0.7, 1.3),
        rainMm: celsius > 0.8 ? fallen : 0,
        snowMm: celsius > 0.8 ? 0 : fallen,
        sunshine: sunHeight(light, course.begin + (index + 0.5) * hour) * (1 - 0.9 * course.cloud ** 2),
      });
    }
    return hours;
  }
}

interface WeatherDay {
  readonly begin: number;
  readonly hours: readonly WeatherHour[];
}

interface SlowState {
  anomaly: number; // of this hour
  drawn: number; // of this day: the hours follow it
  cloud: number;
  isWet: boolean;
}

interface DayCourse {
  readonly begin: number;
  readonly mean: number;
  readonly range: number;
  readonly wind: number;
  readonly dewPoint: number;
  readonly rain: Rain;
  readonly cloud: number;
}

interface Rain {
  readonly from: number;
  readonly to: number;
  readonly mmPerHour: number;
}

/** Five to six millimetres on a wet day, within some hours (from memory). */
function drawRain(random: Random, isWet: boolean): Rain {
  const from = random.whole(0, 20);
  const length = random.whole(2, 12);
  const mm = random.exponential(5.5);
  return isWet ? { from, to: Math.min(24, from + length), mmPerHour: mm / length } : { from: 0, to: 0, mmPerHour: 0 };
}

/** Magnus' formula with the coefficients of Alduchov and Eskridge (Journal of Applied Meteorology 35(4), 1996). */
function humidity(celsius: number, dewPoint: number): number {
  const pressure = (t: number) => Math.exp((17.625 * t) / (243.04 + t));
  return clamp((100 * pressure(dewPoint)) / pressure(celsius), 15, 100);
}

const sunHeight = ({ sunrise, sunset }: Daylight, at: number): number =>
  at <= sunrise || at >= sunset
    ? 0
    : Math.sin((Math.PI * (at - sunrise)) / (sunset - sunrise)) * Math.min(1, (sunset - sunrise) / (15.5 * hour));
