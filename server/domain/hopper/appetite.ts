import { type Instant, instant, later } from "../instant.ts";
import {
  type DailyAppetite,
  eatenRelativeVariance,
  initialDailyAppetite,
  logRateAhead,
  startNextDay,
  updateByDay,
  updateByToday,
} from "./dailyAppetite.ts";
import {
  type DaySpan,
  daylightParts,
  daySpanAt,
  isDaylightPart,
  lightHours,
  partAt,
  partsBeforeDawn,
  partsOfDay,
  type YardLocation,
} from "./daySpan.ts";

/**
 * How fast the hopper empties. Birds eat by day only, so a rate by the clock would be too high in the evening and too low at
 * dawn: what was eaten is stored by parts of the day that move with dawn and dusk (daySpan.ts), and how much it is a day is
 * learnt from whole days (dailyAppetite.ts). While the hopper is empty nobody can eat, and nothing is learnt.
 */
export interface Appetite {
  readonly watchedSince: Instant | null; // null until the first report
  readonly watchedUntil: Instant; // watched up to here
  readonly dayStart: Instant; // of what is being counted: the day's beginning, or where watching began
  readonly dayEaten: number; // g
  readonly dayPortions: number; // portions
  readonly dayEmptyShare: number; // share of a usual day's meal that couldn't be eaten, for an empty hopper
  readonly daily: DailyAppetite | null; // null until a day, or enough of one, has been watched
  /** What was eaten by part of the day: 24 numbers in grams, of past days, forgotten with each. */
  readonly eatenByPart: readonly number[];
  readonly daysWatchedByPart: readonly number[]; // how often each part was watched, forgotten alike
  readonly eatenTodayByPart: readonly number[];
  /** Days without a report of food, and what was known before them; null where food was eaten on the last one. */
  readonly unobserved: { readonly since: Instant; readonly daily: DailyAppetite } | null;
}

/** A week: habits change with the season, not with the weather. Common practice, no source. */
const memoryPerDay = Math.exp(-1 / 7);
/** The light's own evenness counts as much as half a day of seeing for oneself. */
const priorDays = 0.5;
/** Of a part of the night against one of the light: timers and early risers. */
const nightShare = 0.05;
/**
 * No forecast before a quarter of the day's meal has passed, which takes two hours at least: a quarter of an hour of a hungry flock
 * says nothing about a day, and birds are busiest early or late.
 */
const shareSeenMin = 0.25;
/** A day that was seen for less than this teaches nothing about whole days. */
const shareToLearnMin = 0.3;
/** On a longer day birds eat more slowly: with the root of its light. Between a bird's need, which is the same, and its hours. */
const lightFactor = (day: DaySpan): number => Math.sqrt(lightHours(day) / 8);
/** After a longer absence than this the days between are all alike: none of them was watched. */
const daysGoneMax = 30;

const zeroByPart: readonly number[] = new Array<number>(partsOfDay).fill(0);

export const initialAppetite = (now: Instant): Appetite => ({
  watchedSince: null,
  watchedUntil: now,
  dayStart: now,
  dayEaten: 0,
  dayPortions: 0,
  dayEmptyShare: 0,
  daily: null,
  eatenByPart: zeroByPart,
  daysWatchedByPart: zeroByPart,
  eatenTodayByPart: zeroByPart,
  unobserved: null,
});

/** Until then one day, or a part of one, stands for all, and much of the uncertainty comes from that. */
export const hasComparedDays = ({ daily, watchedSince, watchedUntil }: Appetite): boolean =>
  daily !== null && watchedSince !== null && watchedUntil - watchedSince >= 2 * dayLong;

/** Watched for a day at least, and nobody ever came. */
export const isUnvisited = ({ daily, watchedSince, watchedUntil, eatenByPart }: Appetite): boolean =>
  daily === null &&
  watchedSince !== null &&
  watchedUntil - watchedSince >= dayLong &&
  eatenByPart.every((mass) => mass <= 0);

/** Grams that these birds eat on a usual day, by the days that are remembered; null while none is. */
export function usualDailyGrams({ eatenByPart, daysWatchedByPart }: Appetite): number | null {
  let [eaten, observedDays] = [0, 0];
  for (let part = 0; part < partsOfDay; part += 1) {
    eaten += Math.max(0, eatenByPart[part] ?? 0);
    observedDays += (daysWatchedByPart[part] ?? 0) * (priorPartShares[part] ?? 0);
  }
  return eaten <= 0 || observedDays <= 0 ? null : eaten / observedDays;
}

