import type { Fault } from "../faults.ts";
import { after, between, days, hours, type Instant, later, type Span, seconds } from "../instant.ts";
import { memoizeLatest } from "../memoizeLatest.ts";
import { movingMean } from "../movingMean.ts";
import { logNormalTail } from "../normalTail.ts";
import { oneInText } from "../oneInText.ts";
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
import { intervalText, spanText } from "./spanText.ts";
import { normalQuantileOfLog } from "./tailProbabilities.ts";

/**
 * What we know of a feeder's line: when we last heard it, by our own clock, and how its reports usually come. A feeder
 * that never reported is "not yet connected", which is no fault.
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
      /** It has reported regularly before, so that its silence is an alarm. Left out: not yet. */
      readonly isRegular?: true;
      /** Its reports since the last long gap, while it isn't regular. */
      readonly regularRun?: { readonly since: Instant; readonly reports: number };
    };

type Reporting = Extract<ReportingState, { kind: "reporting" }>;

/** Gaps between reports as learnt, newer ones counting more. Milliseconds. */
interface IntervalStatistics {
  readonly requestedInterval: Span; // the interval it was asked to keep when this was learnt
  readonly mean: number;
  readonly variance: number;
  readonly lateShare: number; // of all gaps, those longer than lateFrom x mean
  readonly lateExcess: number; // by how much such a gap is longer, on average
}

/** The feeder told what it told at its `sentUptime`; that is how a late duplicate is known from news. */
export interface ReportTiming {
  readonly boot: string;
  readonly sentUptime: Span | null;
  readonly reportEvery: Span;
}

export const initialReporting = (now: Instant): ReportingState => ({ kind: "neverReported", since: now });

/** A report came in at `now`, by our clock. */
export function updateReporting(link: ReportingState, hearing: ReportTiming, now: Instant): ReportingState {
  const next = updateIntervals(link, hearing, now);
  return next === link || next.kind === "neverReported" ? next : updateRegularity(link, next, hearing.reportEvery);
}

/** A report that can't be read says that the feeder lives, and nothing of its rhythm. */
export const recordContact = (link: ReportingState, now: Instant): ReportingState =>
  link.kind === "neverReported" ? link : { ...link, lastReportAt: later(link.lastReportAt, now) };

/** A feeder is regular once it has reported for so long without a long gap, and so often. Our choice. */
const regularAfter = hours(1);
const regularReports = 4;

function updateRegularity(before: ReportingState, next: Reporting, reportEvery: Span): Reporting {
  if (before.kind === "reporting" && before.isRegular) return { ...next, isRegular: true };
  const goesOn =
    before.kind === "reporting" &&
    between(before.lastReportAt, next.lastReportAt) < computeSilenceLimit(before, reportEvery);
  const run = goesOn ? before.regularRun : undefined;
  const { since, reports } = run ?? { since: next.lastReportAt, reports: 0 };
  if (reports + 1 >= regularReports && between(since, next.lastReportAt) >= regularAfter)
    return { ...next, isRegular: true };
  return { ...next, regularRun: { since, reports: reports + 1 } };
}

function updateIntervals(
  link: ReportingState,
  { boot, sentUptime, reportEvery }: ReportTiming,
  now: Instant,
): ReportingState {
  if (link.kind === "neverReported") {
    return restartIntervals(now, boot, sentUptime, priorIntervals(reportEvery));
  }
  const sameBoot = boot === link.boot;
  // A copy that was long under way proves that the feeder was alive then, not that it is now.
  if (sameBoot && sentUptime !== null && link.sentUptime !== null && sentUptime < link.sentUptime) return link;

  const at = later(link.lastReportAt, now);
  if (reportEvery !== link.intervals.requestedInterval)
    return restartIntervals(at, boot, sentUptime, priorIntervals(reportEvery));
  const { intervals, longGaps, outagesInRow } = link;
  const gap = between(link.lastReportAt, at);
  // Sent for an event, in pieces of a backlog, or sent again: too early to tell anything of the rhythm.
  if (gap < reportEvery / 2 || sentUptime === null) {
    return {
      kind: "reporting",
      lastReportAt: at,
      boot,
      sentUptime,
      intervals,
      longGaps,
      outagesInRow,
    };
  }
  if (gap < silenceLimitLeast(reportEvery) || gap < computeSilenceLimit(link, reportEvery)) {
    const isLate = gap > lateFrom * intervals.mean;
    const longer = isLate ? addLongGap(longGaps, gap, at) : longGaps;
    const next = updateIntervalStatistics(intervals, gap);
    // Where most are late, that is how it reports.
    if (next.lateShare > 0.5)
      return restartIntervals(at, boot, sentUptime, { ...priorIntervals(gap), requestedInterval: reportEvery });
    return {
      kind: "reporting",
      lastReportAt: at,
      boot,
      sentUptime,
      intervals: next,
      longGaps: longer,
      outagesInRow: 0,
    };
  }
  // One long outage is no habit and must not make us patient with the next. Several in a row are the feeder's new rhythm.
  if (outagesInRow + 1 >= outagesToRelearn)
    return restartIntervals(at, boot, sentUptime, { ...priorIntervals(gap), requestedInterval: reportEvery });
  // Of the same boot: the feeder was well all the while, and only its line was not. That is worth knowing of the line, and
  // whoever was alarmed once for so little should not be so each week.
  const lineOnly = sameBoot && gap < lineOutageMax * computeSilenceLimit(link, reportEvery);
  const known = lineOnly ? addLongGap(longGaps, gap, at) : extendQuarter(longGaps, gap);
  return {
    kind: "reporting",
    lastReportAt: at,
    boot,
    sentUptime,
    intervals,
    longGaps: known,
    outagesInRow: outagesInRow + 1,
  };
}

