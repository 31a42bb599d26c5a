import type { FeederSettings } from "../feeder.ts";
import { after, between, days, type Instant, inDays } from "../instant.ts";
import { type GramsPerDay, gramsPerDay } from "../units.ts";
import { addHours, hourOf, hoursOfLight } from "./activity.ts";

/**
 * How fast the hopper empties. Birds eat by day only, so a rate by the clock would be too high in the evening and too low
 * at dawn: what was eaten is kept by hour of the day, each hour is set against how often that hour was watched, and the
 * sum over the hours is a day's appetite. Past days are forgotten exponentially. The scatter from day to day is learnt
 * beside it, since weather and company change the birds' appetite far more than chance alone would.
 */
export interface Appetite {
  readonly since: Instant | null; // null until something was heard
  readonly at: Instant; // watched up to here
  readonly dayStart: Instant; // of the day that is being counted: 24 h from `since`, whatever the calendar says
  readonly dayEaten: number; // g
  readonly days: number; // whole days counted so far, at most `daysRemembered`
  readonly dayMean: number; // g, exponentially forgotten
  readonly dayVariance: number; // g²
  /** What was eaten by hour of the day in UTC: 24 numbers in grams, those of past days forgotten with each whole day. */
  readonly byHour: readonly number[];
}

/** Three days: long enough to smooth one day of rain, short enough to follow the first frost. Common practice, no source. */
const memoryDays = 3;
const keptEachDay = Math.exp(-1 / memoryDays);
const daysRemembered = 30;
const dayMilliseconds = 86_400_000;
/** Sooner than this nothing is claimed: a quarter of an hour of a hungry flock says nothing about a day. */
const watchedHoursMin = 2;
/** Nor before a quarter of the day's light has passed: birds are busiest early or late, and what they did then is projected. */
const shareSeenMin = 0.25;
/** A midsummer's light lasts longer than the birds' hunger: no more hours than this are projected. Common practice, no source. */
const mealHoursMax = 12;

export const unknownAppetite = (now: Instant): Appetite => ({
  since: null,
  at: now,
  dayStart: now,
  dayEaten: 0,
  days: 0,
  dayMean: 0,
  dayVariance: 0,
  byHour: new Array<number>(24).fill(0),
});

/** Until then a day's appetite is projected from a part of the day. */
export const wholeDayWatched = (appetite: Appetite): boolean => appetite.days >= 1;

/** All that was eaten up to `at` has been told. */
export function watchedUntil(appetite: Appetite, at: Instant): Appetite {
  if (appetite.since === null) return { ...unknownAppetite(at), since: at };
  return at <= appetite.at ? appetite : counted(dayOf(appetite, at), 0, at);
}

/** So much was eaten at this moment, which may be older than what was told before. Negative where a reading takes it back. */
export function ate(appetite: Appetite, mass: number, at: Instant): Appetite {
  if (appetite.since === null) return ate(watchedUntil(appetite, at), mass, at);
  return at < appetite.since ? appetite : counted(dayOf(appetite, at), mass, at);
}

const dayOf = (appetite: Appetite, at: Instant): Appetite =>
  at - appetite.dayStart >= dayMilliseconds ? daysClosed(appetite, at) : appetite;

function counted(appetite: Appetite, mass: number, at: Instant): Appetite {
  // Spelled out, here and in all that runs once a portion: a spread costs ten times as much.
  return {
    since: appetite.since,
    at: at > appetite.at ? at : appetite.at,
    dayStart: appetite.dayStart,
    dayEaten: at >= appetite.dayStart ? appetite.dayEaten + mass : appetite.dayEaten,
    days: appetite.days,
    dayMean: appetite.dayMean,
    dayVariance: appetite.dayVariance,
    byHour: mass === 0 ? appetite.byHour : withMass(appetite.byHour, mass, at),
  };
}

function withMass(byHour: readonly number[], mass: number, at: Instant): readonly number[] {
  const next = byHour.slice();
  const hour = hourOf(at);
  next[hour] = (next[hour] ?? 0) + mass;
  return next;
}

export interface EatingRate {
  readonly mean: GramsPerDay;
  /** Of a day's total, g² per day: the diffusion of the level. */
  readonly variance: number;
  /** Of the mean itself, (g/day)²: small data, large doubt. */
  readonly meanVariance: number;
  /** Which share of a day's meal falls into each hour (UTC): 24 numbers that sum to 1. */
  readonly hourShares: readonly number[];
}

type Yard = Pick<FeederSettings, "place" | "zone">;

