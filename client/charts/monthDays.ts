import type { HistoryView, YardView } from "../../server/contract/api.ts";
import { localDate, shiftDate, timeText, zonedInstant } from "../text/clock.ts";
import { type Daylight, daylight } from "./daylight.ts";
import { historyDays } from "./historyAxis.ts";

/** A month of a feeder, day by day: the figures by its sums of days, the strips by its sums of hours. */
export interface MonthDay {
  readonly date: string;
  readonly figures: Figures;
  readonly light: Daylight | null; // null: the place of the yard is not known
  /** Those of which the hour is over or running. */
  readonly hours: readonly StripHour[];
}
/** Null: not known. */
export interface Figures {
  readonly visits: number | null;
  readonly presses: number | null;
  readonly paid: number | null;
  readonly unpaid: number | null;
  readonly grams: number | null;
}
export interface StripHour {
  readonly hour: number; // of the local clock, 0 to 23
  /** Null: nothing is known of it. */
  readonly counts: Omit<Figures, "grams"> | null;
}
export interface MonthWeek {
  readonly monday: string;
  readonly days: readonly MonthDay[]; // the newest first
  readonly knownDays: number;
  readonly figures: Figures;
}

const dayColumns = "visits,presses,depositsPaid,depositsUnpaid,gramsGiven,reportedShare";
const hourColumns = "visits,presses,depositsPaid,depositsUnpaid";

const figureColumns = [
  ["visits", "visits"],
  ["presses", "presses"],
  ["paid", "depositsPaid"],
  ["unpaid", "depositsUnpaid"],
  ["grams", "gramsGiven"],
] as const;
const nothing: Figures = { visits: null, presses: null, paid: null, unpaid: null, grams: null };

export const nextMonth = (month: string) => shiftDate(`${month}-28`, 7).slice(0, 7);
export const previousMonth = (month: string) => shiftDate(`${month}-01`, -1).slice(0, 7);

interface MonthOf {
  readonly month: string; // "2026-11"
  readonly yard: Pick<YardView, "zone" | "place">;
  readonly now: number; // ms
}

/** The days of a month up to now, the newest first, in weeks from Monday to Sunday. */
export function monthWeeks(
  { month, yard, now }: MonthOf,
  byDay: HistoryView,
  byHour: readonly HistoryView[],
): readonly MonthWeek[] {
  const { zone, place } = yard;
  const today = localDate(now, zone);
  const hours = hoursByDate(byHour, zone, now);
  const days = historyDays(byDay, zone)
    .filter(({ date }) => date.startsWith(month) && date <= today)
    .map(({ date, index }): MonthDay => {
      const light = place === null ? null : daylight(place, date, zone);
      return { date, figures: figuresAt(byDay, index), light, hours: hours.get(date) ?? [] };
    })
    .toReversed();
  const weeks = new Map<string, MonthDay[]>();
  for (const day of days) weeks.set(mondayOf(day.date), [...(weeks.get(mondayOf(day.date)) ?? []), day]);
  return [...weeks].map(([monday, ofWeek]) => ({
    monday,
    days: ofWeek,
    knownDays: ofWeek.filter(({ figures }) => isKnown(figures)).length,
    figures: totalOf(ofWeek.map(({ figures }) => figures)),
  }));
}

export const isKnown = (figures: Figures): boolean => Object.values(figures).some((value) => value !== null);

/** A sum over what is known; null where none of it is. */
export function totalOf(all: readonly Figures[]): Figures {
  const sumOf = (name: keyof Figures) =>
    all.reduce<number | null>((sum, each) => (each[name] === null ? sum : (sum ?? 0) + each[name]), null);
  return {
    ...{ visits: sumOf("visits"), presses: sumOf("presses"), paid: sumOf("paid") },
    ...{ unpaid: sumOf("unpaid"), grams: sumOf("grams") },
  };
}

function figuresAt({ columns }: HistoryView, index: number): Figures {
  if ((columns.reportedShare?.[index] ?? null) === null && columns.reportedShare !== undefined) return nothing;
  const entries = figureColumns.map(([name, column]) => [name, columns[column]?.[index] ?? null]);
  return Object.fromEntries(entries) as unknown as Figures;
}

function hoursByDate(views: readonly HistoryView[], zone: string, now: number): ReadonlyMap<string, StripHour[]> {
  const found = new Map<string, StripHour[]>();
  for (const view of views) {
    let at = Date.parse(view.from);
    for (const [index, length] of view.lengthMinutes.entries()) {
      const date = localDate(at, zone);
      if (at <= now) found.set(date, [...(found.get(date) ?? []), hourAt(view, index, at, zone)]);
      at += length * 60_000;
    }
  }
  return found;
}

function hourAt(view: HistoryView, index: number, at: number, zone: string): StripHour {
  const hour = Number(timeText(new Date(at).toISOString(), zone).slice(0, 2));
  const { grams: _, ...counts } = figuresAt(view, index);
  return { hour, counts: Object.values(counts).some((value) => value !== null) ? counts : null };
}

/** 2026-11-23 was a Monday. */
function mondayOf(date: string): string {
  const days = Math.round((Date.parse(date) - Date.parse("2026-11-23")) / 86_400_000);
  return shiftDate(date, -(((days % 7) + 7) % 7));
}

/** Which hours of the clock the strips of a month show: those with light, and those in which something was. */
export function stripHours(weeks: readonly MonthWeek[], zone: string): readonly [from: number, to: number] {
  const hourOf = (at: number) => {
    const [hours = 0, minutes = 0] = timeText(new Date(at).toISOString(), zone).split(":").map(Number);
    return hours + minutes / 60;
  };
  const days = weeks.flatMap((week) => week.days);
  const lit = days.flatMap(({ light }) => (light === null ? [] : [light.lit ?? light.day]));
  if (lit.length === 0 || lit.some((extent) => extent === null)) return [0, 24];
  const extents = lit.flatMap((extent) => extent ?? []);
  const active = days.flatMap(({ hours }) =>
    hours.filter(({ counts }) => counts !== null && Object.values(counts).some(Boolean)).map(({ hour }) => hour),
  );
  const from = Math.min(...extents.map(({ from }) => hourOf(from)), ...active);
  const ends = extents.map(({ from, to }) => (hourOf(to) <= hourOf(from) ? 24 : hourOf(to)));
  return [Math.floor(from), Math.ceil(Math.max(...ends, ...active.map((hour) => hour + 1)))];
}

/** What a month is requested by: its days, then its hours in two parts, since a request has at most 500 points. */
export function monthQueries(feeder: string, month: string, zone: string, today: string) {
  const at = (date: string) => zonedInstant(date, "00:00", zone);
  const [first, middle, end] = [`${month}-01`, `${month}-17`, `${nextMonth(month)}-01`];
  const days = Math.round((Date.parse(end) - Date.parse(first)) / 86_400_000);
  const of = (name: string, from: string, to: string, points: number, columns: string) => ({
    ...{ name: `${name}-${month}`, feeder, from: at(from), to: at(to), points, columns },
  });
  return [
    of("month", first, end, days + 1, dayColumns),
    of("hours", first, middle, hourPoints, hourColumns),
    ...(middle > today ? [] : [of("laterHours", middle, end, hourPoints, hourColumns)]),
  ];
}
/** Sixteen days have 384 hours, or one more; thirteen have more half hours than this. */
const hourPoints = 400;