const restartIntervals = (
  at: Instant,
  boot: string,
  sentUptime: Span | null,
  rhythm: IntervalStatistics,
): Reporting => ({
  kind: "reporting",
  lastReportAt: at,
  boot,
  sentUptime,
  intervals: rhythm,
  longGaps: initialLongGaps(at),
  outagesInRow: 0,
});

/** Null also where it was never heard: nothing that was never there can go missing. */
export function feederSilentFault(link: ReportingState, settings: FeederSettings, now: Instant): Fault | null {
  const from = silenceBeginsAt(link, settings);
  if (from === null || link.kind === "neverReported" || now < from) return null;
  if (!reportsRegularly(link, settings)) return irregularSilentFault(link, settings, now);
  const waited = between(link.lastReportAt, now);
  const usual = link.intervals.mean as Span;
  const logChance = logGapExceedance(link.intervals, gapDistributionOf(link), waited);
  return {
    kind: "feederSilent",
    reason: `Nothing heard for ${spanText(waited)}. It usually reports ${intervalText(usual)}.`,
    evidence: [
      { label: "last heard", value: "a report", at: link.lastReportAt },
      { label: "usual gap between reports", value: spanText(usual), at: null },
      { label: "longest gap that is still credible", value: spanText(between(link.lastReportAt, from)), at: null },
      { label: "chance of such a gap, by its usual ones", value: oneInText(Math.exp(logChance)), at: now },
    ],
    confidence: probability(1 - Math.exp(logChance)),
  };
}

/** A practice feeder is there to show what an alarm looks like. */
const reportsRegularly = ({ isRegular }: Reporting, { practice }: FeederSettings): boolean =>
  practice || isRegular === true;

function irregularSilentFault({ lastReportAt }: Reporting, settings: FeederSettings, now: Instant): Fault {
  return {
    kind: "reportsIrregular",
    reason:
      `It has not reported since ${dateTimeText(lastReportAt, settings.zone, now)}, and how it is now is not known. ` +
      `To be told when it falls silent, let its program send a report ${intervalText(settings.reportEvery)}, ` +
      "also when nothing happens.",
    evidence: [{ label: "last heard", value: "a report", at: lastReportAt }],
    confidence: null,
  };
}

/** From when its silence is an alarm and no note; null where it isn't one. */
export const silenceAlarmAt = (link: ReportingState, settings: FeederSettings): Instant | null =>
  link.kind === "reporting" && reportsRegularly(link, settings) ? silenceBeginsAt(link, settings) : null;

/** The very instant from which `feederSilence` finds it, so that it can be looked at just then. */
export function silenceBeginsAt(link: ReportingState, settings: FeederSettings): Instant | null {
  return link.kind === "neverReported" ? null : after(link.lastReportAt, silenceLimit(link, settings.reportEvery));
}

/** Asked twice of each report: whether it is silent, and when to look again. */
const silenceLimit = memoizeLatest(computeSilenceLimit);

/**
 * Wanted: at most one false silence in a feeder's year. Each gap is one chance to be wrong, so one gap may be wrong with
 * (mean gap / year). Repeated looks at one gap are one growing test and add nothing.
 */
const falseSilenceEvery = days(365);
/**
 * How often a year the longest gaps may go beyond what is waited for: a quarter of what is wanted, since a tail that is
 * known from a dozen gaps is often taken for shorter than it is. Measured on lines from faultless to bad.
 */
