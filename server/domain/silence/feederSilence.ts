import { oneIn } from "../chanceWords.ts";
import type { Fault } from "../faults.ts";
import { after, between, days, hours, type Instant, later, type Span, seconds } from "../instant.ts";
import { moved } from "../movingMean.ts";
import { logNormalTail } from "../normalTail.ts";
import { rememberedOnce } from "../rememberedOnce.ts";
import { dateTimeWords } from "../reportFaults.ts";
import type { FeederSettings } from "../settings.ts";
import { probability } from "../units.ts";
import {
  exceededAYear,
  type LongGapLaw,
  type LongGaps,
  logExceededAYear,
  longGapLaw,
  noLongGaps,
  unseenFor,
  withLongGap,
} from "./longGaps.ts";
import { everyInWords, inWords } from "./spanWords.ts";
import { normalQuantileOfLog } from "./tails.ts";

/**
 * What we know of a feeder's line: when we last heard it, by our own clock, and how its reports usually come. A feeder
 * that never reported is "not yet connected", which is no fault.
 */
export type LinkState =
  | { readonly kind: "neverHeard"; readonly since: Instant }
  | {
      readonly kind: "heard";
      readonly at: Instant;
      readonly boot: string;
      readonly sentUptime: Span | null; // null where it sent what an earlier boot left behind
      readonly rhythm: Rhythm;
      readonly longest: LongGaps;
      /** Gaps in a row that were long enough for an alarm, and so not learnt. */
      readonly outages: number;
      /** It has reported regularly before, so that its silence is an alarm. Left out: not yet. */
      readonly regular?: true;
      /** Its reports since the last long gap, while it isn't regular. */
      readonly run?: { readonly since: Instant; readonly reports: number };
    };

type Heard = Extract<LinkState, { kind: "heard" }>;

/** Gaps between reports as learnt, newer ones counting more. Milliseconds. */
interface Rhythm {
  readonly promised: Span; // the interval it was asked to keep when this was learnt
  readonly mean: number;
  readonly variance: number;
  readonly lateShare: number; // of all gaps, those longer than lateFrom x mean
  readonly lateExcess: number; // by how much such a gap is longer, on average
}

/** The feeder told what it told at its `sentUptime`; that is how a late duplicate is known from news. */
export interface Hearing {
  readonly boot: string;
  readonly sentUptime: Span | null;
  readonly reportEvery: Span;
}

export const neverHeard = (now: Instant): LinkState => ({ kind: "neverHeard", since: now });

/** A report came in at `now`, by our clock. */
export function heard(link: LinkState, hearing: Hearing, now: Instant): LinkState {
  const next = withRhythm(link, hearing, now);
  return next === link || next.kind === "neverHeard" ? next : withRun(link, next, hearing.reportEvery);
}

/** A report that can't be read says that the feeder lives, and nothing of its rhythm. */
export const withSignOfLife = (link: LinkState, now: Instant): LinkState =>
  link.kind === "neverHeard" ? link : { ...link, at: later(link.at, now) };

/** A feeder is regular once it has reported for so long without a long gap, and so often. Our choice. */
const regularAfter = hours(1);
const regularReports = 4;

function withRun(before: LinkState, next: Heard, reportEvery: Span): Heard {
  if (before.kind === "heard" && before.regular) return { ...next, regular: true };
  const goesOn = before.kind === "heard" && between(before.at, next.at) < patienceOf(before, reportEvery);
  const run = goesOn ? before.run : undefined;
  const { since, reports } = run ?? { since: next.at, reports: 0 };
  if (reports + 1 >= regularReports && between(since, next.at) >= regularAfter) return { ...next, regular: true };
  return { ...next, run: { since, reports: reports + 1 } };
}

