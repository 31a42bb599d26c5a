import { days, hours, type Instant, minutes, type Span } from "../instant.ts";
import type { Place } from "../settings.ts";
import { civilDayAround } from "../sun.ts";

/**
 * What a feeder's own program may refuse: many give so many portions an hour or a day at most, and none at night. No report says so, so it is
 * read from the feeder's own record. Such a refusal holds back an alarm for an hour or a night at most, or until the next day: a feeder that
 * really pays no more soon has given no portion for an hour, in daylight.
 */
export interface OwnLimits {
  readonly binBegin: Instant | null; // of the newest five minutes
  readonly portions: readonly number[]; // in each five minutes of the last hour, the oldest first
  readonly highest: number; // most portions in an hour, fading
  readonly highestAt: Instant | null;
  readonly paidInDarkAt: Instant | null; // the last time
  readonly hours: PaidHours;
  readonly day: PortionsOfDay;
}

/** Portions a day. A day begins with the first portion after a night, by whatever clock the program counts. */
interface PortionsOfDay {
  readonly begun: Instant | null; // of this day
  readonly given: number; // this day
  readonly refusedAfter?: number; // this day: portions until a deposit got none, and nothing else explained it; left out while all got theirs
  readonly learnt?: number; // of the last day that ended so; left out where none did
  readonly most?: number; // in a day that is over; left out on the first day
}

/** In which hours of the day (UTC, a bit each) it gave anything, this week and the one before. */
interface PaidHours {
  readonly week: number; // since the epoch; 0: none yet
  readonly thisWeek: number;
  readonly lastWeek: number; // -1 where it isn't known: all hours
  readonly portions: number; // in both
}

export type OwnLimit = "hour" | "rest" | "day";

const binLength = minutes(5);
const binCount = 13;
export const initialOwnLimits: OwnLimits = {
  binBegin: null,
  portions: Array.from({ length: binCount }, () => 0),
  highest: 0,
  highestAt: null,
  paidInDarkAt: null,
  hours: { week: 0, thisWeek: 0, lastWeek: allHours(), portions: 0 },
  day: { begun: null, given: 0 },
};

/** A portion that its program decided on: what the keeper orders is given in any case. `isPayment`: for a deposit or a press. */
export function updateOwnLimits(limits: OwnLimits, at: Instant, isPayment: boolean, place: Place | null): OwnLimits {
  const { binBegin, portions } = countPortion(limits, at);
  const lastHour = sum(portions) - (portions[0] ?? 0); // 55 to 60 minutes
  const isHighest = lastHour >= fadedHighest(limits, at);
  return {
    binBegin,
    portions,
    highest: isHighest ? lastHour : limits.highest,
    highestAt: isHighest ? at : limits.highestAt,
    paidInDarkAt: isPayment && minutesOfLight(place, at) < -darkAfter ? at : limits.paidInDarkAt,
    hours: updateHours(limits.hours, at),
    day: updateDay(limits, at),
  };
}

/** A deposit got no portion, and nothing in its record explains it. */
export const updateOwnLimitsByRefusal = (limits: OwnLimits): OwnLimits =>
  limits.day.refusedAfter !== undefined
    ? limits
    : { ...limits, day: { ...limits.day, refusedAfter: limits.day.given } };

/** The rule of its own by which the feeder may have refused a portion then; null: nothing in its record explains it. */
export function ownLimitAt(limits: OwnLimits, at: Instant, place: Place | null): OwnLimit | null {
  if (mayRestAt(limits, at, place)) return "rest";
  if (portionsBefore(limits, at) >= lowestLimit(limits, at)) return "hour";
  return isRationGiven(limits.day, at) ? "day" : null;
}

/**
 * The same for a day that is over, by what is known of the feeder at its end: for each deposit without portion, in order of time.
 * `given`: the day's portions that its program decided on. Those of the hour before the day aren't known.
 */
export function ownLimitsOfDay(
  limits: OwnLimits,
  given: readonly Instant[],
  deposits: readonly Instant[],
  place: Place | null,
): readonly (OwnLimit | null)[] {
  return deposits.map((at) => {
    const { binBegin, portions } = initialOwnLimits;
    const day = { ...limits.day, given: given.filter((one) => one <= at).length };
    let counted = { ...limits, binBegin, portions, day };
    for (const one of given) {
      if (one <= at && one > at - binCount * binLength) counted = { ...counted, ...countPortion(counted, one) };
    }
    return ownLimitAt(counted, at, place);
  });
}

// --- portions an hour ------------------------------------------------------------------------------------------------

/** Fewer than this are no limit that anybody would set. Common practice, no source. */
const hourLimitMin = 10;
const highestFading = days(14);

/**
 * Whether a program counts by the clock, from the first portion or lets a reserve refill, with N portions an hour it gives up to 2 N within
 * some sixty minutes: so N is at least half of the most that was ever seen.
 */
const lowestLimit = (limits: OwnLimits, at: Instant): number => Math.max(hourLimitMin, fadedHighest(limits, at) / 2);

const fadedHighest = ({ highest, highestAt }: OwnLimits, at: Instant): number =>
  highestAt === null ? 0 : highest * Math.exp(-Math.max(at - highestAt, 0) / highestFading);

