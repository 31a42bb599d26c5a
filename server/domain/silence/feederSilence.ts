import { intervalText, spanText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Fault } from "../faults.ts";
import { after, between, days, hours, type Instant, later, type Span, seconds } from "../instant.ts";
import { memoizeLatest } from "../memoizeLatest.ts";
import { movingMean } from "../movingMean.ts";
import { logNormalTail } from "../normalTail.ts";
import { dateTimeText } from "../reportFaults.ts";
import type { FeederSettings } from "../settings.ts";
import { probability } from "../units.ts";
import {
  addLongGap,
  extendQuarter,
  type GapDistribution,
  gapDistribution,
  gapExceededPerYear,
  initialLongGaps,
  type LongGaps,
  logGapsPerYear,
} from "./longGaps.ts";
import { normalQuantileOfLog } from "./tailProbabilities.ts";

/**
 * What is known of a feeder's reports: when the last one came, by the server's clock, and their usual intervals. A feeder that
 * never reported has no fault.
 */
export type ReportingState =
  | { readonly kind: "neverReported"; readonly since: Instant }
  | {
      readonly kind: "reporting";
      readonly lastReportAt: Instant;
      readonly boot: string;
      readonly sentUptime: Span | null; // null where it sent what an earlier boot left behind
      readonly intervals: IntervalStatistics;
      readonly longGaps: LongGaps;
      /** Gaps in a row that were long enough for an alarm, and so not learnt. */
      readonly outagesInRow: number;
      /** It has reported regularly, so that a silence is an alarm. Left out: not yet. */
      readonly isRegular?: true;
      /** Its reports since the last long gap, while it isn't regular. */
      readonly regularRun?: { readonly since: Instant; readonly reports: number };
    };

type Reporting = Extract<ReportingState, { kind: "reporting" }>;

/** Gaps between reports as learnt, newer ones counting more. Milliseconds. */
interface IntervalStatistics {
  readonly requestedInterval: Span; // the interval it was set to when this was learnt
  readonly mean: number;
  readonly variance: number;
  readonly lateShare: number; // of all gaps, those longer than lateFrom x mean
  readonly lateExcess: number; // by how much such a gap is longer, on average
}

/** `sentUptime` distinguishes a late duplicate from a new report. */
export interface ReportTiming {
  readonly boot: string;
  readonly sentUptime: Span | null;
  readonly reportEvery: Span;
}

export const initialReporting = (now: Instant): ReportingState => ({ kind: "neverReported", since: now });

/** A report came in at `now`, by the server's clock. */
export function updateReporting(state: ReportingState, report: ReportTiming, now: Instant): ReportingState {
  const updated = updateIntervals(state, report, now);
  return updated === state || updated.kind === "neverReported"
    ? updated
    : updateRegularity(state, updated, report.reportEvery);
}

/** A report that can't be read shows that the feeder runs, and nothing about its intervals. */
export const recordContact = (state: ReportingState, now: Instant): ReportingState =>
  state.kind === "neverReported" ? state : { ...state, lastReportAt: later(state.lastReportAt, now) };

/** A feeder is regular once it has reported for so long without a long gap, and so often. Our choice. */
const regularAfter = hours(1);
const regularReports = 4;

function updateRegularity(before: ReportingState, updated: Reporting, reportEvery: Span): Reporting {
  if (before.kind === "reporting" && before.isRegular) return { isRegular: true, ...updated };
  const continues =
    before.kind === "reporting" &&
    between(before.lastReportAt, updated.lastReportAt) < computeSilenceLimit(before, reportEvery);
  const currentRun = continues ? before.regularRun : undefined;
  const { since, reports } = currentRun ?? { since: updated.lastReportAt, reports: 0 };
  if (reports + 1 >= regularReports && between(since, updated.lastReportAt) >= regularAfter)
    return { isRegular: true, ...updated };
  return { regularRun: { since, reports: reports + 1 }, ...updated };
}

function updateIntervals(state: ReportingState, report: ReportTiming, now: Instant): ReportingState {
  const { boot, sentUptime, reportEvery } = report;
  if (state.kind === "neverReported") return restartIntervals(now, boot, sentUptime, priorIntervals(reportEvery));
  // A late copy proves that the feeder was alive when it was sent, not that it is now.
  if (isLateCopy(state, report)) return state;

  const at = later(state.lastReportAt, now);
  if (reportEvery !== state.intervals.requestedInterval)
    return restartIntervals(at, boot, sentUptime, priorIntervals(reportEvery));
  const gap = between(state.lastReportAt, at);
  const current: Reporting = {
    kind: "reporting",
    lastReportAt: at,
    boot,
    sentUptime,
    intervals: state.intervals,
    longGaps: state.longGaps,
    outagesInRow: state.outagesInRow,
  };
  // Sent for an event, in parts of a backlog, or sent again: too early to show the usual interval.
  if (gap < reportEvery / 2 || sentUptime === null) return current;
  const isUsual = gap < silenceLimitFloor(reportEvery) || gap < computeSilenceLimit(state, reportEvery);
  if (isUsual) return learnGap(current, gap);
  return learnOutage(
    current,
    gap,
    boot === state.boot && gap < lineOutageMax * computeSilenceLimit(state, reportEvery),
  );
}

