import type { Fault } from "../faults.ts";
import type { FeederSettings } from "../feeder.ts";
import { after, between, days, type Instant, isoOf, later, type Span, seconds } from "../instant.ts";
import { logNormalTail } from "../normalTail.ts";
import { probability } from "../units.ts";
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
      /** Gaps in a row that were long enough for an alarm, and so not learnt. */
      readonly outages: number;
    };

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
export function heard(link: LinkState, { boot, sentUptime, reportEvery }: Hearing, now: Instant): LinkState {
  if (link.kind === "neverHeard") {
    return { kind: "heard", at: now, boot, sentUptime, rhythm: presumed(reportEvery), outages: 0 };
  }
  const repeated = boot === link.boot && sentUptime !== null && link.sentUptime !== null;
  // A copy that was long under way proves that the feeder was alive then, not that it is now.
  if (repeated && sentUptime < link.sentUptime) return link;

  const at = later(link.at, now);
  const next = { kind: "heard" as const, at, boot, sentUptime };
  if (reportEvery !== link.rhythm.promised) return { ...next, rhythm: presumed(reportEvery), outages: 0 };
  const gap = between(link.at, at);
  // Sent for an event, in pieces of a backlog, or sent again: too early to tell anything of the rhythm.
  if (gap < reportEvery / 2 || sentUptime === null) return { ...next, rhythm: link.rhythm, outages: link.outages };
  if (gap < patience(link.rhythm, reportEvery)) return { ...next, rhythm: learnt(link.rhythm, gap), outages: 0 };
  // One long outage is no habit and must not make us patient with the next. Several in a row are the feeder's new rhythm.
  if (link.outages + 1 < outagesThatMakeAHabit) return { ...next, rhythm: link.rhythm, outages: link.outages + 1 };
  return { ...next, rhythm: { ...presumed(gap), promised: reportEvery }, outages: 0 };
}

/** Null also where it was never heard: nothing that was never there can go missing. */
export function feederSilence(link: LinkState, settings: FeederSettings, now: Instant): Fault | null {
  const from = silentFrom(link, settings);
  if (from === null || link.kind === "neverHeard" || now < from) return null;
  const waited = between(link.at, now);
  const usual = link.rhythm.mean as Span;
  const logChance = logLonger(link.rhythm, waited);
  return {
    kind: "feederSilent",
    reason: `Nothing heard for ${inWords(waited)}. It usually reports ${everyInWords(usual)}.`,
    evidence: [
      { what: "last heard", value: isoOf(link.at), at: link.at },
      { what: "usual gap between reports", value: inWords(usual), at: null },
      { what: "longest gap that is still credible", value: inWords(between(link.at, from)), at: null },
      { what: "φ, -log10 of the chance of such a gap", value: (-logChance / Math.LN10).toFixed(1), at: now },
    ],
    sure: probability(1 - Math.exp(logChance)),
  };
}

/** The very instant from which `feederSilence` finds it, so that it can be looked at just then. */
export function silentFrom(link: LinkState, settings: FeederSettings): Instant | null {
  if (link.kind === "neverHeard") return null;
  return after(link.at, patience(link.rhythm, settings.reportEvery));
}

/**
 * Wanted: at most one false silence in a feeder's year. Each gap is one chance to be wrong, so one gap may be wrong with
 * (mean gap / year). Repeated looks at one gap are one growing test and add nothing.
 */
const falseSilenceEvery = days(365);

/** One lost report is no alarm, nor is a router that starts anew. Common practice, no source. */
const patienceMin = seconds(90);
const patienceInReports = 3;

/** How long a gap may grow before it is a silence: where `logLonger` comes down to what is wanted, solved for time. */
function patience(rhythm: Rhythm, reportEvery: Span): Span {
  const wanted = Math.log(Math.min(0.5, rhythm.mean / falseSilenceEvery));
  const onTime = rhythm.mean + deviationOf(rhythm) * normalQuantileOfLog(wanted);
  const late = lateFrom * rhythm.mean + rhythm.lateExcess * (Math.log(rhythm.lateShare) - wanted);
  return Math.ceil(Math.max(patienceMin, patienceInReports * reportEvery, onTime, late)) as Span;
}

/**
 * ln of the chance that a gap lasts longer than `waited`: accrual after Hayashibara, Défago, Yared & Katayama 2004. Its
 * normal tail alone is far too eager on a line that loses reports, so late gaps have a tail of their own: exponential
 * over a threshold (peaks over threshold, e.g. Coles 2001 ch. 4, shape 0). The more patient of the two decides.
 */
function logLonger(rhythm: Rhythm, waited: number): number {
  const onTime = logNormalTail((waited - rhythm.mean) / deviationOf(rhythm));
  const lateBy = waited - lateFrom * rhythm.mean;
  const late = lateBy < 0 ? 0 : Math.log(rhythm.lateShare) - lateBy / rhythm.lateExcess;
  return Math.max(onTime, late);
}

const deviationOf = (rhythm: Rhythm) => Math.max(Math.sqrt(rhythm.variance), jitterMin * rhythm.mean);

/** A line that was steady so far isn't promised to stay so. */
const jitterMin = 0.2;
/** Half a rhythm past its time, a report is late: nearer to lost than to jitter. */
const lateFrom = 1.5;
/** Weight of the newest gap: the last hundred or so count, hours to a few days. */
const newest = 1 / 100;
const outagesThatMakeAHabit = 3;

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
    // Never down to nothing: a line that lost no report yet may lose one.
    lateShare: Math.max(0.001, rhythm.lateShare + newest * ((late ? 1 : 0) - rhythm.lateShare)),
    lateExcess: late
      ? Math.max(0.25 * rhythm.mean, rhythm.lateExcess + lateNewest * (excess - rhythm.lateExcess))
      : rhythm.lateExcess,
  };
}

/** Late gaps are few, so each counts for more. */
const lateNewest = 1 / 25;