/** All meals up to `at` have been reported. `isEmpty`: the hopper was empty, so that nobody could eat. */
export function updateAppetiteUntil(appetite: Appetite, at: Instant, yard: YardLocation, isEmpty = false): Appetite {
  if (appetite.watchedSince === null) return { ...initialAppetite(at), watchedSince: at };
  if (at <= appetite.watchedUntil) return appetite;
  const day = daySpanAt(yard, appetite.watchedUntil);
  if (at >= day.to) return updateAppetiteUntil(closeDay(appetite, day, yard, isEmpty, at), at, yard, isEmpty);
  return {
    watchedSince: appetite.watchedSince,
    watchedUntil: at,
    dayStart: appetite.dayStart,
    dayEaten: appetite.dayEaten,
    dayPortions: appetite.dayPortions,
    dayEmptyShare: isEmpty
      ? appetite.dayEmptyShare + shareBetween(learntPartShares(appetite, day), day, appetite.watchedUntil, at)
      : appetite.dayEmptyShare,
    daily: appetite.daily,
    eatenByPart: appetite.eatenByPart,
    daysWatchedByPart: appetite.daysWatchedByPart,
    eatenTodayByPart: appetite.eatenTodayByPart,
    unobserved: appetite.unobserved,
  };
}

/** A meal at this moment, which may be older than earlier reports. Negative where a reading takes it back. */
export function updateAppetiteByMeal(appetite: Appetite, mass: number, at: Instant, yard: YardLocation): Appetite {
  if (appetite.watchedSince === null)
    return updateAppetiteByMeal(updateAppetiteUntil(appetite, at, yard), mass, at, yard);
  if (at < appetite.watchedSince) return appetite;
  const before = at > appetite.watchedUntil ? updateAppetiteUntil(appetite, at, yard) : appetite;
  const { part } = partAt(daySpanAt(yard, at), at);
  return at >= before.dayStart ? addMealToday(before, part, mass) : addLateMeal(before, part, mass, at);
}

const addToPart = (parts: readonly number[], part: number, mass: number): readonly number[] => {
  const added = parts.slice();
  added[part] = (added[part] ?? 0) + mass;
  return added;
};

// Spelled out, here and in all that runs once a portion: a spread costs ten times as much.
const addMealToday = (appetite: Appetite, part: number, mass: number): Appetite => ({
  watchedSince: appetite.watchedSince,
  watchedUntil: appetite.watchedUntil,
  dayStart: appetite.dayStart,
  dayEaten: appetite.dayEaten + mass,
  dayPortions: appetite.dayPortions + 1,
  dayEmptyShare: appetite.dayEmptyShare,
  daily: appetite.daily,
  eatenByPart: appetite.eatenByPart,
  daysWatchedByPart: appetite.daysWatchedByPart,
  eatenTodayByPart: addToPart(appetite.eatenTodayByPart, part, mass),
  unobserved: appetite.unobserved,
});

/** A meal of an earlier day. If that day had counted as a day without birds, it no longer does. */
function addLateMeal(appetite: Appetite, part: number, mass: number, at: Instant): Appetite {
  const { unobserved } = appetite;
  const isCorrected = unobserved !== null && at >= unobserved.since;
  return {
    ...appetite,
    daily: isCorrected ? unobserved.daily : appetite.daily,
    eatenByPart: addToPart(appetite.eatenByPart, part, mass),
    unobserved: isCorrected ? null : unobserved,
  };
}

function closeDay(appetite: Appetite, day: DaySpan, yard: YardLocation, isEmpty: boolean, at: Instant): Appetite {
  const shares = learntPartShares(appetite, day);
  const emptyShare = appetite.dayEmptyShare + (isEmpty ? shareBetween(shares, day, appetite.watchedUntil, day.to) : 0);
  const observedShare = shareBetween(shares, day, appetite.dayStart, day.to) - emptyShare;
  const next = instant(at - day.to > daysGoneMax * dayLong ? daySpanAt(yard, at).from : day.to);
  let { daily } = appetite;
  if (observedShare >= shareToLearnMin) {
    const eaten = appetite.dayEaten / observedShare / lightFactor(day);
    const observed = { portions: appetite.dayPortions, observedShare };
    if (daily !== null) daily = updateByDay(daily, eaten, observed);
    else if (eaten > 0) daily = initialDailyAppetite(eaten, observed);
  }
  if (daily !== null) daily = startNextDay(daily);
  // A day with an empty hopper says nothing about habits.
  const isLearnt = emptyShare === 0 && appetite.dayEaten > 0;
  const watchedDays = isLearnt ? watchedShareByPart(day, appetite.dayStart, day.to) : zeroByPart;
  return {
    watchedSince: appetite.watchedSince,
    watchedUntil: next,
    dayStart: next,
    dayEaten: 0,
    dayPortions: 0,
    dayEmptyShare: 0,
    daily,
    eatenByPart: isLearnt ? decayAndAdd(appetite.eatenByPart, appetite.eatenTodayByPart) : appetite.eatenByPart,
    daysWatchedByPart: isLearnt ? decayAndAdd(appetite.daysWatchedByPart, watchedDays) : appetite.daysWatchedByPart,
    eatenTodayByPart: zeroByPart,
    unobserved: unobservedAfter(appetite),
  };
}