function withRhythm(link: LinkState, { boot, sentUptime, reportEvery }: Hearing, now: Instant): LinkState {
  if (link.kind === "neverHeard") {
    return anew(now, boot, sentUptime, presumed(reportEvery));
  }
  const sameBoot = boot === link.boot;
  // A copy that was long under way proves that the feeder was alive then, not that it is now.
  if (sameBoot && sentUptime !== null && link.sentUptime !== null && sentUptime < link.sentUptime) return link;

  const at = later(link.at, now);
  if (reportEvery !== link.rhythm.promised) return anew(at, boot, sentUptime, presumed(reportEvery));
  const { rhythm, longest, outages } = link;
  const gap = between(link.at, at);
  // Sent for an event, in pieces of a backlog, or sent again: too early to tell anything of the rhythm.
  if (gap < reportEvery / 2 || sentUptime === null) {
    return { kind: "heard", at, boot, sentUptime, rhythm, longest, outages };
  }
  if (gap < leastPatience(reportEvery) || gap < patienceOf(link, reportEvery)) {
    const isLate = gap > lateFrom * rhythm.mean;
    const longer = isLate ? withLongGap(longest, gap, at) : longest;
    const next = learnt(rhythm, gap);
    // Where most are late, that is how it reports.
    if (next.lateShare > 0.5) return anew(at, boot, sentUptime, { ...presumed(gap), promised: reportEvery });
    return { kind: "heard", at, boot, sentUptime, rhythm: next, longest: longer, outages: 0 };
  }
  // One long outage is no habit and must not make us patient with the next. Several in a row are the feeder's new rhythm.
  if (outages + 1 >= outagesThatMakeAHabit)
    return anew(at, boot, sentUptime, { ...presumed(gap), promised: reportEvery });
  // Of the same boot: the feeder was well all the while, and only its line was not. That is worth knowing of the line, and
  // whoever was alarmed once for so little should not be so each week.
  const lineOnly = sameBoot && gap < lineOnlyMost * patienceOf(link, reportEvery);
  const known = lineOnly ? withLongGap(longest, gap, at) : unseenFor(longest, gap);
  return { kind: "heard", at, boot, sentUptime, rhythm, longest: known, outages: outages + 1 };
}

const anew = (at: Instant, boot: string, sentUptime: Span | null, rhythm: Rhythm): Heard => ({
  kind: "heard",
  at,
  boot,
  sentUptime,
  rhythm,
  longest: noLongGaps(at),
  outages: 0,
});

/** Null also where it was never heard: nothing that was never there can go missing. */
export function feederSilence(link: LinkState, settings: FeederSettings, now: Instant): Fault | null {
  const from = silentFrom(link, settings);
  if (from === null || link.kind === "neverHeard" || now < from) return null;
  if (!isRegular(link, settings)) return irregularFault(link, settings, now);
  const waited = between(link.at, now);
  const usual = link.rhythm.mean as Span;
  const logChance = logLonger(link.rhythm, lawOf(link), waited);
  return {
    kind: "feederSilent",
    reason: `Nothing heard for ${inWords(waited)}. It usually reports ${everyInWords(usual)}.`,
    evidence: [
      { what: "last heard", value: "a report", at: link.at },
      { what: "usual gap between reports", value: inWords(usual), at: null },
      { what: "longest gap that is still credible", value: inWords(between(link.at, from)), at: null },
      { what: "chance of such a gap, by its usual ones", value: oneIn(Math.exp(logChance)), at: now },
    ],
    sure: probability(1 - Math.exp(logChance)),
  };
}

/** A practice feeder is there to show what an alarm looks like. */
const isRegular = ({ regular }: Heard, { practice }: FeederSettings): boolean => practice || regular === true;

function irregularFault({ at }: Heard, settings: FeederSettings, now: Instant): Fault {
  return {
    kind: "reportsIrregular",
    reason:
      `It has not reported since ${dateTimeWords(at, settings.zone, now)}, and how it is now is not known. ` +
      `To be told when it falls silent, let its program send a report ${everyInWords(settings.reportEvery)}, ` +
      "also when nothing happens.",
    evidence: [{ what: "last heard", value: "a report", at }],
    sure: null,
  };
}

/** From when its silence is an alarm and no note; null where it isn't one. */
export const silentAlarmFrom = (link: LinkState, settings: FeederSettings): Instant | null =>
  link.kind === "heard" && isRegular(link, settings) ? silentFrom(link, settings) : null;

/** The very instant from which `feederSilence` finds it, so that it can be looked at just then. */
export function silentFrom(link: LinkState, settings: FeederSettings): Instant | null {
  return link.kind === "neverHeard" ? null : after(link.at, patienceWith(link, settings.reportEvery));
}

/** Asked twice of each report: whether it is silent, and when to look again. */
const patienceWith = rememberedOnce(patienceOf);

/**
 * Wanted: at most one false silence in a feeder's year. Each gap is one chance to be wrong, so one gap may be wrong with
 * (mean gap / year). Repeated looks at one gap are one growing test and add nothing.
 */
