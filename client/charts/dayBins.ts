import type { DayMark, DayView } from "../../server/contract/api.ts";
import type { DayScale } from "./dayScale.ts";

/** What birds did and the feeder gave, counted by stretches of a day. */
export const binnedKinds = ["visit", "press", "deposit", "portion"] as const;
export type BinnedKind = (typeof binnedKinds)[number];

export interface DayBin {
  readonly from: number; // ms
  readonly to: number;
  readonly x: number; // CSS pixels
  readonly width: number;
  readonly counts: Readonly<Record<BinnedKind, number>>;
  readonly unpaid: number; // of the deposits
}
export interface DayBins {
  readonly stepMinutes: number; // of a bin by day; each night is one
  readonly bins: readonly DayBin[];
  /** The kinds that this day has, from top to bottom. */
  readonly kinds: readonly BinnedKind[];
  readonly most: number; // in one bin, of one kind
}

const minuteMs = 60_000;
const stepsMinutes = [5, 10, 15, 20, 30, 60, 120] as const;
/** A count of two digits fits above its bar. */
const widthMin = 15;

/** By the clock: a bin begins at a full hour or a whole part of it. */
export function dayBins(day: Pick<DayView, "marks">, scale: DayScale): DayBins {
  const stepMinutes = stepOf(scale);
  const edges = edgesOf(scale, stepMinutes * minuteMs);
  const bins = edges.slice(1).map((to, index) => emptyBin(scale, edges[index] ?? to, to));
  for (const mark of day.marks) {
    if (!isBinned(mark.kind)) continue;
    const at = Date.parse(mark.at);
    // A mark outside the day, by a clock that differs, is counted at its end.
    const bin = bins.find(({ to }) => at < to) ?? bins.at(-1);
    if (bin === undefined) continue;
    bin.counts[mark.kind] += 1;
    if (mark.kind === "deposit" && mark.unpaid === true) bin.unpaid += 1;
  }
  const most = (kind: BinnedKind) => Math.max(0, ...bins.map(({ counts }) => counts[kind]));
  const kinds = binnedKinds.filter((kind) => most(kind) > 0);
  return { stepMinutes, bins, kinds, most: Math.max(1, ...kinds.map(most)) };
}

const isBinned = (kind: DayMark["kind"]): kind is BinnedKind => (binnedKinds as readonly string[]).includes(kind);

const emptyBin = (scale: DayScale, from: number, to: number) => ({
  ...{ from, to, x: scale.x(from), width: scale.x(to) - scale.x(from), unpaid: 0 },
  counts: { visit: 0, press: 0, deposit: 0, portion: 0 },
});

/** The shortest step of which a bin is wide enough in the light. */
function stepOf(scale: DayScale): (typeof stepsMinutes)[number] {
  const lit = scale.spans.filter(({ kind }) => kind !== "night");
  const [span = { width: scale.x(scale.to) - scale.x(scale.from), from: scale.from, to: scale.to }] = lit;
  const widthOf = (minutes: number) => (span.width * minutes * minuteMs) / (span.to - span.from);
  return stepsMinutes.find((minutes) => widthOf(minutes) >= widthMin) ?? 120;
}

/** A piece shorter than half a step, at a night's border, belongs to its neighbour. */
function edgesOf(scale: DayScale, step: number): readonly number[] {
  const nights = scale.spans.filter(({ kind }) => kind === "night");
  const borders = [scale.from, ...nights.flatMap(({ from, to }) => [from, to]), scale.to];
  const edges = [scale.from];
  for (const [index, end] of borders.slice(1).entries()) {
    const start = borders[index] ?? end;
    const isNight = nights.some(({ from, to }) => from <= start && end <= to);
    for (let at = (Math.floor(start / step) + 1) * step; !isNight && at < end; at += step) {
      if (at - start >= step / 2 && end - at >= step / 2) edges.push(at);
    }
    if (end > start) edges.push(end);
  }
  return edges;
}
