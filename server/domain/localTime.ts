import { Temporal } from "temporal-polyfill";
import { type Instant, instant } from "./instant.ts";
import { remembered } from "./remembered.ts";

/**
 * A yard lives by its own clock: the digest comes at half past seven there, and "Thursday" is Thursday there. A local time
 * is worked out from the zone each time it is needed; adding 24 hours would be an hour off after each clock change.
 *
 * `LocalDate` is `YYYY-MM-DD`, `LocalTime` is `HH:MM`, a zone is an IANA name such as Europe/Stockholm.
 */
export type LocalDate = string;
export type LocalTime = string;

export const localDateOf = (at: Instant, zone: string): LocalDate => localHourOf(at, zone).date;

export const localTimeOf = (at: Instant, zone: string): LocalTime =>
  zoned(at, zone).toPlainTime().toString({ smallestUnit: "minute" });

/**
 * The one moment that a local date and time mean, by RFC 5545 section 3.3.10: a time that a clock change leaves out is
 * read with the offset before the gap (02:30 becomes 03:30), one that it repeats means the first.
 * @throws RangeError where date, time or zone can't be read.
 */
export function instantOfLocal(date: LocalDate, time: LocalTime, zone: string): Instant {
  const wall = Temporal.PlainDate.from(date).toPlainDateTime(Temporal.PlainTime.from(time));
  return instant(wall.toZonedDateTime(zone, { disambiguation: "compatible" }).epochMilliseconds);
}

/** The first moment of a local date: not always midnight, since some zones change their clocks then. */
export const startOfLocalDay = (date: LocalDate, zone: string): Instant =>
  instant(Temporal.PlainDate.from(date).toZonedDateTime(zone).epochMilliseconds);

export const addLocalDays = (date: LocalDate, count: number): LocalDate =>
  Temporal.PlainDate.from(date).add({ days: count }).toString();

/** Whole calendar days from one date to another; negative where `to` is the earlier. */
export const localDaysBetween = (from: LocalDate, to: LocalDate): number =>
  Temporal.PlainDate.from(from).until(Temporal.PlainDate.from(to), { largestUnit: "day" }).days;

const weekdays = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"] as const;
const months = [
  "January",
  "February",
  "March",
  "April",
  "May",
  "June",
  "July",
  "August",
  "September",
  "October",
  "November",
  "December",
] as const;

/** "Thursday" */
export const weekdayOf = (date: LocalDate): string =>
  weekdays[Temporal.PlainDate.from(date).dayOfWeek - 1] ?? unreachable(date);

/** "Thursday 3 December" */
export const dateWords = (date: LocalDate): string =>
  `${weekdayOf(date)} ${Temporal.PlainDate.from(date).day} ${monthOf(date)}`;

const monthOf = (date: LocalDate): string => months[Temporal.PlainDate.from(date).month - 1] ?? unreachable(date);

/** A date as one says it today: "today", "tomorrow", "yesterday", "Thursday" within the week ahead, else with the date. */
export function dayWords(date: LocalDate, today: LocalDate): string {
  const ahead = localDaysBetween(today, date);
  if (ahead === 0) return "today";
  if (ahead === 1) return "tomorrow";
  if (ahead === -1) return "yesterday";
  return ahead > 1 && ahead < 7 ? weekdayOf(date) : dateWords(date);
}

/** To the minute: "today 07:30", "yesterday 22:10", "Thursday 3 December 06:00", in the yard's own time. */
export const momentWords = (at: Instant, zone: string, now: Instant): string =>
  `${dayWords(localDateOf(at, zone), localDateOf(now, zone))} ${localTimeOf(at, zone)}`;

/** "this evening", "tomorrow morning", "Thursday", "3 December": as exact as a forecast can be. */
export function dayPartWords(at: Instant, zone: string, now: Instant): string {
  const then = localHourOf(at, zone);
  const ahead = then.dayNumber - localHourOf(now, zone).dayNumber;
  const part = dayPart(then.hour);
  if (ahead === 0 && part === "night") return at < now ? "last night" : "tonight";
  if (ahead === 0) return `this ${part}`;
  if (ahead === 1) return part === "night" ? "tonight" : `tomorrow ${part}`;
  if (ahead === -1) return `yesterday ${part}`;
  return Math.abs(ahead) < 7 ? weekdayOf(then.date) : `${then.day} ${monthOf(then.date)}`;
}

const dayPart = (hour: number) => (hour < 5 ? "night" : hour < 12 ? "morning" : hour < 17 ? "afternoon" : "evening");

interface LocalHour {
  readonly date: LocalDate;
  readonly day: number; // of the month
  readonly hour: number;
  readonly dayNumber: number; // days since 1970-01-01
}

/**
 * Every zone's offset is a multiple of a quarter of an hour, and changes at one (IANA tz database, since 1972): within a
 * quarter neither date nor hour can change. A standing alarm asks for the same few quarters at each report.
 */
const localHourOf = (at: Instant, zone: string): LocalHour => hourOfQuarter(Math.floor(at / quarterOfAnHour), zone);
const quarterOfAnHour = 900_000;

const hourOfQuarter = remembered(
  4_096,
  (quarter: number, zone: string) => `${zone} ${quarter}`,
  (quarter, zone): LocalHour => {
    const then = zoned(instant(quarter * quarterOfAnHour), zone);
    const date = then.toPlainDate().toString();
    return { date, day: then.day, hour: then.hour, dayNumber: localDaysBetween("1970-01-01", date) };
  },
);

const zoned = (at: Instant, zone: string): Temporal.ZonedDateTime =>
  Temporal.Instant.fromEpochMilliseconds(at).toZonedDateTimeISO(zone);

function unreachable(date: LocalDate): never {
  throw new RangeError(`expected an ISO date, got ${date}`);
}
