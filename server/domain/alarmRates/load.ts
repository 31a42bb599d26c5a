import { days, hours, type Instant, inDays, later, type Span } from "../instant.ts";
import { addLocalDays, type LocalDate, localDateOf, startOfLocalDay } from "../localTime.ts";
import type { HistoryFeeder } from "./history.ts";

/** How many alarms were raised, and how close together. */

/** The local days from one moment to another; one more or less than 24-hour days would be where clocks change. */
export function localDaysBetweenInstants(from: Instant, to: Instant, zone: string): readonly LocalDate[] {
  const dates: LocalDate[] = [];
  const last = localDateOf(to, zone);
  for (let date = localDateOf(from, zone); date <= last; date = addLocalDays(date, 1))
    if (startOfLocalDay(date, zone) < to) dates.push(date);
  return dates;
}

/** Most of them in any half-open window of this length, wherever it begins: fixed hours would split a cluster. */
export function maxWithin(times: readonly Instant[], length: Span): number {
  let countMax = 0;
  for (let newest = 0, oldest = 0; newest < times.length; newest += 1) {
    const at = times[newest] ?? (0 as Instant);
    while ((times[oldest] ?? at) <= at - length) oldest += 1;
    countMax = Math.max(countMax, newest - oldest + 1);
  }
  return countMax;
}

/** A mean over the whole span; two alarms of a first hour are two a day, not 48. */
export const perDayOf = (count: number, from: Instant, to: Instant): number =>
  count / Math.max(1, inDays((to - from) as Span));

/**
 * Weeks for all feeders together; one that was added later counts from then, and at least for a week: alarms while it is set up
 * are no rate yet.
 */
export const feederWeeks = (feeders: readonly HistoryFeeder[], from: Instant, to: Instant): number =>
  feeders.reduce((sum, { addedAt }) => sum + Math.max(1, inDays((to - later(from, addedAt)) as Span) / 7), 0);

/** Whole days that are known; a month in which clocks go forward is no day short. */
export const wholeDays = (from: Instant, to: Instant): number => Math.floor((to - from + hours(2)) / days(1));
