import type { HistoryView } from "../../server/contract/api.ts";
import type { TrainingView } from "../../server/contract/trainingView.ts";
import { localDate, shiftDate, zonedInstant } from "../text/clock.ts";
import { dateFormat } from "../text/format.ts";

/** Two spans of a feeder's days that are compared: weeks, or stages of the programme. */
export interface ComparedSpan {
  readonly id: string; // in the address
  readonly first: string; // local date
  readonly last: string; // that one included; none that is to come
  readonly stage: string | null;
}

const dayMs = 86_400_000;
const weeksMax = 52;
/** More days have no place in one request, nor on a phone. */
const stageDaysMax = 400;
/** A request has at most 500 points: of more days the hours would be merged. */
export const hourDaysMax = 20;

export const daysIn = ({ first, last }: ComparedSpan) => Math.round((Date.parse(last) - Date.parse(first)) / dayMs) + 1;

/** 2026-11-23 was a Monday. */
const mondayOf = (date: string) =>
  shiftDate(date, -((((Date.parse(date) - Date.parse("2026-11-23")) / dayMs) % 7) + 7) % 7);

/** The weeks from Monday to Sunday, this one first. */
export const weekSpans = (today: string): readonly ComparedSpan[] =>
  Array.from({ length: weeksMax }, (_, back) => {
    const first = shiftDate(mondayOf(today), -7 * back);
    const [last = first] = [shiftDate(first, 6), today].sort();
    return { id: first, first, last, stage: null };
  });

/** The stages that were started, the newest first; one that was started twice is there twice. */
export function stageSpans(view: TrainingView | null, today: string, zone: string): readonly ComparedSpan[] {
  return (view?.periods ?? [])
    .map(({ name, from, to }) => {
      const [first, end] = [localDate(Date.parse(from), zone), to === null ? today : localDate(Date.parse(to), zone)];
      // The day on which the next one begins is of neither alone; it counts to the later one.
      const last = to === null || end === first ? end : shiftDate(end, -1);
      const [, start = first] = [first, shiftDate(last, 1 - stageDaysMax)].sort();
      return { id: first, first: start, last, stage: name };
    })
    .toReversed();
}

/** "16 – 22 Nov" */
export function datesText({ first, last }: Pick<ComparedSpan, "first" | "last">): string {
  const format = dateFormat("UTC", "dayOfMonth", { day: "numeric", month: "short" });
  return format.formatRange(new Date(`${first}T12:00:00Z`), new Date(`${last}T12:00:00Z`));
}

const dayColumns = [
  ...["visits", "presses", "deposits", "depositsPaid", "depositsUnpaid"],
  ...["timerPortions", "pressPortions", "depositPortions", "keeperPortions", "gramsGiven", "airCelsiusMean"],
].join(",");

/** Its days, and its hours or those of its last days. */
export function comparedQueries(feeder: string, span: ComparedSpan, zone: string) {
  const at = (date: string) => zonedInstant(date, "00:00", zone);
  const [days, to] = [daysIn(span), at(shiftDate(span.last, 1))];
  // Two points of one day would be its halves.
  const daysEnd = days === 1 ? at(shiftDate(span.last, 2)) : to;
  const hourDays = Math.min(days, hourDaysMax);
  return [
    {
      name: `days-${span.first}-${days}`,
      feeder,
      from: at(span.first),
      to: daysEnd,
      points: Math.max(3, days + 1),
      columns: dayColumns,
    },
    {
      ...{ name: `hours-${span.first}-${days}`, feeder, from: at(shiftDate(span.last, 1 - hourDays)), to },
      ...{ points: hourDays * 24 + 2, columns: "visits,presses,deposits" },
    },
  ] as const;
}

/** Without what was only asked for to get whole days. */
export function daysOnly(history: HistoryView, span: ComparedSpan): HistoryView {
  const days = daysIn(span);
  const columns = Object.entries(history.columns).map(([name, values]) => [name, values.slice(0, days)]);
  return {
    ...history,
    lengthMinutes: history.lengthMinutes.slice(0, days),
    columns: Object.fromEntries(columns) as HistoryView["columns"],
  };
}

export const comparedFigures = [
  ...(["visits", "presses", "depositsPaid", "depositsUnpaid"] as const),
  ...(["portions", "gramsGiven", "airCelsiusMean"] as const),
] as const;
type Figure = (typeof comparedFigures)[number];

/** Means of a day over the days of which it is known; null where it is known of none. */
export function meansOf(history: HistoryView): Readonly<Record<Figure, number | null>> {
  const { columns } = history;
  const portions = (["timerPortions", "pressPortions", "depositPortions", "keeperPortions"] as const).map(
    (name) => columns[name] ?? [],
  );
  const all = history.lengthMinutes.map((_, day) => {
    const parts = portions.flatMap((column) => column[day] ?? []);
    return parts.length === 0 ? null : parts.reduce((sum, part) => sum + part, 0);
  });
  const of = (name: Exclude<Figure, "portions">) => meanOf(columns[name] ?? []);
  return {
    ...{ visits: of("visits"), presses: of("presses"), depositsPaid: of("depositsPaid") },
    ...{ depositsUnpaid: of("depositsUnpaid"), portions: meanOf(all), gramsGiven: of("gramsGiven") },
    airCelsiusMean: of("airCelsiusMean"),
  };
}

/** Days of which anything is known. */
export const knownDays = ({ lengthMinutes, columns }: HistoryView): number =>
  lengthMinutes.filter((_, day) => Object.values(columns).some((column) => (column?.[day] ?? null) !== null)).length;

function meanOf(values: readonly (number | null)[]): number | null {
  const known = values.filter((value) => value !== null);
  return known.length === 0 ? null : known.reduce((sum, value) => sum + value, 0) / known.length;
}

/** By hour of the local clock the mean of the days of which that hour is known; null where it is known of none. */
export function hourMeans(
  { from, lengthMinutes }: Pick<HistoryView, "from" | "lengthMinutes">,
  counts: readonly (number | null)[],
  hourOf: (at: number) => number,
): readonly (number | null)[] {
  const byHour = Array.from({ length: 24 }, (): number[] => []);
  let at = Date.parse(from);
  for (const [index, length] of lengthMinutes.entries()) {
    const count = counts[index] ?? null;
    if (count !== null) byHour[hourOf(at)]?.push(count);
    at += length * 60_000;
  }
  return byHour.map(meanOf);
}
