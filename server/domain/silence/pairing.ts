import { days, type Instant, minutes, type Span } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { logBetaSilence } from "./tailProbabilities.ts";

/**
 * How faithfully one sensor (the watched) answers another (the witness): after how many of the witness's marks the
 * watched speaks before the next mark. A button beside a perch is pressed on so many landings in a hundred, in storm and
 * in sunshine, on a slow yard and on a fast one: a silence counted in landings needs no clock and no weather report.
 */
export interface Pairing {
  /** Marks that were answered and not, as learnt from closed runs, older ones counting less. */
  readonly hits: number;
  readonly misses: number;
  /** Sum of squares of the misses before a hit, likewise faded: birds come in flocks, so runs vary more than dice do. */
  readonly missSquares: number;
  /** Marks since the watched last spoke. The last of them may still be answered. */
  readonly openMarks: number;
  /** Runs in a row that closed only after they were found too long, and so weren't learnt. */
  readonly unusualRuns: number;
  /** Runs closed since `since`, for the pace. */
  readonly runCount: number;
  readonly since: Instant;
  /** How many times birds came in which a run closed, at most one in `boutApart`, and the last of them. */
  readonly boutCount: number;
  readonly lastBoutAt: Instant;
}

export const initialPairing = (since: Instant): Pairing => ({
  hits: 0,
  misses: 0,
  missSquares: 0,
  openMarks: 0,
  unusualRuns: 0,
  runCount: 0,
  since,
  boutCount: 0,
  lastBoutAt: since,
});

/** The witness saw something. Written out, not spread: this and `answered` run for every event. */
export const addMark = ({
  hits,
  misses,
  missSquares,
  openMarks,
  unusualRuns,
  runCount,
  since,
  boutCount,
  lastBoutAt,
}: Pairing): Pairing => ({
  hits,
  misses,
  missSquares,
  openMarks: openMarks + 1,
  unusualRuns,
  runCount,
  since,
  boutCount,
  lastBoutAt,
});

/** The marks since the watched last spoke count for nothing: one of the two chatters. */
export const forgetOpenMarks = (pairing: Pairing): Pairing =>
  pairing.openMarks === 0 ? pairing : { ...pairing, openMarks: 0 };

/** The watched spoke: its run of misses is over, and is learnt from. */
export function closeRun(pairing: Pairing, at: Instant, yard: PracticeFlag): Pairing {
  if (pairing.openMarks === 0) return pairing; // a second press on the same landing
  const before = pairing.openMarks - 1;
  if (before === 0 || !isRunTooLong(pairing, at, yard)) return learnRun(pairing, before, 0, at);
  // Three such runs one after the other are no faults that came and went, but the birds' new habit: learn it anew.
  if (pairing.unusualRuns + 1 >= unusualRunsToRelearn) return initialPairing(at);
  // A sensor that was dead and was mended isn't one that answers seldom. But if it was never dead and the birds came in
  // longer streaks than we knew, we must learn it: so such a run counts for as long as it was still credible.
  return learnRun(pairing, runLengthMax(pairing, at, yard), pairing.unusualRuns + 1, at);
}

function learnRun(pairing: Pairing, before: number, strange: number, at: Instant): Pairing {
  const elapsed = at - pairing.since;
  // Halved now and then, so that the pace can change with the seasons.
  const halve = elapsed > days(60);
  const again = pairing.boutCount === 0 || at - pairing.lastBoutAt >= boutGapMin;
  return {
    hits: pairing.hits * kept + 1,
    misses: pairing.misses * kept + before,
    missSquares: pairing.missSquares * kept + before * before,
    openMarks: 0,
    unusualRuns: strange,
    runCount: 1 + (halve ? pairing.runCount / 2 : pairing.runCount),
    since: halve ? ((at - elapsed / 2) as Instant) : pairing.since,
    boutCount: pairing.boutCount + (again ? 1 : 0),
    lastBoutAt: again ? at : pairing.lastBoutAt,
  };
}