const isLateCopy = ({ boot, sentUptime }: Reporting, report: ReportTiming): boolean =>
  report.boot === boot && report.sentUptime !== null && sentUptime !== null && report.sentUptime < sentUptime;

function learnGap(state: Reporting, gap: Span): Reporting {
  const intervals = updateIntervalStatistics(state.intervals, gap);
  // Where most are late, the interval itself is longer.
  if (intervals.lateShare > 0.5) return restartByGap(state, gap);
  const isLate = gap > lateFactor * state.intervals.mean;
  return {
    kind: "reporting",
    lastReportAt: state.lastReportAt,
    boot: state.boot,
    sentUptime: state.sentUptime,
    intervals,
    longGaps: isLate ? addLongGap(state.longGaps, gap, state.lastReportAt) : state.longGaps,
    outagesInRow: 0,
  };
}

/**
 * A gap long enough for an alarm. A single one is not learnt, or the next would be noticed late; several in a row are the
 * feeder's new interval. `isConnectionOnly`: within one boot the feeder ran on and only its connection failed. That is learnt
 * of the connection, so that so short an outage doesn't raise an alarm each week.
 */
function learnOutage(state: Reporting, gap: Span, isConnectionOnly: boolean): Reporting {
  const { longGaps, outagesInRow, lastReportAt } = state;
  if (outagesInRow + 1 >= outagesToRelearn) return restartByGap(state, gap);
  return {
    ...state,
    longGaps: isConnectionOnly ? addLongGap(longGaps, gap, lastReportAt) : extendQuarter(longGaps, gap),
    outagesInRow: outagesInRow + 1,
  };
}

const restartByGap = ({ lastReportAt, boot, sentUptime, intervals }: Reporting, gap: Span): Reporting =>
  restartIntervals(lastReportAt, boot, sentUptime, {
    ...priorIntervals(gap),
    requestedInterval: intervals.requestedInterval,
  });

const restartIntervals = (
  at: Instant,
  boot: string,
  sentUptime: Span | null,
  intervals: IntervalStatistics,
): Reporting => ({
  kind: "reporting",
  lastReportAt: at,
  boot,
  sentUptime,
  intervals,
  longGaps: initialLongGaps(at),
  outagesInRow: 0,
});

/** Null also where it never reported. */
export function feederSilentFault(state: ReportingState, settings: FeederSettings, now: Instant): Fault | null {
  const silentFrom = silenceBeginsAt(state, settings);
  if (silentFrom === null || state.kind === "neverReported" || now < silentFrom) return null;
  if (!reportsRegularly(state, settings)) return irregularSilentFault(state, settings, now);
  const silentFor = between(state.lastReportAt, now);
  const usualInterval = state.intervals.mean as Span;
  const logProbability = logGapExceedance(state.intervals, gapDistributionOf(state), silentFor);
  const text = texts.feederReports;
  return {
    kind: "feederSilent",
    reason: text.silent(spanText(silentFor), intervalText(usualInterval)),
    evidence: [
      { label: text.lastReportLabel, value: text.lastReport, at: state.lastReportAt },
      { label: text.usualIntervalLabel, value: spanText(usualInterval), at: null },
      {
        label: text.longestGapLabel,
        value: spanText(between(state.lastReportAt, silentFrom)),
        at: null,
      },
    ],
    confidence: probability(1 - Math.exp(logProbability)),
  };
}

/** A practice feeder is there to show what an alarm looks like. */
const reportsRegularly = ({ isRegular }: Reporting, { practice }: FeederSettings): boolean =>
  practice || isRegular === true;

function irregularSilentFault({ lastReportAt }: Reporting, settings: FeederSettings, now: Instant): Fault {
  return {
    kind: "reportsIrregular",
    reason: texts.feederReports.irregular(
      dateTimeText(lastReportAt, settings.zone, now),
      intervalText(settings.reportEvery),
    ),
    evidence: [{ label: texts.feederReports.lastReportLabel, value: texts.feederReports.lastReport, at: lastReportAt }],
    confidence: null,
  };
}

/** From when its silence is an alarm and not a note; null where it isn't one. */
export const silenceAlarmAt = (state: ReportingState, settings: FeederSettings): Instant | null =>
  state.kind === "reporting" && reportsRegularly(state, settings) ? silenceBeginsAt(state, settings) : null;

/** The instant from which `feederSilentFault` finds it, so that it is checked at that time. */
export function silenceBeginsAt(state: ReportingState, settings: FeederSettings): Instant | null {
  return state.kind === "neverReported" ? null : after(state.lastReportAt, silenceLimit(state, settings.reportEvery));
}

/** Used twice for each report: for the silence, and for the time of the next check. */
const silenceLimit = memoizeLatest(computeSilenceLimit);

