import type { FaultKind } from "../faults.ts";
import { earlier, type Instant } from "../instant.ts";
import type { HistoryLevel, HistoryPlan } from "./historyPlan.ts";
import type { QuarterRollup } from "./quarterChanges.ts";
import { isCounted, type LevelRollup, type MeasureName, measureSteps, mergeRollups, type Rollup } from "./rollup.ts";

/**
 * The history of a feeder as columns of equal length, one value for each bucket, with units in their names. Null means that nothing is
 * known of the bucket: a gap is never drawn as zero. A column of which nothing is known at all is left out.
 */
export interface HistorySeries {
  readonly level: HistoryLevel;
  readonly from: Instant;
  readonly to: Instant;
  readonly lengthMinutes: readonly number[]; // of each bucket; the first begins at `from`, each where the one before ends
  readonly columns: { readonly [name in HistoryColumn]?: readonly (number | null)[] };
  /** In which buckets an alarm stood: runs from the first bucket to the last, by their index. */
  readonly standingAlarms: { readonly [kind in FaultKind]?: readonly (readonly [first: number, last: number])[] };
}

/**
 * Counts are sums over the bucket. `hopperGrams` with `Low` and `High` is the last level with its 90 % interval; `Least` and `Most` keep
 * the peaks of what was merged; of a supply only what it falls to matters. Shares are 0 to 1: `reportedShare` of the bucket's time up to now, `pausedShare` of the time
 * with reports.
 */
const columnsOf = {
  visits: countColumn(({ counts }) => counts.visits),
  presses: countColumn(({ counts }) => counts.presses),
  deposits: countColumn(({ counts }) => counts.deposits),
  depositsPaid: countColumn(({ counts }) => counts.depositsPaid),
  depositsUnpaid: countColumn(({ counts }) => counts.depositsUnpaid),
  timerPortions: countColumn(({ counts }) => counts.timerPortions),
  pressPortions: countColumn(({ counts }) => counts.pressPortions),
  depositPortions: countColumn(({ counts }) => counts.depositPortions),
  keeperPortions: countColumn(({ counts }) => counts.keeperPortions),
  gramsGiven: countColumn(({ decigramsGiven }) => (decigramsGiven === null ? null : Math.round(decigramsGiven / 10))),
  hopperGrams: levelColumn("last"),
  hopperGramsLow: levelColumn("low"),
  hopperGramsHigh: levelColumn("high"),
  hopperGramsLeast: levelColumn("least"),
  hopperGramsMost: levelColumn("most"),
  airCelsiusLeast: measureColumn("air", "least"),
  airCelsiusMean: measureColumn("air", "mean"),
  airCelsiusMost: measureColumn("air", "most"),
  insideCelsiusLeast: measureColumn("inside", "least"),
  insideCelsiusMean: measureColumn("inside", "mean"),
  insideCelsiusMost: measureColumn("inside", "most"),
  supplyVoltsLeast: measureColumn("supply", "least"),
  supplyVoltsMean: measureColumn("supply", "mean"),
  batteryVoltsLeast: measureColumn("battery", "least"),
  batteryVoltsMean: measureColumn("battery", "mean"),
  batteryVoltsMost: measureColumn("battery", "most"),
  chargeMilliampsLeast: measureColumn("charge", "least"),
  chargeMilliampsMean: measureColumn("charge", "mean"),
  chargeMilliampsMost: measureColumn("charge", "most"),
  alarmsRaised: ({ counts }: Rollup) => counts.alarmsRaised,
  reportedShare: ({ counts }: Rollup, length: number) => hundredths(Math.min(1, counts.reportedTime / length)),
  pausedShare: ({ counts }: Rollup) =>
    counts.reportedTime > 0 ? hundredths(counts.pausedTime / counts.reportedTime) : null,
} as const satisfies Record<string, (rollup: Rollup, length: number) => number | null>;

export type HistoryColumn = keyof typeof columnsOf;
export const historyColumns = Object.keys(columnsOf) as readonly HistoryColumn[];

