import type { FaultKind } from "../faults.ts";
import type { Instant } from "../instant.ts";

/**
 * What is kept of a span of time for charts and statistics. Charts over months read roll-ups and no events.
 *
 * All numbers are integers, since only sums of integers are the same in any order: quarters of an hour that are merged in any
 * order and grouping give the same hour and the same day, bit for bit. A roll-up may also be a change of a stored one, for
 * events that came late: then counts may be negative.
 */
export interface Rollup {
  readonly counts: RollupCounts;
  /** Tenths of a gram given, by the portion mass that the keeper entered. Null where that was assumed: not known. */
  readonly decigramsGiven: number | null;
  readonly level: LevelRollup | null; // null where no level was known
  readonly measures: { readonly [name in MeasureName]: Measure | null }; // null where it was not reported
  /** The faults with an alarm that was raised and not over, in alphabetical order. */
  readonly standingAlarms: readonly FaultKind[];
}

/**
 * - `reports`: that came in.
 * - `reportedTime`: milliseconds for which reports stand (reportedTime.ts). The rest is a gap: nothing is known of it.
 * - `pausedTime`: milliseconds of `reportedTime` in which the feeder was paused.
 * - `visits`, `presses`, `deposits`: events recorded.
 * - `depositsPaid`, `depositsUnpaid`: deposits that expect a portion, by the rules of the digest (depositPayments.ts). Two
 *   detections of one cap are one. The deposits of the last two minutes are unpaid until their portion is reported.
 * - `timerPortions`, `pressPortions`, `depositPortions`, `keeperPortions`: portions by their cause, those that failed included.
 * - `alarmsRaised`: alarms that became unacknowledged, as the day page marks them.
 */
export const countNames = [
  "reports",
  "reportedTime",
  "pausedTime",
  "visits",
  "presses",
  "deposits",
  "depositsPaid",
  "depositsUnpaid",
  "timerPortions",
  "pressPortions",
  "depositPortions",
  "keeperPortions",
  "alarmsRaised",
] as const;
export type CountName = (typeof countNames)[number];
export type RollupCounts = { readonly [name in CountName]: number };

/** The hopper's level in tenths of a gram: the last estimate with its 90 % interval, and the least and most of all estimates. */
export interface LevelRollup {
  readonly at: Instant; // of the last estimate
  readonly last: number;
  readonly low: number;
  readonly high: number;
  readonly least: number;
  readonly most: number;
}

/** Readings in whole steps of `measureSteps`. The mean is `sum / count`. */
export interface Measure {
  readonly count: number; // at least 1
  readonly sum: number;
  readonly least: number;
  readonly most: number;
}

/** Steps are finer than such sensors measure: 0.1 °C, 10 mV, 1 mA. */
export const measureSteps = { air: 0.1, inside: 0.1, supply: 0.01, battery: 0.01, charge: 1 } as const;
export type MeasureName = keyof typeof measureSteps;
export const measureNames = Object.keys(measureSteps) as readonly MeasureName[];

export const emptyRollup: Rollup = {
  counts: Object.fromEntries(countNames.map((name) => [name, 0])) as RollupCounts,
  decigramsGiven: 0,
  level: null,
  measures: { air: null, inside: null, supply: null, battery: null, charge: null },
  standingAlarms: [],
};

/** Both together. Commutative and associative, with `emptyRollup` as the neutral element. */
export const mergeRollups = (a: Rollup, b: Rollup): Rollup => ({
  counts: addCounts(a.counts, b.counts),
  decigramsGiven: a.decigramsGiven === null || b.decigramsGiven === null ? null : a.decigramsGiven + b.decigramsGiven,
  level: mergeLevels(a.level, b.level),
  measures: {
    air: mergeMeasures(a.measures.air, b.measures.air),
    inside: mergeMeasures(a.measures.inside, b.measures.inside),
    supply: mergeMeasures(a.measures.supply, b.measures.supply),
    battery: mergeMeasures(a.measures.battery, b.measures.battery),
    charge: mergeMeasures(a.measures.charge, b.measures.charge),
  },
  standingAlarms: mergeKinds(a.standingAlarms, b.standingAlarms),
});

/** Written out, not looped: it runs for each row that a chart reads. */
const addCounts = (a: RollupCounts, b: RollupCounts): RollupCounts => ({
  reports: a.reports + b.reports,
  reportedTime: a.reportedTime + b.reportedTime,
  pausedTime: a.pausedTime + b.pausedTime,
  visits: a.visits + b.visits,
  presses: a.presses + b.presses,
  deposits: a.deposits + b.deposits,
  depositsPaid: a.depositsPaid + b.depositsPaid,
  depositsUnpaid: a.depositsUnpaid + b.depositsUnpaid,
  timerPortions: a.timerPortions + b.timerPortions,
  pressPortions: a.pressPortions + b.pressPortions,
  depositPortions: a.depositPortions + b.depositPortions,
  keeperPortions: a.keeperPortions + b.keeperPortions,
  alarmsRaised: a.alarmsRaised + b.alarmsRaised,
});

function mergeLevels(a: LevelRollup | null, b: LevelRollup | null): LevelRollup | null {
  if (a === null || b === null) return a ?? b;
  const { at, last, low, high } = isLater(a, b) ? a : b;
  return { at, last, low, high, least: Math.min(a.least, b.least), most: Math.max(a.most, b.most) };
}

/** Of two estimates of one moment the higher one stands, so that the order of merging doesn't matter. */
function isLater(a: LevelRollup, b: LevelRollup): boolean {
  const difference = a.at - b.at || a.last - b.last || a.low - b.low || a.high - b.high;
  return difference > 0;
}

function mergeMeasures(a: Measure | null, b: Measure | null): Measure | null {
  if (a === null || b === null) return a ?? b;
  return {
    count: a.count + b.count,
    sum: a.sum + b.sum,
    least: Math.min(a.least, b.least),
    most: Math.max(a.most, b.most),
  };
}

function mergeKinds(a: readonly FaultKind[], b: readonly FaultKind[]): readonly FaultKind[] {
  if (a.length === 0) return b;
  return b.every((kind) => a.includes(kind)) ? a : [...new Set([...a, ...b])].sort();
}

/**
 * Whether what the feeder recorded in this span is known, so that a count of 0 means that nothing happened. Events that were
 * reported after a gap count as well.
 */
export const isCounted = ({ counts }: Rollup): boolean =>
  counts.reports > 0 || counts.reportedTime > 0 || eventNames.some((name) => counts[name] > 0);

const eventNames = [
  "visits",
  "presses",
  "deposits",
  "timerPortions",
  "pressPortions",
  "depositPortions",
  "keeperPortions",
] as const satisfies readonly CountName[];
