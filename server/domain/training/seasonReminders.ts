import type { LocalDate } from "../localTime.ts";
import type { Place } from "../settings.ts";

/**
 * What the birds of a season need of a keeper. All dates are common practice, no source, and wide on purpose: a caution too early costs
 * nothing. Local advice comes first.
 */
export type Reminder = "hardFrost" | "mould" | "nestlings" | "winterEnd" | "salt";

/** Cautions that follow the weather, as the feeders' own sensors show it. */
export interface SeasonWeather {
  readonly hardFrost: boolean;
  readonly wetWarm: boolean;
}

interface Season {
  readonly reminder: Reminder;
  /** Of the northern hemisphere, both included, MM-DD; half a year later in the southern. */
  readonly from: string;
  readonly to: string;
  readonly southFrom: string;
  readonly southTo: string;
  /** Where the year has no such season that we know the dates of, it isn't stated. */
  readonly temperateOnly: boolean;
}

/** In the order in which a page with room for one shows them. */
const seasons: readonly Season[] = [
  {
    ...{ reminder: "nestlings", from: "03-15", to: "07-31", southFrom: "09-15", southTo: "01-31" },
    temperateOnly: true,
  },
  {
    ...{ reminder: "winterEnd", from: "03-01", to: "03-14", southFrom: "09-01", southTo: "09-14" },
    temperateOnly: true,
  },
  // Salt harms at any time; water that freezes tempts people to use it.
  { ...{ reminder: "salt", from: "12-01", to: "02-29", southFrom: "06-01", southTo: "08-31" }, temperateOnly: false },
];

/** The tropics and the polar circles, rounded: there the dates above say nothing. */
const tropic = 23.5;
const polarCircle = 66.5;

/** The first day of this season that is running on a date; null where it isn't, or isn't known. */
function runningSince(season: Season, place: Place, date: LocalDate): LocalDate | null {
  const latitude = Math.abs(place.latitudeDegrees);
  if (season.temperateOnly && (latitude < tropic || latitude > polarCircle)) return null;
  const isSouth = place.latitudeDegrees < 0;
  const from = isSouth ? season.southFrom : season.from;
  const to = isSouth ? season.southTo : season.to;
  const day = date.slice(-"MM-DD".length);
  const year = Number(date.slice(0, -"-MM-DD".length));
  const crossesNewYear = to < from;
  const isRunning = crossesNewYear ? day >= from || day <= to : day >= from && day <= to;
  if (!isRunning) return null;
  const startYear = crossesNewYear && day <= to ? year - 1 : year;
  return `${String(startYear).padStart(4, "0")}-${from}`;
}

/** The one that a page shows; null: there is none today. @param place null: not entered, so that only the weather counts */
export function shownReminder(place: Place | null, date: LocalDate, weather: SeasonWeather): Reminder | null {
  const [first = null] = weatherReminders(weather);
  if (first !== null || place === null) return first;
  return seasons.find((season) => runningSince(season, place, date) !== null)?.reminder ?? null;
}

/**
 * Those of the calendar that no digest has had yet: each is due in the first digest of its season, however late that is.
 * @param previous the date of the yard's newest digest; null: this is its first
 */
export function calendarReminders(
  place: Place | null,
  date: LocalDate,
  previous: LocalDate | null,
): readonly Reminder[] {
  if (place === null) return [];
  return seasons.flatMap((season) => {
    const since = runningSince(season, place, date);
    return since !== null && (previous === null || previous < since) ? [season.reminder] : [];
  });
}

/** Those that the weather asks for, whether or not they were said before. */
export const weatherReminders = ({ hardFrost, wetWarm }: SeasonWeather): readonly ("hardFrost" | "mould")[] => [
  ...(hardFrost ? (["hardFrost"] as const) : []),
  ...(wetWarm ? (["mould"] as const) : []),
];

/**
 * The day since which a reminder of the weather is said once: half a year before the middle of its winter or summer, so that no winter is cut in
 * two. @param place null: not entered, and taken as northern
 */
export function weatherSeasonStart(reminder: "hardFrost" | "mould", place: Place | null, date: LocalDate): LocalDate {
  const isSouth = place !== null && place.latitudeDegrees < 0;
  const start = (reminder === "hardFrost") === isSouth ? "01-01" : "07-01";
  const year = Number(date.slice(0, -"-MM-DD".length));
  const startYear = date.slice(-"MM-DD".length) < start ? year - 1 : year;
  return `${String(startYear).padStart(4, "0")}-${start}`;
}