/**
 * @param rollups of the plan's level, and those that are not stored yet, in any order; those outside the plan are left out.
 * @param now the rest of the last bucket is still to come, and no gap.
 * @param wanted the columns that the chart draws
 */
export function historySeries(
  plan: HistoryPlan,
  rollups: Iterable<QuarterRollup>,
  now: Instant,
  wanted: readonly HistoryColumn[] = historyColumns,
): HistorySeries {
  const { level, from, to, starts } = plan;
  const buckets = mergeIntoBuckets(plan, rollups);
  const columns: { [name in HistoryColumn]?: readonly (number | null)[] } = {};
  for (const name of wanted) {
    const read = columnsOf[name];
    const column = buckets.map((rollup, index) => (rollup === null ? null : read(rollup, lengthOf(plan, index, now))));
    if (column.some((value) => value !== null)) columns[name] = column;
  }
  return {
    level,
    from,
    to,
    lengthMinutes: starts.map((start, index) => Math.round(((starts[index + 1] ?? to) - start) / 60_000)),
    columns,
    standingAlarms: alarmRuns(buckets),
  };
}

/** Null where there is no roll-up. */
type Buckets = readonly (Rollup | null)[];

function mergeIntoBuckets({ from, to, starts }: HistoryPlan, rollups: Iterable<QuarterRollup>): Buckets {
  const buckets: (Rollup | null)[] = starts.map(() => null);
  let index = 0;
  for (const { from: at, rollup } of rollups) {
    if (at < from || at >= to) continue;
    index = bucketAt(starts, at, index);
    const known = buckets[index] ?? null;
    buckets[index] = known === null ? rollup : mergeRollups(known, rollup);
  }
  return buckets;
}

/** They mostly come in order, so the bucket of the last one or the next is tried first. */
function bucketAt(starts: readonly Instant[], at: Instant, guess: number): number {
  for (const index of [guess, guess + 1]) {
    if ((starts[index] ?? at + 1) <= at && at < (starts[index + 1] ?? Number.POSITIVE_INFINITY)) return index;
  }
  let [low, high] = [0, starts.length - 1];
  while (low < high) {
    const middle = Math.ceil((low + high) / 2);
    if ((starts[middle] ?? at) <= at) low = middle;
    else high = middle - 1;
  }
  return low;
}

/** In milliseconds, up to now; at least 1. */
function lengthOf({ starts, to }: HistoryPlan, index: number, now: Instant): number {
  const start = starts[index] ?? to;
  return Math.max(1, earlier(starts[index + 1] ?? to, now) - start);
}

function alarmRuns(buckets: Buckets): HistorySeries["standingAlarms"] {
  const runs: { [kind in FaultKind]?: [first: number, last: number][] } = {};
  for (const [index, rollup] of buckets.entries()) {
    for (const kind of rollup?.standingAlarms ?? []) {
      runs[kind] ??= [];
      const last = runs[kind].at(-1);
      if (last?.[1] === index - 1) last[1] = index;
      else runs[kind].push([index, index]);
    }
  }
  return runs;
}

function countColumn(read: (rollup: Rollup) => number | null) {
  return (rollup: Rollup): number | null => (isCounted(rollup) ? read(rollup) : null);
}

/** To the gram, since no scale under a hopper outdoors is better. */
function levelColumn(part: Exclude<keyof LevelRollup, "at">) {
  return ({ level }: Rollup): number | null => (level === null ? null : Math.round(level[part] / 10));
}

function measureColumn(name: MeasureName, part: "least" | "mean" | "most") {
  const perUnit = Math.round(1 / measureSteps[name]);
  return ({ measures }: Rollup): number | null => {
    const measure = measures[name];
    if (measure === null) return null;
    const steps = part === "mean" ? Math.round(measure.sum / measure.count) : measure[part];
    return steps / perUnit;
  };
}

const hundredths = (share: number): number => Math.round(100 * share) / 100;