const falseSilenceEvery = days(365);
/**
 * How often a year the longest gaps may go beyond what is waited for: a quarter of what is wanted, since a tail that is
 * known from a dozen gaps is often taken for shorter than it is. Measured on lines from faultless to bad.
 */
const longestWanted = 0.25;

/** One lost report is no alarm, nor is a router that starts anew. Common practice, no source. */
const patienceMin = seconds(90);
const patienceInReports = 3;

/** How long a gap may grow before it is a silence: where `logLonger` comes down to what is wanted, solved for time. */
function patienceOf(link: Heard, reportEvery: Span): Span {
  const { rhythm } = link;
  // To a thousandth, and never eagerer: the mean moves by a hair with each report, and the quantile is remembered.
  const wanted = Math.floor(1_000 * Math.log(Math.min(0.5, rhythm.mean / falseSilenceEvery))) / 1_000;
  const onTime = rhythm.mean + deviationOf(rhythm) * normalQuantileOfLog(wanted);
  const late = lateFrom * rhythm.mean + rhythm.lateExcess * (Math.log(rhythm.lateShare) - wanted);
  const longest = exceededAYear(lawOf(link), longestWanted);
  return Math.ceil(Math.max(leastPatience(reportEvery), onTime, late, longest)) as Span;
}

const leastPatience = (reportEvery: Span): number => Math.max(patienceMin, patienceInReports * reportEvery);

const lawOf = ({ longest, rhythm, at }: Heard): LongGapLaw =>
  longGapLaw(longest, rhythm.mean, lateFrom * rhythm.mean, at);

/**
 * ln of the chance that a gap lasts longer than `waited`: accrual after Hayashibara, Défago, Yared & Katayama 2004. Its
 * normal tail alone is far too eager on a line that loses reports, so late gaps have a tail of their own: exponential
 * over a threshold (peaks over threshold, e.g. Coles 2001 ch. 4, shape 0), as far as the last hundred gaps tell; what runs of
 * losses and outages do is known from the longest gaps of the last months. The most patient of the three decides.
 */
function logLonger(rhythm: Rhythm, law: LongGapLaw, waited: number): number {
  const onTime = logNormalTail((waited - rhythm.mean) / deviationOf(rhythm));
  const lateBy = waited - lateFrom * rhythm.mean;
  const late = lateBy < 0 ? 0 : Math.log(rhythm.lateShare) - lateBy / rhythm.lateExcess;
  const longest = logExceededAYear(law, waited) + Math.log(rhythm.mean / days(365));
  return Math.max(onTime, late, longest);
}

const deviationOf = (rhythm: Rhythm) => Math.max(Math.sqrt(rhythm.variance), jitterMin * rhythm.mean);

/** A line that was steady so far isn't promised to stay so. */
const jitterMin = 0.2;
/** Half a rhythm past its time, a report is late: nearer to lost than to jitter. */
const lateFrom = 1.5;
/** Weight of the newest gap: the last hundred or so count, hours to a few days. */
const newest = 1 / 100;
const outagesThatMakeAHabit = 3;
/** A silence that went on for longer than this many patiences is worth an alarm each time, whatever the line's ways. */
const lineOnlyMost = 3;
/** Never down to nothing: a line that lost no report yet may lose one. */
const lateShareMin = 0.0002;

/** Before anything is learnt: one report in fifty late, by half a gap. Common practice, no source. */
const presumed = (reportEvery: Span): Rhythm => ({
  promised: reportEvery,
  mean: reportEvery,
  variance: (jitterMin * reportEvery) ** 2,
  lateShare: 0.02,
  lateExcess: 0.5 * reportEvery,
});

function learnt(rhythm: Rhythm, gap: Span): Rhythm {
  const excess = gap - lateFrom * rhythm.mean;
  const late = excess > 0;
  const off = late ? 0 : gap - rhythm.mean; // a late gap belongs to the other tail
  return {
    promised: rhythm.promised,
    mean: rhythm.mean + newest * off,
    variance: (1 - newest) * (rhythm.variance + newest * off * off),
    lateShare: Math.max(lateShareMin, moved(rhythm.lateShare, late ? 1 : 0, newest)),
    lateExcess: late ? Math.max(0.25 * rhythm.mean, moved(rhythm.lateExcess, excess, lateNewest)) : rhythm.lateExcess,
  };
}

/** Late gaps are few, so each counts for more. */
const lateNewest = 1 / 25;
