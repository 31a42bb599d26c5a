import { type Instant, instant } from "../../server/domain/instant.ts";
import { addLocalDays, type LocalDate, startOfLocalDay } from "../../server/domain/localTime.ts";
import type { Place } from "../../server/domain/settings.ts";
import { Random } from "./random.ts";

/**
 * Goal: weather that moves the birds' numbers, so that a change of weather may look like learning. Method: a yearly and
 * a daily wave by latitude, and first-order autoregressive days; each day is drawn from seed and date alone, so replay
 * needs no days before. Climate figures are our choice, near those of the temperate zones.
 */
export interface DayWeather {
  readonly from: Instant; // start of the local day
  readonly hourly: readonly HourWeather[];
}
export interface HourWeather {
  readonly airCelsius: number;
  readonly windMetersPerSecond: number;
  readonly rainMillimeters: number;
}

export const hour = 3_600_000;

export function drawWeather(seed: number, place: Place, zone: string, date: LocalDate): DayWeather {
  const from = startOfLocalDay(date, zone);
  const hours = Math.round((startOfLocalDay(addLocalDays(date, 1), zone) - from) / hour);
  const latitude = Math.abs(place.latitudeDegrees);
  const dayMean = 27 - 0.37 * latitude + (4 + 0.13 * latitude) * summer(place, date) + 4 * wave(seed, "warmth", date);
  const calm = Math.exp(0.45 * wave(seed, "wind", date));
  const wetness = wave(seed, "rain", date);
  const random = new Random(seed, "weather", dayNumberOf(date));
  const swing = random.between(1, 6) * (wetness > 0.5 ? 0.4 : 1);
  const rainFrom = random.between(-4, 24);
  const rainTo = rainFrom + random.logBetween(1, 20);
  const hourly = Array.from({ length: hours }, (_, index) => ({
    airCelsius: Math.round(10 * (dayMean + swing * Math.cos((2 * Math.PI * (index - 15)) / 24))) / 10 + 0,
    windMetersPerSecond: 3 * calm * (1 + 0.4 * Math.cos((2 * Math.PI * (index - 14)) / 24)) * random.factor(0.3),
    rainMillimeters: wetness > 0.3 && index >= rainFrom && index < rainTo ? random.exponential(1.2) : 0,
  }));
  return { from, hourly };
}

export function weatherAt({ from, hourly }: DayWeather, at: number): HourWeather {
  const found = hourly[Math.max(0, Math.min(hourly.length - 1, Math.floor((at - from) / hour)))];
  if (found === undefined) throw new RangeError(`expected weather at ${at}, got ${hourly.length} hours`);
  return found;
}

export const hourlyAir = ({ from, hourly }: DayWeather) =>
  hourly.map(({ airCelsius }, index) => ({ at: instant(from + index * hour), airCelsius }));

/**
 * How many birds come, compared with a mild dry day: fewer in wind, rain and strong heat, more in frost. Sizes are our
 * choice.
 */
export function comingInWeather({ airCelsius, windMetersPerSecond, rainMillimeters }: HourWeather): number {
  const wind = 1 / (1 + Math.max(0, windMetersPerSecond - 5) / 5);
  const rain = 1 / (1 + 0.4 * rainMillimeters);
  const heat = Math.max(0.25, 1 - 0.06 * Math.max(0, airCelsius - 26));
  const frost = Math.min(1.6, 1 + 0.05 * Math.max(0, -airCelsius));
  return wind * rain * heat * frost;
}

/** 1 on an ordinary day. */
export const meanWind = ({ hourly }: DayWeather): number =>
  hourly.reduce((sum, { windMetersPerSecond }) => sum + windMetersPerSecond, 0) / hourly.length / 3.2;

/** 1 in the height of summer, -1 in the depth of winter; a month after the solstices. */
const summer = (place: Place, date: LocalDate): number => Math.cos(2 * Math.PI * (yearShare(place, date) - 200 / 365));

/** 0 to 1; on the southern half of the earth the year begins in July, so that one season has one number. */
export function yearShare(place: Place, date: LocalDate): number {
  const shift = place.latitudeDegrees < 0 ? 182.6 : 0;
  return ((dayNumberOf(date) - dayNumberOf(`${date.slice(0, 4)}-01-01`) + shift) / 365.25) % 1;
}

/** Since 1970. */
export const dayNumberOf = (date: LocalDate): number => Math.round(Date.parse(`${date}T00:00:00Z`) / (24 * hour));

/** Of spread 1; a day resembles the day before (correlation 0.75). */
function wave(seed: number, name: string, date: LocalDate): number {
  const today = dayNumberOf(date);
  let sum = 0;
  for (let back = 0; back < 14; back += 1) sum += 0.75 ** back * new Random(seed, name, today - back).normal();
  return sum * Math.sqrt(1 - 0.75 ** 2);
}