function countPortion({ binBegin, portions }: OwnLimits, at: Instant): Pick<OwnLimits, "binBegin" | "portions"> {
  const begin = (Math.floor(at / binLength) * binLength) as Instant;
  const newest = binBegin === null || begin > binBegin ? begin : binBegin;
  const counted = binBegin === null || newest === binBegin ? [...portions] : shiftedBins(portions, newest - binBegin);
  const index = binCount - 1 - (newest - begin) / binLength; // a late event belongs to an older bin, or to none
  if (index >= 0) counted[index] = (counted[index] ?? 0) + 1;
  return { binBegin: newest, portions: counted };
}

const shiftedBins = (portions: readonly number[], passed: number): number[] =>
  portions.map((_, bin) => portions[bin + Math.max(0, passed) / binLength] ?? 0);

/** In the last 60 to 65 minutes. */
function portionsBefore({ binBegin, portions }: OwnLimits, at: Instant): number {
  if (binBegin === null) return 0;
  const begin = Math.floor(at / binLength) * binLength;
  return sum(shiftedBins(portions, begin - binBegin));
}

const sum = (values: readonly number[]): number => values.reduce((total, value) => total + value, 0);

// --- portions a day -----------------------------------------------------------------------------------------------------

/** Birds' nights are longer than their pauses by day. Common practice, no source. */
const nightMin = hours(4);
/** From its first portion on: the morning after a day that ended early is another one. */
const dayMax = hours(20);
/** A ration by weight is another number of portions each day. Our choice. */
const rationSpread = 0.1;

function updateDay({ day, binBegin }: OwnLimits, at: Instant): PortionsOfDay {
  const { begun, given, refusedAfter, learnt, most = 0 } = day;
  if (binBegin === null) return { begun: at, given: 1 };
  if (at - binBegin >= nightMin)
    return { begun: at, given: 1, ...withLearnt(refusedAfter ?? learnt), most: Math.max(most, given) };
  // It gives again: it was no ration. Nor is one of which more is given.
  const isAbove = learnt !== undefined && given + 1 > (1 + rationSpread) * learnt;
  return {
    begun,
    given: given + 1,
    ...withLearnt(isAbove ? undefined : learnt),
    ...(day.most !== undefined && { most }),
  };
}

/** Never before were so many given in a day: if the feeder has a ration that nobody has told, it may end here for the first time. */
export const mayBeFirstRation = ({ day: { given, learnt, most = 0 } }: OwnLimits): boolean =>
  learnt === undefined && given >= most;

const withLearnt = (learnt: number | undefined): Pick<PortionsOfDay, "learnt"> =>
  learnt === undefined ? {} : { learnt };

const isRationGiven = ({ begun, given, learnt }: PortionsOfDay, at: Instant): boolean =>
  learnt !== undefined && begun !== null && at - begun <= dayMax && given >= (1 - rationSpread) * learnt;

// --- rest ------------------------------------------------------------------------------------------------------------

/** Programs end the day by their own clock, the sun's or a light sensor's. Common practice, no source. */
const twilight = 30; // min
const darkAfter = 30; // min past civil dusk
const paidInDarkRemembered = days(14);

function mayRestAt(limits: OwnLimits, at: Instant, place: Place | null): boolean {
  const { paidInDarkAt } = limits;
  const feedsInDark = paidInDarkAt !== null && at - paidInDarkAt < paidInDarkRemembered;
  return (!feedsInDark && minutesOfLight(place, at) < twilight) || isRestingHour(limits.hours, at);
}

/** Since civil dawn or until civil dusk, whichever is nearer; negative at night. Where the place isn't known it counts as day. */
function minutesOfLight(place: Place | null, at: Instant): number {
  if (place === null) return Number.POSITIVE_INFINITY;
  const { from, to, dawn, dusk } = civilDayAround(place, at);
  if (dawn <= from && dusk >= to) return Number.POSITIVE_INFINITY; // it doesn't get dark
  return Math.min(at - dawn, dusk - at) / minutes(1);
}

/** An hour without portions is a rest where the ones beside it had none, either, of a feeder that gives enough of them. Our choice. */
const restHoursMin = 3;
const portionsKnownMin = 100;

function isRestingHour({ week, thisWeek, lastWeek, portions }: PaidHours, at: Instant): boolean {
  const passed = weekOf(at) - week;
  if (portions < portionsKnownMin || passed > 1) return false;
  const paid = passed === 1 ? thisWeek : thisWeek | lastWeek;
  const isFree = (hour: number) => (paid & hourBit(hour)) === 0;
  const hour = hourOf(at);
  if (!isFree(hour)) return false;
  let length = 1;
  for (let other = hour + 1; length < 24 && isFree(other); other += 1) length += 1;
  for (let other = hour - 1; length < 24 && isFree(other); other -= 1) length += 1;
  return length >= restHoursMin;
}

function updateHours(before: PaidHours, at: Instant): PaidHours {
  const week = weekOf(at);
  const passed = week - before.week;
  const bit = hourBit(hourOf(at));
  if (passed < 0) return before;
  if (passed === 0) {
    const { lastWeek, portions } = before;
    return { week, thisWeek: before.thisWeek | bit, lastWeek, portions: portions + 1 };
  }
  const isKnown = passed === 1;
  return {
    week,
    thisWeek: bit,
    lastWeek: isKnown ? before.thisWeek : allHours(),
    portions: isKnown ? Math.min(before.portions, portionsKnownMin) + 1 : 1,
  };
}

function allHours(): number {
  return 2 ** 24 - 1;
}

const hourBit = (hour: number): number => 1 << ((hour + 24) % 24);
const hourOf = (at: Instant): number => Math.floor(at / hours(1)) % 24;
const weekOf = (at: Instant): number => Math.floor(at / (days(7) as Span));
