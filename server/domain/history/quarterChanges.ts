import type { FaultKind } from "../faults.ts";
import { earlier, type Instant } from "../instant.ts";
import {
  type CountName,
  type LevelRollup,
  type Measure,
  type MeasureName,
  mergeRollups,
  type Rollup,
} from "./rollup.ts";
import { quarterLength, quarterOf } from "./rollupSpans.ts";

export interface QuarterRollup {
  readonly from: Instant;
  readonly rollup: Rollup;
}

/** What one step changes. It changes in place: a report may hold a thousand events, most of them in one quarter. */
export interface QuarterChanges {
  readonly byBegin: Map<Instant, QuarterChange>;
  last: { readonly from: Instant; readonly change: QuarterChange } | null;
}

export const noChanges = (): QuarterChanges => ({ byBegin: new Map(), last: null });

export interface QuarterChange {
  readonly counts: Record<CountName, number>;
  decigramsGiven: number | null;
  level: LevelRollup | null;
  readonly measures: Record<MeasureName, Measure | null>;
  standingAlarms: readonly FaultKind[];
}

/** The change of the quarter that the moment lies in. */
export function changeAt(changes: QuarterChanges, at: Instant): QuarterChange {
  const { last } = changes;
  if (last !== null && at >= last.from && at < last.from + quarterLength) return last.change;
  const { from } = quarterOf(at);
  let change = changes.byBegin.get(from);
  if (change === undefined) {
    change = newChange();
    changes.byBegin.set(from, change);
  }
  changes.last = { from, change };
  return change;
}

/** A copy of `emptyRollup`. Written out: each report makes one, and a copy by "..." takes ten times as long. */
const newChange = (): QuarterChange => ({
  counts: {
    reports: 0,
    reportedTime: 0,
    pausedTime: 0,
    visits: 0,
    presses: 0,
    deposits: 0,
    depositsPaid: 0,
    depositsUnpaid: 0,
    timerPortions: 0,
    pressPortions: 0,
    depositPortions: 0,
    keeperPortions: 0,
    alarmsRaised: 0,
  },
  decigramsGiven: 0,
  level: null,
  measures: { air: null, inside: null, supply: null, battery: null, charge: null },
  standingAlarms: [],
});

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
  if (changes.byBegin.size === 0) return quarters;
  const merged = [...quarters];
  for (const [from, change] of changes.byBegin) {
    let index = merged.length; // as a rule the last quarter changes
    while (index > 0 && (merged[index - 1] as QuarterRollup).from > from) index -= 1;
    const before = merged[index - 1];
    if (before?.from === from) merged[index - 1] = { from, rollup: mergeRollups(before.rollup, change) };
    else merged.splice(index, 0, { from, rollup: change });
  }
  return merged;
}
