import { type Instant, instant, later } from "../instant.ts";
import {
  type DailyAppetite,
  dayLearnt,
  eatenVariance,
  firstDay,
  heardToday,
  lnRateAfter,
  nextDay,
} from "./dailyAppetite.ts";
import {
  type DaySpan,
  dayAround,
  isLit,
  lightHours,
  partAt,
  partsBefore,
  partsLit,
  partsOfDay,
  type Yard,
} from "./daySpan.ts";

/**
 * How fast the hopper empties. Birds eat by day only, so a rate by the clock would be too high in the evening and too low at
 * dawn: what was eaten is kept by parts of the day that move with dawn and dusk (daySpan.ts), and how much it is a day is
 * learnt from whole days (dailyAppetite.ts). While the hopper is empty nobody can eat, and nothing is learnt.
 */
export interface Appetite {
  readonly since: Instant | null; // null until something was heard
  readonly at: Instant; // watched up to here
  readonly dayStart: Instant; // of what is being counted: the day's beginning, or where watching began
  readonly dayEaten: number; // g
  readonly dayMeals: number; // portions
  readonly dayIdle: number; // share of a usual day's meal that couldn't be eaten, for an empty hopper
  readonly daily: DailyAppetite | null; // null until a day, or enough of one, has been watched
  /** What was eaten by part of the day: 24 numbers in grams, of past days, forgotten with each. */
  readonly byPart: readonly number[];
  readonly daysByPart: readonly number[]; // how often each part was watched, forgotten alike
  readonly today: readonly number[];
  /** Days of which nothing was told, and what was known before them; null where the last one was eaten on. */
  readonly untold: { readonly since: Instant; readonly daily: DailyAppetite } | null;
}

/** A week: habits change with the season, not with the weather. Common practice, no source. */
const habitKept = Math.exp(-1 / 7);
/** The light's own evenness counts as much as half a day of seeing for oneself. */
const priorDays = 0.5;
/** Of a part of the night against one of the light: timers and early risers. */
const nightShare = 0.05;
/** Sooner than this nothing is claimed: a quarter of an hour of a hungry flock says nothing about a day. */
const watchedHoursMin = 2;
/** Nor before a quarter of the day's meal has passed: birds are busiest early or late, and what they did then is projected. */
const shareSeenMin = 0.25;
/** A day that was seen for less than this teaches nothing about whole days. */
const shareToLearn = 0.3;
/** A longer day is eaten more slowly: with the root of its light. Between a bird's need, which is the same, and its hours. */
const lightFactor = (day: DaySpan): number => Math.sqrt(lightHours(day) / 8);
/** After a longer absence than this the days between are all alike: none of them was watched. */
const daysGoneMax = 30;

const nothing: readonly number[] = new Array<number>(partsOfDay).fill(0);

export const unknownAppetite = (now: Instant): Appetite => ({
  since: null,
  at: now,
  dayStart: now,
  dayEaten: 0,
  dayMeals: 0,
  dayIdle: 0,
  daily: null,
  byPart: nothing,
  daysByPart: nothing,
  today: nothing,
  untold: null,
});

/** Until then one day, or a part of one, stands for all, and much of the doubt is about that. */
export const daysCompared = ({ daily, since, at }: Appetite): boolean =>
  daily !== null && since !== null && at - since >= 2 * dayLong;

/** Watched for a day at least, and nobody ever came. */
export const nobodyCame = ({ daily, since, at, byPart }: Appetite): boolean =>
  daily === null && since !== null && at - since >= dayLong && byPart.every((mass) => mass <= 0);

/** Grams that these birds eat on a usual day, by the days that are remembered; null while none is. */
export function eatenADay({ byPart, daysByPart }: Appetite): number | null {
  let [eaten, exposed] = [0, 0];
  for (let part = 0; part < partsOfDay; part += 1) {
    eaten += Math.max(0, byPart[part] ?? 0);
    exposed += (daysByPart[part] ?? 0) * (prior[part] ?? 0);
  }
  return eaten <= 0 || exposed <= 0 ? null : eaten / exposed;
}

/** All that was eaten up to `at` has been told. `idle`: the hopper was empty, so that nobody could eat. */
export function watchedUntil(appetite: Appetite, at: Instant, yard: Yard, idle = false): Appetite {
  if (appetite.since === null) return { ...unknownAppetite(at), since: at };
  if (at <= appetite.at) return appetite;
  const day = dayAround(yard, appetite.at);
  if (at >= day.to) return watchedUntil(dayClosed(appetite, day, yard, idle, at), at, yard, idle);
  return {
    since: appetite.since,
    at,
    dayStart: appetite.dayStart,
    dayEaten: appetite.dayEaten,
    dayMeals: appetite.dayMeals,
    dayIdle: idle ? appetite.dayIdle + shareBetween(sharesOf(appetite, day), day, appetite.at, at) : appetite.dayIdle,
    daily: appetite.daily,
    byPart: appetite.byPart,
    daysByPart: appetite.daysByPart,
    today: appetite.today,
    untold: appetite.untold,
  };
}

