import { days, type Instant, minutes, type Span } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { logBetaSilence } from "./tailProbabilities.ts";

/**
 * How often one sensor reacts after a signal of another (its companion): each signal of the companion is a mark, and a count
 * before the next mark is a hit. A button beside a perch is pressed on so many landings in a hundred, in storm and
 * in sunshine, on a slow yard and on a fast one: a silence counted in landings needs no clock and no weather report.
 */
export interface Pairing {
  /** Marks with and without a reaction, as learnt from closed runs, older ones counting less. */
  readonly hits: number;
  readonly misses: number;
  /** Sum of squares of the misses before a hit, likewise faded: birds come in flocks, so runs vary more than dice do. */
  readonly missSquares: number;
  /** Marks since the sensor last counted. The last of them may still get a reaction. */
  readonly openMarks: number;
  /** Runs in a row that closed only after they were found too long, and so weren't learnt. */
  readonly unusualRuns: number;
  /** Runs closed since `since`, for the rate. */
  readonly runCount: number;
  readonly since: Instant;
  /** How many times birds came in which a run closed, at most one in `boutGapMin`, and the last of them. */
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

/** The companion counted. Written out, not spread: this and `closeRun` run for every event. */
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

/** The marks since the sensor last counted are ignored: one of the two chatters. */
export const forgetOpenMarks = (pairing: Pairing): Pairing =>
  pairing.openMarks === 0 ? pairing : { ...pairing, openMarks: 0 };

/** The companion's latest marks were no birds. */
export const takeBackMarks = (pairing: Pairing, marks: number): Pairing =>
  pairing.openMarks === 0 ? pairing : { ...pairing, openMarks: Math.max(0, pairing.openMarks - marks) };

/** The sensor counted: its run of misses is over, and is learnt from. */
export function closeRun(pairing: Pairing, at: Instant, pair: PairContext): Pairing {
  if (pairing.openMarks === 0) return pairing; // a second press on the same landing
  const misses = pairing.openMarks - 1;
  if (misses === 0 || !isRunTooLong(pairing, at, pair)) return learnRun(pairing, misses, 0, at);
  // Three such runs one after the other are no temporary faults, but the birds' new habit: it is learnt again.
  if (pairing.unusualRuns + 1 >= unusualRunsToRelearn) return initialPairing(at);
  // A dead sensor that was repaired isn't one that seldom reacts. But if it was never dead and the birds came in longer
  // streaks than known, that must be learnt: so such a run counts for as long as it was credible.
  return learnRun(pairing, runLengthMax(pairing, at, pair), pairing.unusualRuns + 1, at);
}

function learnRun(pairing: Pairing, misses: number, unusualRuns: number, at: Instant): Pairing {
  const elapsed = at - pairing.since;
  // Halved now and then, so that the rate can change with the seasons.
  const isHalved = elapsed > days(60);
  const isNewBout = pairing.boutCount === 0 || at - pairing.lastBoutAt >= boutGapMin;
  return {
    hits: pairing.hits * runsKeptShare + 1,
    misses: pairing.misses * runsKeptShare + misses,
    missSquares: pairing.missSquares * runsKeptShare + misses * misses,
    openMarks: 0,
    unusualRuns,
    runCount: 1 + (isHalved ? pairing.runCount / 2 : pairing.runCount),
    since: isHalved ? ((at - elapsed / 2) as Instant) : pairing.since,
    boutCount: pairing.boutCount + (isNewBout ? 1 : 0),
    lastBoutAt: isNewBout ? at : pairing.lastBoutAt,
  };
}

/** The longest run of misses that would not be too long. */
function runLengthMax(pairing: Pairing, at: Instant, pair: PairContext): number {
  let low = 0;
  let high = pairing.openMarks - 1;
  while (high - low > 1) {
    const middle = Math.floor((low + high) / 2);
    if (isRunTooLong({ ...pairing, openMarks: middle + 1 }, at, pair)) high = middle;
    else low = middle;
  }
  return low;
}

/**
 * Enough is learnt for a decision: with twenty hits (the older of which have faded a little) the share is known to
 * about a fifth (1 / √20), and what is unknown of it is in the predictive probability already. That is some thirty presses,
 * since several may fall on one landing.
 */
const hitsMin = 19;
/**
 * Birds press many times a day, but some yards see a cap every other day and would wait for weeks: of caps fewer must do. The predictive
 * probability knows how little eight hits tell. Our choice; measured on three worlds (test/measured.md).
 */
const capsMin = 8;
/** One bird may bring three stones in a row, however seldom that was. Our choice. */
const slotMarksMin = 4;
export const isLearnt = (pairing: Pairing, { ofCaps }: PairContext): boolean =>
  pairing.hits >= (ofCaps ? capsMin : hitsMin);

/** A practice yard's birds come one by one, and its alarms are shown without days of waiting. */
export interface PairContext extends Pick<FeederSettings, "practice"> {
  /**
   * The detector and the beam in its own slot: both answer to the same fall, in one event. So what falls is independent of what the birds
   * do else, fewer hits tell the share, and the last mark has got no reaction. Left out: two sensors.
   */
  readonly isOwnSlot?: true;
  /** The detector: what it reacts to is brought, and not just done. Left out: another sensor. */
  readonly ofCaps?: true;
}

export const pairContext = (
  { practice }: Pick<FeederSettings, "practice">,
  sensor: string,
  companion: string,
): PairContext => {
  if (sensor !== "detector") return { practice };
  return sensor === companion ? { practice, ofCaps: true, isOwnSlot: true } : { practice, ofCaps: true };
};

/** Whether the open run of misses is longer than chance and the birds' habits explain. */
export const isRunTooLong = (pairing: Pairing, now: Instant, pair: PairContext): boolean =>
  pairing.openMarks >= (pair.isOwnSlot ? slotMarksMin : 2) &&
  isLearnt(pairing, pair) &&
  (pair.practice || now - pairing.since >= historyMin) &&
  logRunProbability(pairing, pair) <= logProbabilityAllowed(pairing, now, pair);

/**
 * ln of the probability of the open run if the sensor works. Birds that never press come in streaks, so the probability is
 * tempered by the dispersion of the runs learnt (quasi-likelihood; McCullagh & Nelder 1989, ch. 4.5).
 */
export function logRunProbability(pairing: Pairing, pair: PairContext): number {
  const missedMarks = Math.max(0, pairing.openMarks - (pair.isOwnSlot ? 0 : 1));
  if (missedMarks === 0 || pairing.hits === 0) return 0;
  return logBetaSilence(pairing.hits, pairing.misses + priorMisses, missedMarks) / dispersion(pairing, pair);
}

/**
 * Wanted: at most one false "silent" in a feeder's year over all its sensors, of which there are six pairs. Each run
 * is one chance to be wrong (checking the same run again adds none), so a run may be wrong with 1 / (6 x runs a year). The detector's
 * companions see the same caps stay away, so their runs are wrong together and not each in turn: they count half. Our choice; measured.
 */
function logProbabilityAllowed(pairing: Pairing, now: Instant, { ofCaps }: PairContext): number {
  const elapsed = Math.max(rateSpanMin, now - pairing.since);
  return -Math.log((ofCaps ? pairCount / 2 : pairCount) * Math.max(1, pairing.runCount) * (days(365) / elapsed));
}

/** How much more the runs vary than those of a fair die with the same share; 1 or more. */
function dispersion(pairing: Pairing, pair: PairContext): number {
  const mean = (pairing.misses + priorMisses) / pairing.hits;
  const variance = pairing.missSquares / pairing.hits - (pairing.misses / pairing.hits) ** 2;
  const geometricVariance = mean + mean * mean; // of a geometric run with that mean
  // As if twenty fair runs had been seen beside: the variance of few runs says little.
  const observedDispersion = Math.max(
    1,
    (pairing.hits * variance + priorRuns * geometricVariance) / ((pairing.hits + priorRuns) * geometricVariance),
  );
  if (pair.practice) return observedDispersion;
  // Thirty presses by one flock in one morning don't show what the next flock does: until birds have come many times, they
  // are presumed to come in flocks.
  const presumedWeight = (priorBouts / (pairing.boutCount + priorBouts)) ** 2;
  return (
    (1 - presumedWeight) * observedDispersion +
    presumedWeight *
      Math.max(observedDispersion, pair.isOwnSlot ? slotDispersion : pair.ofCaps ? capDispersion : flockDispersion)
  );
}

/** A rate is taken over at least a day: ten minutes say nothing about a year. */
const rateSpanMin: Span = days(1);
const pairCount = 6;
/** Weight kept of the old with each closed run: the last few hundred count, a week to a season by the yard. */
const runsKeptShare = 1 - 1 / 300;
/** Half a miss (Jeffreys' prior): no sensor is perfect. */
const priorMisses = 0.5;
const priorRuns = 20;
/**
 * By when that presumption has faded to a quarter; it goes with the square, since by then flocks, if there were any, have shown in
 * the runs themselves. Measured on flocks and on birds that come one by one (test/benchmarks/silentSensors.ts).
 */
const priorBouts = 8;
/** How much more runs vary where dozens come that never press. Likewise. */
const flockDispersion = 6;
/** Of a flock that lands or presses in dozens, caps are brought by a bird or two: half of that. Our choice; measured. */
const capDispersion = 3;
/** One bird may bring stones for a morning. Our choice. */
const slotDispersion = 1.5;
const boutGapMin = minutes(20);
/** At least two days: one doesn't show how the next differs. */
const historyMin = days(2);
const unusualRunsToRelearn = 3;
