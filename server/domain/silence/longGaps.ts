import { after, days, type Instant, type Span } from "../instant.ts";

/**
 * The longest gaps between a feeder's reports, of this quarter of a year and of the one before. Losses come in runs (a
 * neighbour's Wi-Fi at dinner time, a router that restarts at night), so the longest gaps don't follow from the usual ones.
 * What is exceeded only so often a year is extrapolated from the few longest: peaks over a high threshold, generalized Pareto (Coles 2001 ch. 4).
 */
export interface LongGaps {
  readonly quarterStart: Instant; // the quarter began
  readonly thisQuarter: readonly number[]; // milliseconds, the longest first, at most `gapsKeptMax`
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

/** A time without information on the connection, since the feeder itself was off or disconnected. */
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

/** Gaps beyond `threshold` come `gapsPerYear` times a year, and their excess is Pareto with `scale` and `shape`. */
export interface GapDistribution {
  readonly threshold: number;
  readonly gapsPerYear: number;
  readonly scale: number;
  readonly shape: number;
}

/** @param meanGap mean gap, milliseconds. @param lateFrom gaps shorter than this were never added. */
export function gapDistribution(gaps: LongGaps, meanGap: number, lateFrom: number, now: Instant): GapDistribution {
  const { quarterStart, thisQuarter, lastQuarter } = startQuarter(gaps, now);
  const observedSpan = Math.max(seenMin, now - quarterStart + (lastQuarter === null ? 0 : quarter));
  const shortestKept = Math.max(thisQuarter[gapsKeptMax - 1] ?? 0, lastQuarter?.[gapsKeptMax - 1] ?? 0);
  // Whole reports are lost, so gaps differ by whole intervals: half an interval below, none is missing.
  const threshold = Math.max(lateFrom, shortestKept - meanGap / 2);
  const excesses = [...thisQuarter, ...(lastQuarter ?? [])]
    .filter((gap) => gap > threshold)
    .map((gap) => gap - threshold);
  const gapsPerYear = (excesses.length + 0.5) * (days(365) / observedSpan);
  return { threshold, gapsPerYear, ...paretoParameters(excesses, priorMean * meanGap) };
}

/** The gap that is exceeded `gapsPerYear` times a year. */
export function gapExceededPerYear(distribution: GapDistribution, gapsPerYear: number): number {
  const ratio = distribution.gapsPerYear / gapsPerYear;
  return ratio <= 1
    ? distribution.threshold
    : distribution.threshold + (distribution.scale * (ratio ** distribution.shape - 1)) / distribution.shape;
}

/** ln of how often a year a gap is longer than `gap`. */
export function logGapsPerYear(distribution: GapDistribution, gap: number): number {
  const excess = Math.max(0, gap - distribution.threshold);
  return (
    Math.log(distribution.gapsPerYear) -
    Math.log1p((distribution.shape * excess) / distribution.scale) / distribution.shape
  );
}

/**
 * Scale and shape by probability-weighted moments (Hosking & Wallis 1987), as if `priorGaps` more had been seen: a
 * dozen gaps alone hardly show the shape.
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
  const estimatedShape = n > 2 ? 2 - a0 / (a0 - (2 * weighted) / n) : priorShape;
  const shape = Math.min(shapeMax, Math.max(shapeMin, (n * estimatedShape + shapeGaps * priorShape) / (n + shapeGaps)));
  return { scale: mean * (1 - shape), shape };
}

/** From eight to sixteen the tail's scale is known to about a third (1 / √8). */
const gapsKeptMax = 8;
const quarter: Span = days(90);
/** Ten minutes say nothing about a year. */
const seenMin: Span = days(1);
/** Assumed of an unknown connection: gaps beyond the late ones are one report longer on average. Our choice. */
const priorMean = 1;
const priorGaps = 3;
/** Runs of losses are about exponential (0); outages of all kinds together have a heavier tail. Our choice. */
const priorShape = 0.1;
const shapeGaps = 20;
const shapeMin = 0.05; // nearly exponential, and no division by zero
const shapeMax = 0.4;