/** So much was eaten at this moment, which may be older than what was told before. Negative where a reading takes it back. */
export function ate(appetite: Appetite, mass: number, at: Instant, yard: Yard): Appetite {
  if (appetite.since === null) return ate(watchedUntil(appetite, at, yard), mass, at, yard);
  if (at < appetite.since) return appetite;
  const before = at > appetite.at ? watchedUntil(appetite, at, yard) : appetite;
  const day = dayAround(yard, at);
  const ofToday = at >= before.dayStart;
  const parts = (ofToday ? before.today : before.byPart).slice();
  // What a day was like is known only now: that nobody came on it was never so.
  const late = !ofToday && before.untold !== null && at >= before.untold.since ? before.untold : null;
  const { part } = partAt(day, at);
  parts[part] = (parts[part] ?? 0) + mass;
  // Spelled out, here and in all that runs once a portion: a spread costs ten times as much.
  return {
    since: before.since,
    at: before.at,
    dayStart: before.dayStart,
    dayEaten: ofToday ? before.dayEaten + mass : before.dayEaten,
    dayMeals: ofToday ? before.dayMeals + 1 : before.dayMeals,
    dayIdle: before.dayIdle,
    daily: late === null ? before.daily : late.daily,
    byPart: ofToday ? before.byPart : parts,
    daysByPart: before.daysByPart,
    today: ofToday ? parts : before.today,
    untold: late === null ? before.untold : null,
  };
}

function dayClosed(appetite: Appetite, day: DaySpan, yard: Yard, idle: boolean, at: Instant): Appetite {
  const shares = sharesOf(appetite, day);
  const idled = appetite.dayIdle + (idle ? shareBetween(shares, day, appetite.at, day.to) : 0);
  const seen = shareBetween(shares, day, appetite.dayStart, day.to) - idled;
  const next = instant(at - day.to > daysGoneMax * dayLong ? dayAround(yard, at).from : day.to);
  let { daily } = appetite;
  if (seen >= shareToLearn) {
    const eaten = appetite.dayEaten / seen / lightFactor(day);
    const ofDay = { portions: appetite.dayMeals, share: seen };
    if (daily !== null) daily = dayLearnt(daily, eaten, ofDay);
    else if (eaten > 0) daily = firstDay(eaten, ofDay);
  }
  if (daily !== null) daily = nextDay(daily);
  // What an empty hopper kept from being eaten says nothing about habits.
  const learns = idled === 0 && appetite.dayEaten > 0;
  const watched = learns ? partsWatched(day, appetite.dayStart, day.to) : nothing;
  return {
    since: appetite.since,
    at: next,
    dayStart: next,
    dayEaten: 0,
    dayMeals: 0,
    dayIdle: 0,
    daily,
    byPart: learns ? keptAndAdded(appetite.byPart, appetite.today) : appetite.byPart,
    daysByPart: learns ? keptAndAdded(appetite.daysByPart, watched) : appetite.daysByPart,
    today: nothing,
    untold: untoldAfter(appetite),
  };
}

/** A day without a bird, or one of which nothing has been told yet: which of the two, a backlog shows later. */
const untoldAfter = ({ dayEaten, dayStart, daily, untold }: Appetite): Appetite["untold"] =>
  dayEaten > 0 || daily === null ? null : (untold ?? { since: dayStart, daily });

const dayLong = 86_400_000;

const keptAndAdded = (before: readonly number[], added: readonly number[]): readonly number[] =>
  before.map((value, part) => habitKept * value + (added[part] ?? 0));

/** Which share of each part of a day lies between two moments of it. */
function partsWatched(day: DaySpan, from: Instant, to: Instant): readonly number[] {
  const parts = new Array<number>(partsOfDay).fill(0);
  for (let at = later(from, day.from); at < to; ) {
    const { part, until } = partAt(day, at);
    const end = to < until ? to : until;
    parts[part] = (parts[part] ?? 0) + (end - at) / partLong(day, part);
    at = end;
  }
  return parts;
}

// --- what is to come -------------------------------------------------------------------------------------------------

/** What these birds will eat, as far as known. */
export interface Outlook {
  readonly daily: DailyAppetite;
  readonly shares: readonly number[]; // of a day's meal, by its 24 parts: they sum to 1
  readonly today: number; // the day from which `daily` counts
}

/** Null while too little was watched. */
export function outlookOf(appetite: Appetite, yard: Yard): Outlook | null {
  const { since, at, dayStart } = appetite;
  if (since === null) return null;
  const day = dayAround(yard, at);
  const shares = sharesOf(appetite, day);
  const seen = shareBetween(shares, day, dayStart, at) - appetite.dayIdle;
  const eaten = seen > 0 ? appetite.dayEaten / seen / lightFactor(day) : 0;
  const ofDay = { portions: appetite.dayMeals, share: seen };
  if (appetite.daily !== null) {
    const daily = seen < 0.1 ? appetite.daily : heardToday(appetite.daily, eaten, ofDay);
    return { daily, shares, today: day.index };
  }
  if (at - since < watchedHoursMin * 3_600_000 || seen < shareSeenMin || eaten <= 0) return null;
  return { daily: firstDay(eaten, ofDay), shares, today: day.index };
}