/**
 * Wanted: at most one false silence in a feeder's year. Each gap is one chance to be wrong, so one gap may be wrong with
 * (mean gap / year). Repeated checks of one gap are one growing test and add nothing.
 */
const falseSilenceEvery = days(365);
/**
 * How often a year the longest gaps may exceed the limit: a quarter of what is wanted, since a tail that is known from a dozen
 * gaps is often estimated too short. Measured on connections from faultless to bad.
 */
const silenceLimitWanted = 0.25;

/** One lost report is no alarm, nor is a router that restarts. Common practice, no source. */
const silenceLimitMin = seconds(90);
const silenceLimitReports = 3;

/** How long a gap may be before it is a silence: where `logGapExceedance` falls to the wanted value, solved for time. */
function computeSilenceLimit(state: Reporting, reportEvery: Span): Span {
  const { intervals } = state;
  // Rounded down to a thousandth: the mean changes a little with each report, and the quantile is memoized.
  const logWanted = Math.floor(1_000 * Math.log(Math.min(0.5, intervals.mean / falseSilenceEvery))) / 1_000;
  const regularTime = intervals.mean + intervalDeviation(intervals) * normalQuantileOfLog(logWanted);
  const lateTime = lateFactor * intervals.mean + intervals.lateExcess * (Math.log(intervals.lateShare) - logWanted);
  const longGap = gapExceededPerYear(gapDistributionOf(state), silenceLimitWanted);
  return Math.ceil(Math.max(silenceLimitFloor(reportEvery), regularTime, lateTime, longGap)) as Span;
}

const silenceLimitFloor = (reportEvery: Span): number => Math.max(silenceLimitMin, silenceLimitReports * reportEvery);

const gapDistributionOf = ({ longGaps, intervals, lastReportAt }: Reporting): GapDistribution =>
  gapDistribution(longGaps, intervals.mean, lateFactor * intervals.mean, lastReportAt);

/**
 * ln of the probability that a gap lasts longer than `silentFor`: accrual after Hayashibara, Défago, Yared & Katayama 2004. Its
 * normal tail alone is far too early on a connection that loses reports, so late gaps have a tail of their own: exponential
 * over a threshold (peaks over threshold, e.g. Coles 2001 ch. 4, shape 0), by the last hundred gaps; runs of losses and outages
 * are known from the longest gaps of the last months. The longest of the three decides.
 */
function logGapExceedance(intervals: IntervalStatistics, distribution: GapDistribution, silentFor: number): number {
  const regularTime = logNormalTail((silentFor - intervals.mean) / intervalDeviation(intervals));
  const lateBy = silentFor - lateFactor * intervals.mean;
  const lateTime = lateBy < 0 ? 0 : Math.log(intervals.lateShare) - lateBy / intervals.lateExcess;
  const longGap = logGapsPerYear(distribution, silentFor) + Math.log(intervals.mean / days(365));
  return Math.max(regularTime, lateTime, longGap);
}

const intervalDeviation = (intervals: IntervalStatistics) =>
  Math.max(Math.sqrt(intervals.variance), jitterMin * intervals.mean);

/** A connection that was regular so far may not stay so. */
const jitterMin = 0.2;
/** Half an interval past its time, a report is late: nearer to lost than to jitter. */
const lateFactor = 1.5;
/** Weight of the newest gap: the last hundred or so count, hours to a few days. */
const intervalLearningRate = 1 / 100;
const outagesToRelearn = 3;
/** A silence longer than this many limits is an alarm each time, whatever is usual for the connection. */
const lineOutageMax = 3;
/** Never zero: a connection that lost no report yet may lose one. */
const lateShareMin = 0.0002;

/** Before anything is learnt: one report in fifty late, by half a gap. Common practice, no source. */
const priorIntervals = (reportEvery: Span): IntervalStatistics => ({
  requestedInterval: reportEvery,
  mean: reportEvery,
  variance: (jitterMin * reportEvery) ** 2,
  lateShare: 0.02,
  lateExcess: 0.5 * reportEvery,
});

function updateIntervalStatistics(intervals: IntervalStatistics, gap: Span): IntervalStatistics {
  const excess = gap - lateFactor * intervals.mean;
  const lateTime = excess > 0;
  const residual = lateTime ? 0 : gap - intervals.mean; // a late gap belongs to the other tail
  return {
    requestedInterval: intervals.requestedInterval,
    mean: intervals.mean + intervalLearningRate * residual,
    variance: (1 - intervalLearningRate) * (intervals.variance + intervalLearningRate * residual * residual),
    lateShare: Math.max(lateShareMin, movingMean(intervals.lateShare, lateTime ? 1 : 0, intervalLearningRate)),
    lateExcess: lateTime
      ? Math.max(0.25 * intervals.mean, movingMean(intervals.lateExcess, excess, lateLearningRate))
      : intervals.lateExcess,
  };
}

/** Late gaps are few, so each counts for more. */
const lateLearningRate = 1 / 25;