/** A day without birds, or one without reports so far: a backlog shows later which it was. */
const unobservedAfter = ({ dayEaten, dayStart, daily, unobserved }: Appetite): Appetite["unobserved"] =>
  dayEaten > 0 || daily === null ? null : (unobserved ?? { since: dayStart, daily });

const dayLong = 86_400_000;

const decayAndAdd = (before: readonly number[], added: readonly number[]): readonly number[] =>
  before.map((value, part) => memoryPerDay * value + (added[part] ?? 0));

/** Which share of each part of a day lies between two moments of it. */
function watchedShareByPart(day: DaySpan, from: Instant, to: Instant): readonly number[] {
  const parts = new Array<number>(partsOfDay).fill(0);
  for (let at = later(from, day.from); at < to; ) {
    const { part, until } = partAt(day, at);
    const end = to < until ? to : until;
    parts[part] = (parts[part] ?? 0) + (end - at) / partLength(day, part);
    at = end;
  }
  return parts;
}

// --- what is to come -------------------------------------------------------------------------------------------------

/** The expected appetite, as far as known. */
export interface AppetiteForecast {
  readonly daily: DailyAppetite;
  readonly partShares: readonly number[]; // of a day's meal, by its 24 parts: they sum to 1
  readonly dayIndex: number; // the day from which `daily` counts
}

/** Null while too little was watched. */
export function appetiteForecast(appetite: Appetite, yard: YardLocation): AppetiteForecast | null {
  const { watchedSince, watchedUntil, dayStart } = appetite;
  if (watchedSince === null) return null;
  const day = daySpanAt(yard, watchedUntil);
  const shares = learntPartShares(appetite, day);
  const observedShare = shareBetween(shares, day, dayStart, watchedUntil) - appetite.dayEmptyShare;
  const eaten = observedShare > 0 ? appetite.dayEaten / observedShare / lightFactor(day) : 0;
  const observed = { portions: appetite.dayPortions, observedShare };
  if (appetite.daily !== null) {
    const daily = observedShare < 0.1 ? appetite.daily : updateByToday(appetite.daily, eaten, observed);
    return { daily, partShares: shares, dayIndex: day.index };
  }
  if (observedShare < shareSeenMin || eaten <= 0) return null;
  return { daily: initialDailyAppetite(eaten, observed), partShares: shares, dayIndex: day.index };
}

/** Grams a day, as today is. */
export const dailyRate = ({ daily }: AppetiteForecast, day: DaySpan): number =>
  Math.exp(logRateAhead(daily, 0)) * lightFactor(day);

/** Variance of what is eaten in so many days, as a share of it squared. Portions of this mean mass (g) and spread (g). */
export function forecastVariance(
  { daily }: AppetiteForecast,
  ahead: number,
  eaten: number,
  portion: number,
  spread: number,
): number {
  // Compound Poisson: rate * (w² + s²) for portions of mean w and spread s (references: time to empty), times the bouts.
  const chanceVariance =
    (daily.overdispersion * portion * portion + spread * spread) / portion / Math.max(eaten, portion);
  return eatenRelativeVariance(daily, ahead) + chanceVariance;
}

/** Grams expected to be eaten from one moment to another. */
export function expectedEaten(forecast: AppetiteForecast, yard: YardLocation, from: Instant, to: Instant): number {
  let sum = 0;
  for (let at = from; at < to; ) {
    const day = daySpanAt(yard, at);
    const end = to < day.to ? to : day.to;
    sum += expectedDayGrams(forecast, day) * shareBetween(forecast.partShares, day, at, end);
    at = end;
  }
  return sum;
}