/** Null while too little was watched. `portion` and `spread` in grams: what comes in lumps scatters at least by them. */
export function eatingRate(appetite: Appetite, portion: number, spread: number, yard: Yard): EatingRate | null {
  const seen = wholeDayWatched(appetite) ? byHours(appetite) : onFirstDay(appetite, yard);
  if (seen === null) return null;
  const { mean, share, hourShares } = seen;
  // Compound Poisson: rate * (w² + s²) for portions of mean w and spread s (references: time to empty).
  const byPortions = (mean * (portion * portion + spread * spread)) / portion;
  // Until days could be compared: a day's appetite is taken to scatter by a third. Common practice, no source.
  const byDays = appetite.days >= 3 ? appetite.dayVariance : (mean / 3) ** 2;
  const watchedDays = Math.max(1, inDays(between(appetite.since ?? appetite.at, appetite.at)));
  const remembered = memoryDays * (1 - Math.exp(-watchedDays / memoryDays));
  // Chance evens out with the share of the day that was seen, the day's own weather doesn't; and the hours that were not
  // seen may be half as busy again as the others, or half as quiet.
  const known = Math.max(byPortions / share, byDays) / remembered;
  const unseen = ((1 - share) * (mean / 2)) ** 2;
  return {
    mean: gramsPerDay(mean),
    variance: Math.max(byPortions, byDays),
    meanVariance: known + unseen,
    hourShares,
  };
}

interface Seen {
  readonly mean: number; // g per day
  readonly share: number; // of a day's light that has been seen by now, 0 to 1
  readonly hourShares: readonly number[];
}

/**
 * Before a whole day was watched: what was eaten in the hours of light that have passed stands for the hours of light to
 * come. An hour in which birds ate is one of theirs, whatever the sun says. That nothing was eaten yet is no rate.
 */
function onFirstDay(appetite: Appetite, yard: Yard): Seen | null {
  const { since, at, byHour } = appetite;
  if (since === null || inDays(between(since, at)) * 24 < watchedHoursMin) return null;
  const light = hoursOfLight(yard, since).map((part, hour) => ((byHour[hour] ?? 0) > 0 ? 1 : part));
  const passed = partsWatched(since, at);
  let hoursSeen = 0;
  let hoursInAll = 0;
  let eaten = 0;
  for (let hour = 0; hour < 24; hour += 1) {
    hoursSeen += (light[hour] ?? 0) * (passed[hour] ?? 0);
    hoursInAll += light[hour] ?? 0;
    eaten += byHour[hour] ?? 0;
  }
  const share = hoursSeen / hoursInAll;
  if (hoursSeen < watchedHoursMin || share < shareSeenMin || eaten <= 0) return null;
  const mealSeen = Math.min(1, hoursSeen / Math.min(hoursInAll, mealHoursMax));
  return { mean: eaten / mealSeen, share, hourShares: shared(light) };
}

/** From the first whole day on each hour speaks for itself: grams over how often it was watched, forgotten alike. */
function byHours(appetite: Appetite): Seen {
  const { dayStart, at, byHour } = appetite;
  const daysBefore = (keptEachDay * (1 - keptEachDay ** appetite.days)) / (1 - keptEachDay);
  const today = partsWatched(dayStart, at);
  const eaten = byHour.map((mass, hour) => mass / (daysBefore + (today[hour] ?? 0)));
  const mean = eaten.reduce((sum, mass) => sum + mass, 0);
  return { mean: Math.max(0, mean), share: 1, hourShares: shared(eaten) };
}

/** Which part of each hour of the day lies between two moments that are a day apart at most. */
function partsWatched(from: Instant, to: Instant): readonly number[] {
  const parts = new Array<number>(24).fill(0);
  addHours(parts, from, to);
  return parts;
}

/** A tenth is spread evenly: an hour that saw nobody so far isn't impossible. */
function shared(weights: readonly number[]): readonly number[] {
  const total = weights.reduce((sum, weight) => sum + Math.max(0, weight), 0);
  if (total <= 0) return new Array<number>(24).fill(1 / 24);
  return weights.map((weight) => 0.1 / 24 + (0.9 * Math.max(0, weight)) / total);
}

function daysClosed(appetite: Appetite, at: Instant): Appetite {
  const whole = Math.floor((at - appetite.dayStart) / dayMilliseconds);
  let { dayMean, dayVariance, dayEaten, days: counting } = appetite;
  // Longer than the memory: the older of the empty days would be forgotten anyway.
  for (let day = 0; day < Math.min(whole, daysRemembered); day += 1) {
    const gain = Math.max(1 - keptEachDay, 1 / (counting + 1)); // the first days count alike
    const off = dayEaten - dayMean;
    dayMean += gain * off;
    dayVariance = (1 - gain) * (dayVariance + gain * off * off);
    dayEaten = 0;
    counting = Math.min(counting + 1, daysRemembered);
  }
  const kept = keptEachDay ** whole;
  const dayStart = after(appetite.dayStart, days(whole));
  const byHour = appetite.byHour.map((mass) => mass * kept);
  return { ...appetite, dayStart, dayEaten, days: counting, dayMean, dayVariance, byHour };
}
