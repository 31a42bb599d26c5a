import { days, hours, type Instant, inDays, later, minutes, type Span } from "../instant.ts";
import { addLocalDays, type LocalDate, localDateOf, startOfLocalDay } from "../localTime.ts";
import { loadCeilings } from "./ceilings.ts";
import type { WatchedFeeder } from "./history.ts";

/** How many alarms were raised, and how thickly they came. */
export interface Load {
  readonly alarms: number;
  readonly perDay: number; // mean over the whole span; two alarms of a first hour are two a day, not 48
  readonly byDay: readonly DayLoad[]; // every local day of the span, today so far among them
  readonly worstDay: DayLoad | null; // null where none was raised
  /** Most in any hour and in any ten minutes, wherever they begin: a clock's own hours would cut a crowd in two. */
  readonly worstHour: number;
  readonly worstTenMinutes: number;
  /** Shares of the span's hours and ten-minute periods, counted from its begin, with more than the standard's figure. */
  readonly busyHours: number;
  readonly busyTenMinutes: number;
}

export interface DayLoad {
  readonly date: LocalDate;
  readonly alarms: number;
}

/** @param times when alarms were raised, in order, all in [from, to) */
export function loadOf(times: readonly Instant[], from: Instant, to: Instant, zone: string): Load {
  if (to <= from) throw new RangeError(`expected a span that ends after it begins, got ${from} to ${to}`);
  const byDay = daysOf(times, from, to, zone);
  const worst = byDay.reduce<DayLoad | null>((most, day) => (day.alarms > (most?.alarms ?? 0) ? day : most), null);
  const { busyHours, busyTenMinutes } = loadCeilings;
  return {
    alarms: times.length,
    perDay: times.length / Math.max(1, inDays((to - from) as Span)),
    byDay,
    worstDay: worst,
    worstHour: mostWithin(times, hours(1)),
    worstTenMinutes: mostWithin(times, minutes(10)),
    busyHours: busyShare(times, from, to, hours(1), busyHours.over),
    busyTenMinutes: busyShare(times, from, to, minutes(10), busyTenMinutes.over),
  };
}

/** The local days from one moment to another; one more or less than 24-hour days would be where clocks change. */
export function localDaysOf(from: Instant, to: Instant, zone: string): readonly LocalDate[] {
  const dates: LocalDate[] = [];
  const last = localDateOf(to, zone);
  const most = Math.ceil(inDays((to - from) as Span)) + 2;
  for (let date = localDateOf(from, zone); date <= last && dates.length < most; date = addLocalDays(date, 1))
    if (startOfLocalDay(date, zone) < to) dates.push(date);
  return dates;
}

function daysOf(times: readonly Instant[], from: Instant, to: Instant, zone: string): DayLoad[] {
  const counts = new Map<LocalDate, number>(localDaysOf(from, to, zone).map((date) => [date, 0]));
  for (const at of times) {
    const date = localDateOf(at, zone);
    counts.set(date, (counts.get(date) ?? 0) + 1);
  }
  return [...counts].map(([date, alarms]) => ({ date, alarms }));
}

/** Most of them in any half-open window of this length. */
export function mostWithin(times: readonly Instant[], length: Span): number {
  let most = 0;
  for (let newest = 0, oldest = 0; newest < times.length; newest += 1) {
    const at = times[newest] ?? (0 as Instant);
    while ((times[oldest] ?? at) <= at - length) oldest += 1;
    most = Math.max(most, newest - oldest + 1);
  }
  return most;
}

function busyShare(times: readonly Instant[], from: Instant, to: Instant, length: Span, over: number): number {
  const counts = new Map<number, number>();
  for (const at of times) {
    const period = Math.floor((at - from) / length);
    counts.set(period, (counts.get(period) ?? 0) + 1);
  }
  const busy = [...counts.values()].filter((count) => count > over).length;
  return busy / Math.ceil((to - from) / length);
}

/**
 * Weeks that all feeders together were watched for; one that came later counts from then, and counts for a week at least: what
 * rings while it is set up is no rate yet.
 */
export const feederWeeks = (feeders: readonly WatchedFeeder[], from: Instant, to: Instant): number =>
  feeders.reduce((sum, { addedAt }) => sum + Math.max(1, inDays((to - later(from, addedAt)) as Span) / 7), 0);

/** Whole days that are known; a month in which clocks go forward is no day short. */
export const wholeDays = (from: Instant, to: Instant): number => Math.floor((to - from + hours(2)) / days(1));
