import { nightLabel } from "#text/dayChart.ts";
import type { DayMark, DayView } from "../../server/contract/api.ts";
import { type BinnedKind, type DayBins, dayBins } from "./dayBins.ts";
import { clamp, type DayScale, dayScale } from "./dayScale.ts";

/**
 * The chart of a day, from sunset to sunset or to now. What birds did and the feeder gave is counted by stretches, a row for each
 * kind; at the top: alarms and refills. All lengths are CSS pixels.
 */
export interface DayLayout extends DayBins {
  readonly scale: DayScale;
  readonly marks: readonly ChartMark[];
  readonly hours: readonly { readonly x: number; readonly label: string }[];
}
export interface ChartMark {
  readonly kind: Exclude<DayMark["kind"], BinnedKind>;
  readonly x: number;
  readonly count: number;
}

/** Room at the left for the names of the rows. */
export const namesWidth = 62;
/** Marks nearer than this would be drawn on top of each other, so they are drawn as one with a count. */
const markSpacing = 18;

/** An instant in the yard's time zone, as "14:20". */
export type TimeFormatter = (at: string) => string;

/** @param until ms: where a running day ends */
export function layoutDay(day: DayView, width: number, clock: TimeFormatter, until?: number): DayLayout {
  const ends = [namesWidth, width] as const;
  const scale = dayScale(day, ends, until);
  return {
    ...dayBins(day, scale),
    scale,
    marks: groupMarks(day.marks, scale, ends),
    hours: wholeHours(scale, clock, ends),
  };
}

type Ends = readonly [left: number, right: number];

function groupMarks(marks: readonly DayMark[], scale: DayScale, [left, right]: Ends): readonly ChartMark[] {
  const gathered: ChartMark[] = [];
  const latest = new Map<ChartMark["kind"], number>(); // index of the newest mark of this kind
  for (const { kind, at } of [...marks].sort((one, other) => Date.parse(one.at) - Date.parse(other.at))) {
    if (kind === "visit" || kind === "press" || kind === "deposit" || kind === "portion") continue;
    // A mark keeps half its own width from the ribbon's ends, so that none is cut.
    const x = clamp(scale.x(Date.parse(at)), left + markSpacing / 2, right - markSpacing / 2);
    const index = latest.get(kind);
    const before = index === undefined ? undefined : gathered[index];
    if (index !== undefined && before !== undefined && x - before.x < markSpacing) {
      gathered[index] = { ...before, count: before.count + 1 };
    } else {
      latest.set(kind, gathered.length);
      gathered.push({ kind, x, count: 1 });
    }
  }
  return gathered;
}

const quarterMs = 900_000;

/**
 * The whole hours of the yard's clock, as many as fit. Found by quarters, since some zones are a half or
 * a quarter of an hour off. Midnight, six, noon and eighteen go before the hours between them; in a night there is no room.
 */
function wholeHours({ from, to, spans, x: place }: DayScale, clock: TimeFormatter, [left, right]: Ends) {
  const labelSpacing = 46;
  const isDark = (at: number) => spans.some((span) => span.kind === "night" && span.from < at && at < span.to);
  const isAllDark = spans.every(({ kind }) => kind === "night");
  const hours: { x: number; label: string; rank: number }[] = [];
  for (let at = Math.ceil(from / quarterMs) * quarterMs; at <= to; at += quarterMs) {
    const label = clock(new Date(at).toISOString());
    if (!label.endsWith(":00") || (isDark(at) && !isAllDark)) continue;
    const hour = Number(label.slice(0, 2));
    const rank = [6, 3, 2, 1].findIndex((step) => hour % step === 0);
    const x = place(at);
    if (x > left + labelSpacing / 3 && x < right - labelSpacing / 3) hours.push({ x, label, rank });
  }
  const shown: typeof hours = isAllDark ? [] : nightLabels(spans, [left, right]);
  for (const hour of [...hours].sort((one, other) => one.rank - other.rank)) {
    if (shown.every((each) => Math.abs(each.x - hour.x) >= labelSpacing)) shown.push(hour);
  }
  return shown.sort((one, other) => one.x - other.x).map(({ x, label }) => ({ x, label }));
}

/** In place of the hours that a night has no room for. */
const nightLabels = (spans: DayScale["spans"], [, right]: Ends) =>
  spans
    .filter(({ kind }) => kind === "night")
    .map(({ x, width }) => ({ x: Math.min(x + width / 2, right - 16), label: nightLabel, rank: -1 }));