/** The longest run of misses that would not be too long. */
function runLengthMax(pairing: Pairing, at: Instant, yard: PracticeFlag): number {
  let low = 0;
  let high = pairing.openMarks - 1;
  while (high - low > 1) {
    const middle = Math.floor((low + high) / 2);
    if (isRunTooLong({ ...pairing, openMarks: middle + 1 }, at, yard)) high = middle;
    else low = middle;
  }
  return low;
}

/**
 * Enough is learnt to dare a judgement: with twenty answers (the older of which have faded a little) the share is known to
 * about a fifth (1 / √20), and what is unknown of it is in the predictive chance already. That is some thirty presses,
 * since several may fall on one landing.
 */
const hitsMin = 19;
export const isLearnt = (pairing: Pairing): boolean => pairing.hits >= hitsMin;

/** A practice yard's birds come one by one, and nobody waits for days there to see what an alarm looks like. */
export type PracticeFlag = Pick<FeederSettings, "practice">;

/** Whether the open run of misses is longer than chance and the birds' habits allow. */
export const isRunTooLong = (pairing: Pairing, now: Instant, yard: PracticeFlag): boolean =>
  pairing.openMarks > 1 &&
  isLearnt(pairing) &&
  (yard.practice || now - pairing.since >= historyMin) &&
  logRunProbability(pairing, yard) <= logProbabilityAllowed(pairing, now);

/**
 * ln of the chance of the open run, were the watched in order. Birds that never press come in streaks, so the chance is
 * tempered by the dispersion of the runs learnt (quasi-likelihood; McCullagh & Nelder 1989, ch. 4.5).
 */
export function logRunProbability(pairing: Pairing, yard: PracticeFlag): number {
  const certain = Math.max(0, pairing.openMarks - 1);
  if (certain === 0 || pairing.hits === 0) return 0;
  return logBetaSilence(pairing.hits, pairing.misses + priorMisses, certain) / dispersion(pairing, yard);
}

/**
 * Wanted: at most one false "silent" in a feeder's year over all its sensors, of which six pairs share the blame. Each run
 * is one chance to be wrong (looking again at the same run adds none), so a run may be wrong with 1 / (6 x runs a year).
 */
function logProbabilityAllowed(pairing: Pairing, now: Instant): number {
  const elapsed = Math.max(paceMin, now - pairing.since);
  return -Math.log(pairsWatched * Math.max(1, pairing.runCount) * (days(365) / elapsed));
}

/** How much more the runs vary than those of a fair die with the same share; 1 or more. */
function dispersion(pairing: Pairing, yard: PracticeFlag): number {
  const mean = (pairing.misses + priorMisses) / pairing.hits;
  const variance = pairing.missSquares / pairing.hits - (pairing.misses / pairing.hits) ** 2;
  const fair = mean + mean * mean; // of a geometric run with that mean
  // As if twenty fair runs had been seen beside: the variance of few runs says little.
  const seen = Math.max(1, (pairing.hits * variance + priorRuns * fair) / ((pairing.hits + priorRuns) * fair));
  if (yard.practice) return seen;
  // Thirty presses by one flock in one morning don't show what the next flock does: until birds have come many times, they
  // are presumed to come in flocks.
  const presumed = (priorBouts / (pairing.boutCount + priorBouts)) ** 2;
  return (1 - presumed) * seen + presumed * Math.max(seen, flocks);
}

/** A pace is taken over a day at the least: nobody's year is known from ten minutes. */
const paceMin: Span = days(1);
const pairsWatched = 6;
/** Weight kept of the old with each closed run: the last few hundred count, a week to a season by the yard. */
const kept = 1 - 1 / 300;
/** Half a miss that nobody saw (Jeffreys' prior): no sensor is believed to be perfect. */
const priorMisses = 0.5;
const priorRuns = 20;
/**
 * By when that presumption has faded to a quarter; it goes with the square, since by then flocks, if there were any, have shown in
 * the runs themselves. Measured on flocks and on birds that come one by one (test/bench/silentSensors.ts).
 */
const priorBouts = 8;
/** How much more runs vary where dozens come that never press. Likewise. */
const flocks = 6;
const boutGapMin = minutes(20);
/** Two days at the least: one doesn't tell how the next one's birds differ. */
const historyMin = days(2);
const unusualRunsToRelearn = 3;