/** When so many grams more will have been eaten, as expected; at most so many days ahead. */
export function expectedEatenAt(
  forecast: AppetiteForecast,
  yard: YardLocation,
  from: Instant,
  mass: number,
  daysMax: number,
): Instant {
  const end = instant(from + daysMax * dayLong);
  let remaining = mass;
  for (let at = from; at < end; ) {
    const day = daySpanAt(yard, at);
    const dayGrams = expectedDayGrams(forecast, day);
    const restOfDay = dayGrams * shareBetween(forecast.partShares, day, at, day.to);
    if (restOfDay >= remaining) return timeOfShare(forecast.partShares, day, at, remaining / dayGrams);
    remaining -= restOfDay;
    at = day.to;
  }
  return end;
}

const expectedDayGrams = ({ daily, dayIndex }: AppetiteForecast, day: DaySpan): number =>
  Math.exp(logRateAhead(daily, Math.max(0, day.index - dayIndex))) * lightFactor(day);

function timeOfShare(shares: readonly number[], day: DaySpan, from: Instant, share: number): Instant {
  let remaining = share;
  for (let at = from; at < day.to; ) {
    const { part, until } = partAt(day, at);
    const length = partLength(day, part);
    const partShare = ((shares[part] ?? 0) * (until - at)) / length;
    if (partShare >= remaining) return instant(Math.round(at + (remaining / partShare) * (until - at)));
    remaining -= partShare;
    at = until;
  }
  return day.to;
}

/** Which share of a day's meal lies between two moments of it. */
function shareBetween(shares: readonly number[], day: DaySpan, from: Instant, to: Instant): number {
  let sum = 0;
  for (let at = later(from, day.from); at < to; ) {
    const { part, until } = partAt(day, at);
    const end = to < until ? to : until;
    sum += ((shares[part] ?? 0) * (end - at)) / partLength(day, part);
    at = end;
  }
  return sum;
}

function partLength({ from, dawn, dusk, to }: DaySpan, part: number): number {
  if (isDaylightPart(part)) return (dusk - dawn) / daylightParts;
  return part < partsBeforeDawn
    ? (dawn - from) / partsBeforeDawn
    : (to - dusk) / (partsOfDay - partsBeforeDawn - daylightParts);
}

/** The light's evenness, until birds have shown their own hours. */
const priorPartShares: readonly number[] = Array.from({ length: partsOfDay }, (_, part) => {
  const daylightShare = 1 / (daylightParts + nightShare * (partsOfDay - daylightParts));
  return isDaylightPart(part) ? daylightShare : nightShare * daylightShare;
});

/** The learnt shares of a day's meal by part, today included; where little is known, the light's evenness fills in. */
function learntPartShares(appetite: Appetite, day: DaySpan): readonly number[] {
  const { eatenByPart, daysWatchedByPart, eatenTodayByPart } = appetite;
  const watchedToday = watchedTodayByPart(appetite, day);
  const isTodayCounted = appetite.dayEmptyShare <= 0;
  const eatenIn = (part: number) =>
    Math.max(0, eatenByPart[part] ?? 0) + Math.max(0, isTodayCounted ? (eatenTodayByPart[part] ?? 0) : 0);
  const watchedIn = (part: number) => (daysWatchedByPart[part] ?? 0) + (watchedToday[part] ?? 0);
  let [eaten, observedDays] = [0, 0];
  for (let part = 0; part < partsOfDay; part += 1) {
    const watchedDays = watchedIn(part);
    if (watchedDays === 0) continue;
    eaten += eatenIn(part);
    observedDays += watchedDays * (priorPartShares[part] ?? 0);
  }
  if (eaten <= 0 || observedDays <= 0) return priorPartShares;
  const perDay = eaten / observedDays;
  const shares = new Array<number>(partsOfDay);
  let total = 0;
  for (let part = 0; part < partsOfDay; part += 1) {
    const priorGrams = priorDays * perDay * (priorPartShares[part] ?? 0);
    const rate = (eatenIn(part) + priorGrams) / (watchedIn(part) + priorDays);
    shares[part] = rate;
    total += rate;
  }
  for (let part = 0; part < partsOfDay; part += 1) shares[part] = (shares[part] ?? 0) / total;
  return shares;
}

/** Nothing where the hopper was empty today: birds couldn't show their habits. */
function watchedTodayByPart({ dayStart, dayEmptyShare, watchedUntil }: Appetite, day: DaySpan): readonly number[] {
  if (dayEmptyShare > 0 || watchedUntil <= dayStart) return zeroByPart;
  return watchedShareByPart(day, dayStart, watchedUntil < day.to ? watchedUntil : day.to);
}
