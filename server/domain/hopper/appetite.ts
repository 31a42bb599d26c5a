import { between, type Instant, inDays } from "../instant.ts";
import { type GramsPerDay, gramsPerDay } from "../units.ts";

/**
 * How fast the hopper empties, with the past forgotten exponentially: what was eaten, over the time that was watched,
 * both discounted alike. The scatter from day to day is learnt beside it, since weather and company change the birds'
 * appetite far more than chance alone would.
 */
export interface Appetite {
  readonly since: Instant | null; // null until something was heard
  readonly at: Instant; // watched up to here
  readonly eaten: number; // g, discounted to `at`
  readonly dayStart: Instant; // of the day that is being counted: 24 h from `since`, whatever the calendar says
  readonly dayEaten: number; // g
  readonly days: number; // whole days counted so far, at most `daysRemembered`
  readonly dayMean: number; // g, exponentially forgotten
  readonly dayVariance: number; // g²
  /** What was eaten by hour of the day in UTC, forgotten like the rest: 24 numbers in grams. */
  readonly byHour: readonly number[];
}

/** Three days: long enough to smooth one day of rain, short enough to follow the first frost. Common practice, no source. */
const memoryDays = 3;
const keptEachDay = Math.exp(-1 / memoryDays);
const daysRemembered = 30;
const dayMilliseconds = 86_400_000;
/** Sooner than this nothing is claimed: a quarter of an hour of a hungry flock says nothing about a day. */
const watchedDaysMin = 2 / 24;

export const unknownAppetite = (now: Instant): Appetite => ({
  since: null,
  at: now,
  eaten: 0,
  dayStart: now,
  dayEaten: 0,
  days: 0,
  dayMean: 0,
  dayVariance: 0,
  byHour: new Array<number>(24).fill(0),
});

/** All that was eaten up to `at` has been told. */
export function watchedUntil(appetite: Appetite, at: Instant): Appetite {
  if (appetite.since === null) return { ...unknownAppetite(at), since: at };
  return at <= appetite.at ? appetite : movedOn(appetite, at, 0, appetite.byHour);
}

/** So much was eaten at this moment, which may be older than what was told before. Negative where a reading takes it back. */
export function ate(appetite: Appetite, mass: number, at: Instant): Appetite {
  if (appetite.since === null) return ate(watchedUntil(appetite, at), mass, at);
  if (at < appetite.since) return appetite;
  const hour = Math.floor(at / 3_600_000) % 24;
  const byHour = appetite.byHour.slice();
  byHour[hour] = Math.max(0, (byHour[hour] ?? 0) + mass);
  return movedOn(appetite, at, mass, byHour);
}

/** Where `at` is older than what is known, the mass is discounted instead of the rest. */
function movedOn(appetite: Appetite, at: Instant, mass: number, byHour: readonly number[] | null): Appetite {
  if (at - appetite.dayStart >= dayMilliseconds)
    return movedOn(daysClosed({ ...appetite, byHour: byHour ?? appetite.byHour }, at), at, mass, null);
  const step = between(appetite.at, at);
  const kept = Math.exp(-Math.abs(inDays(step)) / memoryDays);
  // Spelled out, here and in all that runs once a portion: a spread costs ten times as much.
  return {
    since: appetite.since,
    at: step > 0 ? at : appetite.at,
    eaten: step > 0 ? appetite.eaten * kept + mass : appetite.eaten + mass * kept,
    dayStart: appetite.dayStart,
    dayEaten: at >= appetite.dayStart ? appetite.dayEaten + mass : appetite.dayEaten,
    days: appetite.days,
    dayMean: appetite.dayMean,
    dayVariance: appetite.dayVariance,
    byHour: byHour ?? appetite.byHour,
  };
}

export interface EatingRate {
  readonly mean: GramsPerDay;
  /** Of a day's total, g² per day: the diffusion of the level. */
  readonly variance: number;
  /** Of the mean itself, (g/day)²: small data, large doubt. */
  readonly meanVariance: number;
}

/** Null while too little was watched. `portion` and `spread` in grams: what comes in lumps scatters at least by them. */
export function eatingRate(appetite: Appetite, portion: number, spread: number): EatingRate | null {
  if (appetite.since === null) return null;
  const watchedDays = (appetite.at - appetite.since) / dayMilliseconds;
  if (watchedDays < watchedDaysMin) return null;
  // Birds eat by day only, so a few hours may be most of a day's meal: before half a day is over it counts as one.
  const discountedDays = Math.max(memoryDays * (1 - Math.exp(-watchedDays / memoryDays)), 0.5);
  const mean = Math.max(0, appetite.eaten / discountedDays);
  // Compound Poisson: rate * (w² + s²) for portions of mean w and spread s (references: time to empty).
  const byPortions = (mean * (portion * portion + spread * spread)) / portion;
  // Until days could be compared: a day's appetite is taken to scatter by a third. Common practice, no source.
  const byDays = appetite.days >= 3 ? appetite.dayVariance : (mean / 3) ** 2;
  const variance = Math.max(byPortions, byDays);
  const firstDay = watchedDays < 1 ? (mean / 2) ** 2 : 0; // which part of the day was it?
  return { mean: gramsPerDay(mean), variance, meanVariance: variance / discountedDays + firstDay };
}

/** Which share of a day's meal falls into each hour (UTC); even until a whole day has been seen. Sums to 1. */
export function hourShares(appetite: Appetite): readonly number[] {
  const total = appetite.byHour.reduce((sum, mass) => sum + mass, 0);
  if (appetite.days < 1 || total <= 0) return new Array<number>(24).fill(1 / 24);
  // A tenth is spread evenly: an hour that saw nobody so far isn't impossible.
  return appetite.byHour.map((mass) => 0.1 / 24 + (0.9 * mass) / total);
}

function daysClosed(appetite: Appetite, at: Instant): Appetite {
  const whole = Math.floor((at - appetite.dayStart) / dayMilliseconds);
  let { dayMean, dayVariance, dayEaten, days } = appetite;
  // Longer than the memory: the older of the empty days would be forgotten anyway.
  for (let day = 0; day < Math.min(whole, daysRemembered); day += 1) {
    const gain = Math.max(1 - keptEachDay, 1 / (days + 1)); // the first days count alike
    const off = dayEaten - dayMean;
    dayMean += gain * off;
    dayVariance = (1 - gain) * (dayVariance + gain * off * off);
    dayEaten = 0;
    days = Math.min(days + 1, daysRemembered);
  }
  const kept = keptEachDay ** whole;
  const dayStart = (appetite.dayStart + whole * dayMilliseconds) as Instant;
  const byHour = appetite.byHour.map((mass) => mass * kept);
  return { ...appetite, dayStart, dayEaten, days, dayMean, dayVariance, byHour };
}
