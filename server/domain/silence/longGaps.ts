import { after, days, type Instant, type Span } from "../instant.ts";

/**
 * The longest gaps between a feeder's reports, of this quarter of a year and of the one before. A line's losses come in runs
 * (a neighbour's Wi-Fi at dinner time, a router that starts anew at night), so that how far gaps may reach is not to be had
 * from how they mostly are. What isn't exceeded more than so often a year is reckoned on from the few longest: peaks over
 * a high threshold, generalized Pareto (Coles 2001 ch. 4).
 */
export interface LongGaps {
  readonly quarterStart: Instant; // the quarter began
  readonly thisQuarter: readonly number[]; // milliseconds, the longest first, `keptMax` at most
  readonly lastQuarter: readonly number[] | null; // those of the quarter before; null in the first
}

export const initialLongGaps = (since: Instant): LongGaps => ({
  quarterStart: since,
  thisQuarter: [],
  lastQuarter: null,
});

/** @param gap in milliseconds, one that is late. */
export function addLongGap(gaps: LongGaps, gap: number, at: Instant): LongGaps {
  const current = startQuarter(gaps, at);
  const { quarterStart, thisQuarter, lastQuarter } = current;
  const shortest = thisQuarter[gapsKeptMax - 1];
  if (shortest !== undefined && gap <= shortest) return current;
  return {
    quarterStart,
    thisQuarter: [...thisQuarter, gap].sort((a, b) => b - a).slice(0, gapsKeptMax),
    lastQuarter,
  };
}

/** A time in which nothing was to be seen of the line, since the feeder itself was off or the line was cut. */
export const extendQuarter = ({ quarterStart, thisQuarter, lastQuarter }: LongGaps, gap: Span): LongGaps => ({
  quarterStart: after(quarterStart, gap),
  thisQuarter,
  lastQuarter,
});

/** A new quarter begins when the old one is over. After two without a late gap nothing is left. */
function startQuarter(gaps: LongGaps, at: Instant): LongGaps {
  const elapsed = at - gaps.quarterStart;
  if (elapsed < quarter) return gaps;
  const since = (gaps.quarterStart + quarter * Math.floor(elapsed / quarter)) as Instant;
  return { quarterStart: since, thisQuarter: [], lastQuarter: elapsed < 2 * quarter ? gaps.thisQuarter : [] };
}

/** The law of the longest: gaps beyond `over` come `aYear` times a year, and their excess is Pareto with `scale` and `shape`. */
export interface GapDistribution {
  readonly threshold: number;
  readonly gapsPerYear: number;
  readonly scale: number;
  readonly shape: number;
}

/** @param usual mean gap, milliseconds. @param lateFrom gaps shorter than this were never taken in. */
export function gapDistribution(gaps: LongGaps, usual: number, lateFrom: number, now: Instant): GapDistribution {
  const { quarterStart, thisQuarter, lastQuarter } = startQuarter(gaps, now);
  const seen = Math.max(seenMin, now - quarterStart + (lastQuarter === null ? 0 : quarter));
  const full = Math.max(thisQuarter[gapsKeptMax - 1] ?? 0, lastQuarter?.[gapsKeptMax - 1] ?? 0);
  // Whole reports are lost, so between one length and the next there is nothing: half way down none is missing.
  const over = Math.max(lateFrom, full - usual / 2);
  const excesses = [...thisQuarter, ...(lastQuarter ?? [])].filter((gap) => gap > over).map((gap) => gap - over);
  const aYear = (excesses.length + 0.5) * (days(365) / seen);
  return { threshold: over, gapsPerYear: aYear, ...paretoParameters(excesses, priorMean * usual) };
}

/** How long a gap is exceeded `aYear` times a year. */
export function gapExceededPerYear(law: GapDistribution, aYear: number): number {
  const pace = law.gapsPerYear / aYear;
  return pace <= 1 ? law.threshold : law.threshold + (law.scale * (pace ** law.shape - 1)) / law.shape;
}

/** ln of how often a year a gap is longer than `waited`. */
export function logGapsPerYear(law: GapDistribution, waited: number): number {
  const excess = Math.max(0, waited - law.threshold);
  return Math.log(law.gapsPerYear) - Math.log1p((law.shape * excess) / law.scale) / law.shape;
}

/**
 * Scale and shape by probability-weighted moments (Hosking & Wallis 1987), as if `presumedGaps` more had been seen that
 * were as presumed: of a dozen gaps alone the shape is hardly to be told.
 */
function paretoParameters(excesses: readonly number[], presumedMean: number): { scale: number; shape: number } {
  const n = excesses.length;
  const descending = [...excesses].sort((a, b) => b - a);
  let sum = 0;
  let weighted = 0;
  descending.forEach((excess, above) => {
    sum += excess;
    weighted += excess * (n > 1 ? above / (n - 1) : 0);
  });
  const mean = (sum + priorGaps * presumedMean) / (n + priorGaps);
  const a0 = sum / n;
  const found = n > 2 ? 2 - a0 / (a0 - (2 * weighted) / n) : priorShape;
  const shape = Math.min(shapeMax, Math.max(shapeMin, (n * found + shapeGaps * priorShape) / (n + shapeGaps)));
  return { scale: mean * (1 - shape), shape };
}

/** From eight to sixteen the tail's scale is known to about a third (1 / √8). */
const gapsKeptMax = 8;
const quarter: Span = days(90);
/** Nobody's year is known from ten minutes. */
const seenMin: Span = days(1);
/** Presumed of a line that nobody knows yet: that gaps beyond the late ones reach a report further on average. Our choice. */
const priorMean = 1;
const priorGaps = 3;
/** Runs of losses are about exponential (0); outages of all kinds together have a heavier tail. Our choice. */
const priorShape = 0.1;
const shapeGaps = 20;
const shapeMin = 0.05; // the exponential in all but name, and no division by nothing
const shapeMax = 0.4;
