import type { FaultKind } from "../faults.ts";
import { earlier, type Instant } from "../instant.ts";
import {
  type CountName,
  emptyRollup,
  type LevelRollup,
  type Measure,
  type MeasureName,
  mergeRollups,
  type Rollup,
} from "./rollup.ts";
import { quarterOf } from "./rollupSpans.ts";

export interface QuarterRollup {
  readonly from: Instant;
  readonly rollup: Rollup;
}

/** What one step changes, by the begin of the quarter. It changes in place: a report may hold a thousand events. */
export type QuarterChanges = Map<Instant, QuarterChange>;

export interface QuarterChange {
  readonly counts: Record<CountName, number>;
  decigramsGiven: number | null;
  level: LevelRollup | null;
  readonly measures: Record<MeasureName, Measure | null>;
  standingAlarms: readonly FaultKind[];
}

/** The change of the quarter that the moment lies in. */
export function changeAt(changes: QuarterChanges, at: Instant): QuarterChange {
  const { from } = quarterOf(at);
  const known = changes.get(from);
  if (known !== undefined) return known;
  const { counts, measures, ...rest } = emptyRollup;
  const change = { ...rest, counts: { ...counts }, measures: { ...measures } };
  changes.set(from, change);
  return change;
}

/** Calls `add` with each quarter's part of the span. */
export function splitSpan(
  { from, to }: { readonly from: Instant; readonly to: Instant },
  add: (from: Instant, to: Instant) => void,
): void {
  let begin = from;
  while (begin < to) {
    const end = earlier(to, quarterOf(begin).to);
    add(begin, end);
    begin = end;
  }
}

/** In order of time. */
export function mergeChanges(quarters: readonly QuarterRollup[], changes: QuarterChanges): readonly QuarterRollup[] {
  if (changes.size === 0) return quarters;
  const merged = new Map(quarters.map(({ from, rollup }) => [from, rollup]));
  for (const [from, change] of changes) {
    const before = merged.get(from);
    merged.set(from, before === undefined ? change : mergeRollups(before, change));
  }
  return [...merged].map(([from, rollup]) => ({ from, rollup })).sort((a, b) => a.from - b.from);
}
