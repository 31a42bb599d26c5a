import type { HistoryView } from "../../server/contract/api.ts";
import { localDate } from "../text/clock.ts";
import { edges } from "./dayAxis.ts";

/** A history by day: each bucket with its local date. */
export interface HistoryDay {
  readonly date: string;
  readonly index: number; // of its bucket
}

export function historyDays({ from, lengthMinutes }: HistoryView, zone: string): readonly HistoryDay[] {
  let at = Date.parse(from);
  return lengthMinutes.map((length, index) => {
    const middle = at + (length * 60_000) / 2; // a day of a clock change is 23 or 25 hours long
    at += length * 60_000;
    return { date: localDate(middle, zone), index };
  });
}

/** Places of equal width from left to right. */
export function placesAxis(count: number, width: number) {
  const step = (width - edges.left - edges.right) / Math.max(1, count);
  return {
    step,
    x: (place: number) => edges.left + (place + 0.5) * step,
    placeAt: (x: number) => Math.max(0, Math.min(count - 1, Math.floor((x - edges.left) / step))),
  };
}

/** Acts by hour of the local clock, of the last seven days and of the seven before. Hours of which nothing is known add nothing. */
export function weeksByHour(
  { from, lengthMinutes }: Pick<HistoryView, "from" | "lengthMinutes">,
  counts: readonly (number | null)[],
  now: number,
  hourOf: (at: number) => number,
): { readonly week: readonly number[]; readonly before: readonly number[] } {
  const [week, before] = [Array.from({ length: 24 }, () => 0), Array.from({ length: 24 }, () => 0)];
  let at = Date.parse(from);
  for (const [index, length] of lengthMinutes.entries()) {
    const age = now - at;
    const sums = age < weekMs ? week : age < 2 * weekMs ? before : null;
    const hour = hourOf(at);
    if (sums !== null) sums[hour] = (sums[hour] ?? 0) + (counts[index] ?? 0);
    at += length * 60_000;
  }
  return { week, before };
}

const weekMs = 7 * 86_400_000;

/** Of the seven days that end there, as far as at least four of them are known; null else, and on a day that isn't known itself. */
export function weeklyMeans(values: readonly (number | null)[]): readonly (number | null)[] {
  return values.map((value, index) => {
    if (value === null) return null;
    const known = values.slice(Math.max(0, index - 6), index + 1).filter((each) => each !== null);
    return known.length < 4 ? null : known.reduce((sum, each) => sum + each, 0) / known.length;
  });
}

/** Runs of neighbouring places of which something is known: a gap is never bridged. */
export function knownRuns(values: readonly (number | null)[]): readonly (readonly number[])[] {
  const runs: number[][] = [[]];
  for (const [index, value] of values.entries()) {
    if (value === null) runs.push([]);
    else runs.at(-1)?.push(index);
  }
  return runs.filter((run) => run.length > 0);
}
