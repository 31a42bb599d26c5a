import type { DayMark, DayView } from "../../server/contract/api.ts";

/**
 * The chart of a day, from sunset to sunset. Above the ground line: what the birds did; below it: what the feeder gave; at the
 * top: alarms and refills. All lengths are CSS pixels.
 */
export interface ChartMark {
  readonly kind: DayMark["kind"];
  readonly x: number;
  readonly count: number;
  readonly unpaidCount: boolean; // a deposit or press in this mark that was not paid
}
export interface LightBand {
  readonly kind: DayView["light"][number]["kind"];
  readonly x: number;
  readonly width: number;
}
export interface DayLayout {
  readonly spans: readonly LightBand[];
  readonly marks: readonly ChartMark[];
  readonly hours: readonly { readonly x: number; readonly label: string }[];
  /** The x of a time; times outside the day are at its ends. */
  readonly xOf: (at: string) => number;
}

/** Marks nearer than this would be drawn on top of each other, so they are drawn as one with a count. */
const spacing: Readonly<Record<DayMark["kind"], number>> = {
  visit: 5,
  portion: 5,
  press: 13,
  deposit: 17, // wide enough for a count of two digits
  refill: 18,
  trouble: 18,
  alarm: 18,
  note: 18,
};

/** An instant in the yard's time zone, as "14:20". */
export type TimeFormatter = (at: string) => string;

export function layoutDay(day: DayView, width: number, clock: TimeFormatter): DayLayout {
  const from = Date.parse(day.from);
  const to = Date.parse(day.to);
  if (!(to > from)) throw new RangeError(`layoutDay needs from < to, got ${day.from}..${day.to}`);
  const place = timeScale(day, from, to, width);
  const spans = day.light.map(({ kind, from, to }) => {
    const x = place(from);
    return { kind, x, width: place(to) - x };
  });
  return {
    spans,
    marks: groupMarks(day.marks, place, width),
    hours: wholeHours(from, to, width, clock, place),
    xOf: place,
  };
}

/**
 * In the north a winter's night is two thirds of a day in which next to nothing happens: drawn to the same scale it would
 * push the birds' few hours together. So an hour of night is drawn narrower than an hour of light; the hour marks show that.
 */
const nightWidthFactor = 0.3;

/** The x of a time: linear within each span of light, never decreasing. */
function timeScale(day: DayView, from: number, to: number, width: number): (at: string) => number {
  const pieces: { start: number; end: number; weight: number }[] = [];
  let reached = from;
  for (const span of day.light) {
    const start = clamp(Date.parse(span.from), reached, to);
    const end = clamp(Date.parse(span.to), start, to);
    if (start > reached) pieces.push({ start: reached, end: start, weight: 1 });
    if (end > start) pieces.push({ start, end, weight: span.kind === "night" ? nightWidthFactor : 1 });
    reached = end;
  }
  if (reached < to) pieces.push({ start: reached, end: to, weight: 1 });
  const before = (at: number) =>
    pieces.reduce((sum, { start, end, weight }) => sum + weight * (clamp(at, start, end) - start), 0);
  const whole = before(to);
  return (at) => (width * before(clamp(Date.parse(at), from, to))) / whole;
}

function groupMarks(marks: readonly DayMark[], place: (at: string) => number, width: number): readonly ChartMark[] {
  const gathered: ChartMark[] = [];
  const latest = new Map<DayMark["kind"], number>(); // index of the newest mark of this kind
  for (const mark of [...marks].sort((one, other) => Date.parse(one.at) - Date.parse(other.at))) {
    const gap = spacing[mark.kind];
    // A mark keeps half its own width from the ribbon's ends, so that none is cut.
    const x = clamp(place(mark.at), gap / 2, width - gap / 2);
    const unpaid = mark.unpaid === true;
    const index = latest.get(mark.kind);
    const before = index === undefined ? undefined : gathered[index];
    if (index !== undefined && before !== undefined && x - before.x < gap) {
      gathered[index] = { ...before, count: before.count + 1, unpaidCount: before.unpaidCount || unpaid };
    } else {
      latest.set(mark.kind, gathered.length);
      gathered.push({ kind: mark.kind, x, count: 1, unpaidCount: unpaid });
    }
  }
  return gathered;
}

const quarterMs = 900_000;

/**
 * The whole hours of the yard's clock, as many as fit. Found by quarters, since some zones are a half or
 * a quarter of an hour off. Midnight, six, noon and eighteen go before the hours between them.
 */
function wholeHours(from: number, to: number, width: number, clock: TimeFormatter, place: (at: string) => number) {
  const labelSpacing = 52;
  const hours: { x: number; label: string; rank: number }[] = [];
  for (let at = Math.ceil(from / quarterMs) * quarterMs; at <= to; at += quarterMs) {
    const instant = new Date(at).toISOString();
    const label = clock(instant);
    if (!label.endsWith(":00")) continue;
    const hour = Number(label.slice(0, 2));
    const rank = [6, 3, 2].findIndex((step) => hour % step === 0);
    const x = place(instant);
    if (rank >= 0 && x > labelSpacing / 3 && x < width - labelSpacing / 3) hours.push({ x, label, rank });
  }
  const shown: typeof hours = [];
  for (const hour of [...hours].sort((one, other) => one.rank - other.rank)) {
    if (shown.every((each) => Math.abs(each.x - hour.x) >= labelSpacing)) shown.push(hour);
  }
  return shown.sort((one, other) => one.x - other.x).map(({ x, label }) => ({ x, label }));
}

/** Length of a tally stroke for so many marks at one place: grows quickly at first, never past `longest`. */
export const strokeLength = (count: number, longest: number) =>
  Math.min(longest, 6 + (longest - 6) * (1 - 1 / count ** 0.6));

const clamp = (value: number, low: number, high: number) => Math.min(high, Math.max(low, value));