/** Grams a day, as today is. */
export const ratePerDay = ({ daily }: Outlook, day: DaySpan): number =>
  Math.exp(lnRateAfter(daily, 0)) * lightFactor(day);

/** Variance of what is eaten in so many days, as a share of it squared. Portions of this mean mass (g) and spread (g). */
export function outlookVariance(
  { daily }: Outlook,
  ahead: number,
  eaten: number,
  portion: number,
  spread: number,
): number {
  // Compound Poisson: rate * (w² + s²) for portions of mean w and spread s (references: time to empty), times the bouts.
  const chance = (daily.bout * portion * portion + spread * spread) / portion / Math.max(eaten, portion);
  return eatenVariance(daily, ahead) + chance;
}

/** Grams expected to be eaten from one moment to another. */
export function expectedEaten(outlook: Outlook, yard: Yard, from: Instant, to: Instant): number {
  let sum = 0;
  for (let at = from; at < to; ) {
    const day = dayAround(yard, at);
    const end = to < day.to ? to : day.to;
    sum += dayMeal(outlook, day) * shareBetween(outlook.shares, day, at, end);
    at = end;
  }
  return sum;
}

/** When so many grams more will have been eaten, as expected; at most so many days ahead. */
export function whenEaten(outlook: Outlook, yard: Yard, from: Instant, mass: number, daysMax: number): Instant {
  const end = instant(from + daysMax * dayLong);
  let left = mass;
  for (let at = from; at < end; ) {
    const day = dayAround(yard, at);
    const meal = dayMeal(outlook, day);
    const whole = meal * shareBetween(outlook.shares, day, at, day.to);
    if (whole >= left) return withinDay(outlook.shares, day, at, left / meal);
    left -= whole;
    at = day.to;
  }
  return end;
}

const dayMeal = ({ daily, today }: Outlook, day: DaySpan): number =>
  Math.exp(lnRateAfter(daily, Math.max(0, day.index - today))) * lightFactor(day);

function withinDay(shares: readonly number[], day: DaySpan, from: Instant, share: number): Instant {
  let left = share;
  for (let at = from; at < day.to; ) {
    const { part, until } = partAt(day, at);
    const long = partLong(day, part);
    const here = ((shares[part] ?? 0) * (until - at)) / long;
    if (here >= left) return instant(Math.round(at + (left / here) * (until - at)));
    left -= here;
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
    sum += ((shares[part] ?? 0) * (end - at)) / partLong(day, part);
    at = end;
  }
  return sum;
}

function partLong({ from, dawn, dusk, to }: DaySpan, part: number): number {
  if (isLit(part)) return (dusk - dawn) / partsLit;
  return part < partsBefore ? (dawn - from) / partsBefore : (to - dusk) / (partsOfDay - partsBefore - partsLit);
}

/** The light's evenness, until birds have shown their own hours. */
const prior: readonly number[] = Array.from({ length: partsOfDay }, (_, part) => {
  const lit = 1 / (partsLit + nightShare * (partsOfDay - partsLit));
  return isLit(part) ? lit : nightShare * lit;
});

/** Each part of the day by what was eaten in it and how often it was watched, today too; the light's evenness fills in. */
function sharesOf({ byPart, daysByPart, today, dayStart, dayIdle, at }: Appetite, day: DaySpan): readonly number[] {
  const watchedToday = dayIdle > 0 || at <= dayStart ? nothing : partsWatched(day, dayStart, at < day.to ? at : day.to);
  let [eaten, exposed] = [0, 0];
  for (let part = 0; part < partsOfDay; part += 1) {
    const watched = (daysByPart[part] ?? 0) + (watchedToday[part] ?? 0);
    if (watched === 0) continue;
    eaten += Math.max(0, byPart[part] ?? 0) + Math.max(0, dayIdle > 0 ? 0 : (today[part] ?? 0));
    exposed += watched * (prior[part] ?? 0);
  }
  if (eaten <= 0 || exposed <= 0) return prior;
  const perDay = eaten / exposed;
  const shares = new Array<number>(partsOfDay);
  let total = 0;
  for (let part = 0; part < partsOfDay; part += 1) {
    const watched = (daysByPart[part] ?? 0) + (watchedToday[part] ?? 0);
    const here = Math.max(0, byPart[part] ?? 0) + Math.max(0, dayIdle > 0 ? 0 : (today[part] ?? 0));
    const rate = (here + priorDays * perDay * (prior[part] ?? 0)) / (watched + priorDays);
    shares[part] = rate;
    total += rate;
  }
  for (let part = 0; part < partsOfDay; part += 1) shares[part] = (shares[part] ?? 0) / total;
  return shares;
}
