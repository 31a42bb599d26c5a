import { Temporal } from "temporal-polyfill";
import { formatDate } from "../text/format.ts";
import { texts } from "../text/index.ts";
import { type Instant, instant } from "./instant.ts";
import { memoize } from "./memoize.ts";
import { zoneOrFallback } from "./zone.ts";

/**
 * A yard lives by its own clock: the digest comes at half past seven there, and "Thursday" is Thursday there. A local time
 * is worked out from the zone each time it is needed; adding 24 hours would be an hour off after each clock change.
 *
 * `LocalDate` is `YYYY-MM-DD`, `LocalTime` is `HH:MM`, a zone is an IANA name such as Europe/Stockholm. UTC stands for a zone that
 * can't be used.
 */
export type LocalDate = string;
export type LocalTime = string;

export const localDateOf = (at: Instant, zone: string): LocalDate => localHourOf(at, zone).date;

export const localTimeOf = (at: Instant, zone: string): LocalTime =>
  zoned(at, zone).toPlainTime().toString({ smallestUnit: "minute" });

/**
 * The one moment that a local date and time mean, by RFC 5545 section 3.3.10: a time that a clock change leaves out is
 * read with the offset before the gap (02:30 becomes 03:30), one that it repeats means the first.
 * @throws RangeError where date or time can't be read.
 */
export const instantOfLocal = memoize(
  64, // each minute every yard's digest time is checked
  (date: LocalDate, time: LocalTime, zone: string) => `${zone} ${date} ${time}`,
  (date, time, zone): Instant => {
    const local = Temporal.PlainDate.from(date).toPlainDateTime(Temporal.PlainTime.from(time));
    return instant(local.toZonedDateTime(zoneOrFallback(zone), { disambiguation: "compatible" }).epochMilliseconds);
  },
);

/** The first moment of a local date: not always midnight, since some zones change their clocks then. */
export const startOfLocalDay = (date: LocalDate, zone: string): Instant =>
  instant(Temporal.PlainDate.from(date).toZonedDateTime(zoneOrFallback(zone)).epochMilliseconds);

export const addLocalDays = (date: LocalDate, count: number): LocalDate =>
  Temporal.PlainDate.from(date).add({ days: count }).toString();

/** Whole calendar days from one date to another; negative where `to` is the earlier. */
export const localDaysBetween = (from: LocalDate, to: LocalDate): number =>
  Temporal.PlainDate.from(from).until(Temporal.PlainDate.from(to), { largestUnit: "day" }).days;

/** "Thursday" */
export const weekdayOf = (date: LocalDate): string => formatDate(date, "weekday");

/** "Thursday 3 December", and in another year than today's "Saturday 17 April 2027". */
export const dateText = (date: LocalDate, today: LocalDate): string =>
  formatDate(date, isSameYear(date, today) ? "weekdayAndDay" : "weekdayAndDayOfYear");

/** Without its year, a date of another year is read as one of this year. */
const isSameYear = (date: LocalDate, today: LocalDate): boolean => yearOf(date) === yearOf(today);
const yearOf = (date: LocalDate): string => date.slice(0, -"-MM-DD".length);

/** A date relative to today: "today", "tomorrow", "yesterday", "Thursday" within the week ahead, else with the date. */
export function dayText(date: LocalDate, today: LocalDate): string {
  const daysAhead = localDaysBetween(today, date);
  if (daysAhead === 0) return texts.time.today;
  if (daysAhead === 1) return texts.time.tomorrow;
  if (daysAhead === -1) return texts.time.yesterday;
  return daysAhead > 1 && daysAhead < 7 ? weekdayOf(date) : dateText(date, today);
}

/** To the minute: "today 07:30", "yesterday 22:10", "Thursday 3 December 06:00", in the yard's own time. */
export const momentText = (at: Instant, zone: string, now: Instant): string =>
  texts.time.moment(dayText(localDateOf(at, zone), localDateOf(now, zone)), localTimeOf(at, zone));

/** "this evening", "tomorrow morning", "Thursday", "3 December", "3 January 2027": as exact as a forecast can be. */
export function dayPartText(at: Instant, zone: string, now: Instant): string {
  const date = localHourOf(at, zone);
  const today = localHourOf(now, zone);
  const daysAhead = date.dayNumber - today.dayNumber;
  const part = dayPart(date.hour);
  const { lastNight, thisPart, tomorrowPart, yesterdayPart } = texts.time;
  if (daysAhead === 0) return part === "night" && at < now ? lastNight : thisPart[part];
  if (daysAhead === 1) return tomorrowPart[part];
  if (daysAhead === -1) return yesterdayPart[part];
  if (Math.abs(daysAhead) < 7) return date.weekday;
  return formatDate(date.date, isSameYear(date.date, today.date) ? "day" : "dayOfYear");
}

const dayPart = (hour: number) => (hour < 5 ? "night" : hour < 12 ? "morning" : hour < 17 ? "afternoon" : "evening");

interface LocalHour extends LocalDay {
  readonly hour: number;
}

interface LocalDay {
  readonly date: LocalDate;
  readonly dayNumber: number; // days since 1970-01-01
  readonly weekday: string;
}

/**
 * An active alarm needs new texts at each report. Nearly every day has the same offset at its begin and at its end, and
 * needs one query of the zone's rules; on the others each quarter of an hour gets its own, since offsets change at a full
 * quarter only (IANA tz database, since 1972).
 */
function localHourOf(at: Instant, zone: string): LocalHour {
  const { begin, end } = offsetsOfDay(Math.floor(at / dayMilliseconds), zone);
  const offset = begin === end ? begin : offsetOfQuarter(Math.floor(at / quarterHourMilliseconds), zone);
  const local = at + offset;
  const { date, dayNumber, weekday } = localDay(Math.floor(local / dayMilliseconds));
  return { date, dayNumber, weekday, hour: Math.floor((local - dayNumber * dayMilliseconds) / 3_600_000) };
}
const dayMilliseconds = 86_400_000;
const quarterHourMilliseconds = 900_000;

/** At the begin and the end of a day of UTC, in milliseconds that the zone's clocks are ahead. */
const offsetsOfDay = memoize(
  512,
  (dayNumber: number, zone: string) => `${zone} ${dayNumber}`,
  (dayNumber, zone) => ({
    begin: offsetAt(dayNumber * dayMilliseconds, zone),
    end: offsetAt((dayNumber + 1) * dayMilliseconds, zone),
  }),
);

const offsetOfQuarter = memoize(
  512,
  (quarter: number, zone: string) => `${zone} ${quarter}`,
  (quarter, zone) => offsetAt(quarter * quarterHourMilliseconds, zone),
);

const offsetAt = (at: number, zone: string): number => zoned(instant(at), zone).offsetNanoseconds / 1e6;

const localDay = memoize(
  512,
  (dayNumber: number) => `${dayNumber}`,
  (dayNumber): LocalDay => {
    const date = addLocalDays("1970-01-01", dayNumber);
    return { date, dayNumber, weekday: weekdayOf(date) };
  },
);

const zoned = (at: Instant, zone: string): Temporal.ZonedDateTime =>
  Temporal.Instant.fromEpochMilliseconds(at).toZonedDateTimeISO(zoneOrFallback(zone));