const silenceLimitWanted = 0.25;

/** One lost report is no alarm, nor is a router that starts anew. Common practice, no source. */
const silenceLimitMin = seconds(90);
const silenceLimitReports = 3;

/** How long a gap may grow before it is a silence: where `logLonger` comes down to what is wanted, solved for time. */
function computeSilenceLimit(link: Reporting, reportEvery: Span): Span {
  const { intervals } = link;
  // To a thousandth, and never eagerer: the mean moves by a hair with each report, and the quantile is remembered.
  const wanted = Math.floor(1_000 * Math.log(Math.min(0.5, intervals.mean / falseSilenceEvery))) / 1_000;
  const onTime = intervals.mean + intervalDeviation(intervals) * normalQuantileOfLog(wanted);
  const late = lateFrom * intervals.mean + intervals.lateExcess * (Math.log(intervals.lateShare) - wanted);
  const longest = gapExceededPerYear(gapDistributionOf(link), silenceLimitWanted);
  return Math.ceil(Math.max(silenceLimitLeast(reportEvery), onTime, late, longest)) as Span;
}

const silenceLimitLeast = (reportEvery: Span): number => Math.max(silenceLimitMin, silenceLimitReports * reportEvery);

const gapDistributionOf = ({ longGaps, intervals, lastReportAt }: Reporting): GapDistribution =>
  gapDistribution(longGaps, intervals.mean, lateFrom * intervals.mean, lastReportAt);

/**
 * ln of the chance that a gap lasts longer than `waited`: accrual after Hayashibara, Défago, Yared & Katayama 2004. Its
 * normal tail alone is far too eager on a line that loses reports, so late gaps have a tail of their own: exponential
 * over a threshold (peaks over threshold, e.g. Coles 2001 ch. 4, shape 0), as far as the last hundred gaps tell; what runs of
 * losses and outages do is known from the longest gaps of the last months. The most patient of the three decides.
 */
function logGapExceedance(rhythm: IntervalStatistics, law: GapDistribution, waited: number): number {
  const onTime = logNormalTail((waited - rhythm.mean) / intervalDeviation(rhythm));
  const lateBy = waited - lateFrom * rhythm.mean;
  const late = lateBy < 0 ? 0 : Math.log(rhythm.lateShare) - lateBy / rhythm.lateExcess;
  const longest = logGapsPerYear(law, waited) + Math.log(rhythm.mean / days(365));
  return Math.max(onTime, late, longest);
}

const intervalDeviation = (rhythm: IntervalStatistics) => Math.max(Math.sqrt(rhythm.variance), jitterMin * rhythm.mean);

/** A line that was steady so far isn't promised to stay so. */
const jitterMin = 0.2;
/** Half a rhythm past its time, a report is late: nearer to lost than to jitter. */
const lateFrom = 1.5;
/** Weight of the newest gap: the last hundred or so count, hours to a few days. */
const intervalLearningRate = 1 / 100;
const outagesToRelearn = 3;
/** A silence that went on for longer than this many patiences is worth an alarm each time, whatever the line's ways. */
const lineOutageMax = 3;
/** Never down to nothing: a line that lost no report yet may lose one. */
const lateShareMin = 0.0002;

/** Before anything is learnt: one report in fifty late, by half a gap. Common practice, no source. */
const priorIntervals = (reportEvery: Span): IntervalStatistics => ({
  requestedInterval: reportEvery,
  mean: reportEvery,
  variance: (jitterMin * reportEvery) ** 2,
  lateShare: 0.02,
  lateExcess: 0.5 * reportEvery,
});

function updateIntervalStatistics(rhythm: IntervalStatistics, gap: Span): IntervalStatistics {
  const excess = gap - lateFrom * rhythm.mean;
  const late = excess > 0;
  const off = late ? 0 : gap - rhythm.mean; // a late gap belongs to the other tail
  return {
    requestedInterval: rhythm.requestedInterval,
    mean: rhythm.mean + intervalLearningRate * off,
    variance: (1 - intervalLearningRate) * (rhythm.variance + intervalLearningRate * off * off),
    lateShare: Math.max(lateShareMin, movingMean(rhythm.lateShare, late ? 1 : 0, intervalLearningRate)),
    lateExcess: late
      ? Math.max(0.25 * rhythm.mean, movingMean(rhythm.lateExcess, excess, lateLearningRate))
      : rhythm.lateExcess,
  };
}

/** Late gaps are few, so each counts for more. */
const lateLearningRate = 1 / 25;
