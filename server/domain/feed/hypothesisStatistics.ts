import type { CountLogLikelihoods } from "./chuteModel.ts";
import { chuteLogLikelihood } from "./chuteModel.ts";
import { type FaultSignature, faultSignatures, type Hypothesis, hypotheses } from "./faultSignatures.ts";
import type { ExpectedCurrent } from "./motorModel.ts";
import {
  portionDeviation,
  readingNoise,
  type ScaleEstimate,
  type ScaleTrack,
  scaleLogLikelihoodRatio,
  updateScaleEstimate,
} from "./scaleTrack.ts";
import { logStudentDensity } from "./studentDensity.ts";

/**
 * One CUSUM for each fault (Page 1954, Biometrika 41:100): the log likelihood ratio, fault over health, of what was seen
 * since the fault may have begun. A sum that falls to zero starts again, with the fault beginning at the next portion. All
 * sums are against the same health, so the largest detects a fault, and their differences isolate it (Nikiforov 1995, IEEE Trans. Inf. Theory 41:19; Oskiper & Poor
 * 2002, IEEE Trans. Inf. Theory 48:3108).
 */
export type HypothesisStatistics = { readonly [hypothesis in Hypothesis]: HypothesisStatistic };

export interface HypothesisStatistic {
  readonly sum: number;
  readonly portions: number; // since it may have begun
  readonly emptyPortions: number; // of these, in which no food was seen to fall
  readonly scaleEstimate: ScaleEstimate | null; // what the scale should show if this is true; null: the same as in health
  /** g, by the scale when it may have begun; null: it would follow food that falls as usual. */
  readonly scaleAtBegin: number | null;
  readonly currentShift: CurrentShift | null; // null: the motor draws the same as in health
  readonly byCurrent?: number; // what the motor's current speaks for it; left out: nothing, or against it
  readonly dryingProbability?: number; // probability that the last portions are still shrinking; left out: none
}

/** Of ln(current), as far as seen. */
interface CurrentShift {
  readonly mean: number;
  readonly variance: number;
}

export interface PortionObservation {
  readonly countLogLikelihoods: CountLogLikelihoods | null; // null: no chute sensor, or it reported nothing
  readonly didFall: boolean | null; // by the chute sensor
  readonly current: { readonly drawn: number; readonly expected: ExpectedCurrent } | null;
}

export const initialStatistics: HypothesisStatistics = forEachHypothesis((hypothesis) =>
  initialStatistic(faultSignatures[hypothesis], { level: 0, variance: 0 }),
);

/** A portion was given. `track`: the scale's as it was before. `leader`: the hypothesis of the diagnosis, if there is one. */
export function updateStatisticsByPortion(
  statistics: HypothesisStatistics,
  observation: PortionObservation,
  track: ScaleTrack,
  leader: Hypothesis | null,
): HypothesisStatistics {
  if (leader === null) {
    // Where only the scale sees portions, its next reading is the first evidence.
    const fade = observation.countLogLikelihoods !== null || observation.current !== null ? fadePerPortion : 0;
    return forEachHypothesis((hypothesis) =>
      updateStatistic(statistics[hypothesis], faultSignatures[hypothesis], {
        observation,
        track,
        fade,
        isDiagnosed: false,
      }),
    );
  }
  const leading = updateStatistic(statistics[leader], faultSignatures[leader], {
    observation,
    track,
    fade: 0,
    isDiagnosed: true,
  });
  const step = leading.sum - Math.max(statistics[leader].sum, 0);
  return forEachHypothesis((hypothesis) => {
    if (hypothesis === leader) return leading;
    const after = updateStatistic(statistics[hypothesis], faultSignatures[hypothesis], {
      observation,
      track,
      fade: 0,
      isDiagnosed: true,
    });
    const gained = after.sum - Math.max(statistics[hypothesis].sum, 0) - step;
    return gained > 0 ? { ...after, sum: after.sum - Math.min(gained, fadePerPortion) } : after;
  });
}

/** A scale reading that counts. `track`: as it was before. */
export function updateStatisticsByReading(
  statistics: HypothesisStatistics,
  track: ScaleTrack,
  reading: number,
  addedVariance: number,
): HypothesisStatistics {
  return forEachHypothesis((hypothesis) => {
    const before = statistics[hypothesis];
    const { scaleEstimate } = before;
    if (scaleEstimate === null || before.portions === 0) return before;
    const sum = before.sum + scaleLogLikelihoodRatio(track, scaleEstimate, reading, addedVariance);
    return {
      ...before,
      sum,
      scaleEstimate: updateScaleEstimate(scaleEstimate, reading, addedVariance, readingNoise(track)),
    };
  });
}

/** The scale shows another level: its estimates start again, the evidence so far stays. */
export const restartScaleEstimates = (
  statistics: HypothesisStatistics,
  { level, variance }: ScaleTrack,
): HypothesisStatistics =>
  forEachHypothesis((hypothesis) => {
    const before = statistics[hypothesis];
    if (before.scaleEstimate === null) return before;
    return { ...before, scaleEstimate: { level, variance }, scaleAtBegin: before.scaleAtBegin === null ? null : level };
  });

export const fixedScaleEstimates = (statistics: HypothesisStatistics): readonly ScaleEstimate[] =>
  hypotheses.flatMap((hypothesis) => {
    const { sum, scaleEstimate } = statistics[hypothesis];
    return scaleEstimate !== null && sum > 0 ? [scaleEstimate] : [];
  });

export function leadingHypothesis(statistics: HypothesisStatistics): Hypothesis {
  let first: Hypothesis = hypotheses[0];
  for (const hypothesis of hypotheses) if (statistics[hypothesis].sum > statistics[first].sum) first = hypothesis;
  return first;
}

/**
 * Limits the evidence: after a long fault it would take as long to detect another. All sums are lowered alike, so that
 * their differences stay.
 */
export function limitStatistics(statistics: HypothesisStatistics, sumMax: number): HypothesisStatistics {
  const excess = statistics[leadingHypothesis(statistics)].sum - sumMax;
  if (excess <= 0) return statistics;
  return forEachHypothesis((hypothesis) => ({ ...statistics[hypothesis], sum: statistics[hypothesis].sum - excess }));
}

/** Food falls again: evidence against the feed is cleared. Food also falls with a failing sensor, so evidence for that stays. */
export const clearFeedStatistics = (statistics: HypothesisStatistics, sumMax: number): HypothesisStatistics =>
  forEachHypothesis((hypothesis) => {
    const before = statistics[hypothesis];
    const isSensorFault =
      hypothesis === "chuteHalfBlind" || hypothesis === "chuteUndercounting" || hypothesis === "scaleStuck";
    return isSensorFault ? { ...before, sum: Math.min(before.sum, sumMax) } : { ...before, sum: 0, portions: 0 };
  });

// --- one portion ---------------------------------------------------------------------------------------------------

/** When a tray runs empty, the first portion is mostly a part of one; each later one with this probability. Common practice, no source. */
const dryingProbabilityFirst = 0.7;
const dryingProbabilityLater = 0.72;
const dryingPortionsMax = 5; // portions
/** A fault that isn't proven after so many portions isn't there, or has become usual. Its sum would block learning. */
const portionsMax = 150;
/**
 * A learnt current is never exact, and the same small error comes with each portion: a hundredth of evidence a portion would
 * raise an alarm in a month or change a cause in a week. So evidence must come in faster than it fades; during a diagnosis
 * only what gains on its hypothesis fades.
 */
const fadePerPortion = 0.05;
/** No single portion gives more evidence than this. */
const stepMax = 30;

function isLikeHealthyScale({ food, scaleFollows }: FaultSignature): boolean {
  return food === "falls" && scaleFollows;
}

/**
 * The hopper grew lighter by most of what the portions weigh since the fault may have begun: whatever else speaks for it, food falls. Only
 * where that can be seen at all with such a scale.
 */
export function isFallingByScale({ portions, scaleAtBegin }: HypothesisStatistic, track: ScaleTrack): boolean {
  if (scaleAtBegin === null || track.readingAt === null || track.lastReading === null) return false;
  const due = (portions - track.portionsSince) * track.meanPortion;
  if (due < fallSeenDeviations * Math.sqrt(readingNoise(track))) return false;
  return scaleAtBegin - track.lastReading >= fallSeenShare * due;
}
const fallSeenShare = 0.6;
const fallSeenDeviations = 3;

/**
 * The hopper grew heavier, by a good part of what should have fallen meanwhile: rain, snow, wood that soaks or a zero that drifts adds to it,
 * and hides what falls. A hopper from which nothing falls stands still, and so does a scale that is stuck.
 */
export function isRisingByScale({ portions, scaleAtBegin }: HypothesisStatistic, track: ScaleTrack): boolean {
  if (scaleAtBegin === null || track.readingAt === null || track.lastReading === null) return false;
  const due = portions * track.meanPortion;
  const riseMin = Math.max(riseSeenShare * due, fallSeenDeviations * Math.sqrt(readingNoise(track)));
  return track.lastReading - scaleAtBegin >= riseMin;
}
const riseSeenShare = 0.4; // our choice

function initialStatistic(signature: FaultSignature, estimate: ScaleEstimate): HypothesisStatistic {
  return {
    sum: 0,
    portions: 0,
    emptyPortions: 0,
    scaleEstimate: isLikeHealthyScale(signature) ? null : estimate,
    scaleAtBegin: isLikeHealthyScale(signature) ? null : estimate.level,
    currentShift: signature.shift === null ? null : initialShift(signature.shift),
  };
}

/** Any value of the range is as likely as another: its mean and variance. */
function initialShift([least, most]: NonNullable<FaultSignature["shift"]>): CurrentShift {
  return { mean: (least + most) / 2, variance: (most - least) ** 2 / 12 };
}

interface GivenPortion {
  readonly observation: PortionObservation;
  readonly track: ScaleTrack;
  readonly fade: number;
  readonly isDiagnosed: boolean; // there is a diagnosis already
}

/** A sum of exactly zero has had no evidence for or against it yet. */
const isContinued = ({ sum, portions }: HypothesisStatistic): boolean =>
  (sum > 0 && portions < portionsMax) || (sum === 0 && portions > 0);

function updateStatistic(
  before: HypothesisStatistic,
  signature: FaultSignature,
  { observation, track, fade, isDiagnosed }: GivenPortion,
): HypothesisStatistic {
  // By the scale alone a part of a portion looks like a smaller portion.
  if (signature.food === "partlyFalls" && observation.countLogLikelihoods === null)
    return initialStatistic(signature, { level: track.level, variance: track.variance });
  const from = isContinued(before)
    ? before
    : initialStatistic(signature, { level: track.level, variance: track.variance });
  const countStep = stepByCounts(signature, observation, priorDryingProbability(signature, from));
  const { dry: dryingProbability } = countStep;
  const currentStep = stepByCurrent(signature, observation, from, dryingProbability);
  const step = countStep.step + currentStep.step;
  const byCurrent = (from.byCurrent ?? 0) + currentStep.step;
  const { scaleEstimate } = from;
  return {
    sum: from.sum + Math.min(Math.max(step, -stepMax), stepMax) - fade,
    portions: isDiagnosed ? Math.min(from.portions + 1, portionsMax - 1) : from.portions + 1,
    emptyPortions: from.emptyPortions + (observation.didFall === true ? 0 : 1),
    scaleEstimate:
      scaleEstimate === null ? null : estimateAfterPortion(scaleEstimate, signature, dryingProbability, track),
    scaleAtBegin: from.scaleAtBegin,
    currentShift: currentStep.shift,
    ...(byCurrent > 0 ? { byCurrent } : {}),
    ...(dryingProbability > 0 ? { dryingProbability } : {}),
  };
}

/** The probability that the tray runs empty with this portion, before any sensor is considered. */
function priorDryingProbability(signature: FaultSignature, from: HypothesisStatistic): number {
  if (signature.food !== "runsDry") return 0;
  if (from.portions === 0) return dryingProbabilityFirst;
  return (from.portions < dryingPortionsMax ? dryingProbabilityLater : 0.5) * (from.dryingProbability ?? 0);
}

/** Log likelihood ratio of the chute sensor's count. */
function stepByCounts(
  signature: FaultSignature,
  { countLogLikelihoods }: PortionObservation,
  dryingProbability: number,
): { readonly step: number; readonly dry: number } {
  if (countLogLikelihoods === null) return { step: 0, dry: dryingProbability };
  if (dryingProbability <= 0)
    return {
      step: chuteLogLikelihood(countLogLikelihoods, signature.chute) - countLogLikelihoods.healthy,
      dry: dryingProbability,
    };
  const shrunk = dryingProbability * Math.exp(countLogLikelihoods.shrunk);
  const nothing = (1 - dryingProbability) * Math.exp(countLogLikelihoods.nothing);
  return { step: Math.log(shrunk + nothing) - countLogLikelihoods.healthy, dry: shrunk / (shrunk + nothing) };
}

interface CurrentStep {
  readonly step: number;
  readonly shift: CurrentShift | null;
}

/** Log likelihood ratio of the motor's current, and the hypothesis's current shift updated by it. */
function stepByCurrent(
  signature: FaultSignature,
  { current, didFall }: PortionObservation,
  from: HypothesisStatistic,
  dryingProbability: number,
): CurrentStep {
  if (current === null || signature.shift === null || from.currentShift === null) {
    return { step: 0, shift: from.currentShift };
  }
  const { drawn: logDrawn, expected } = current;
  const residual = logDrawn - expected.mean;
  const beyondStep = (difference: number) => Math.sign(difference) * Math.max(Math.abs(difference) - expected.step, 0);
  // The fault adds to whatever weather and grease have made of the healthy current.
  const first = from.portions === 0;
  const { currentShift } = from;
  const shift = first ? currentShift.mean + expected.shift : currentShift.mean;
  const shiftVariance = currentShift.variance + (first ? expected.shiftVariance : expected.shiftVarianceGrowth);
  const loaded = 0.25 * dryingProbability * (signature.shift[0] + signature.shift[1]); // a tray half full draws half the difference
  const unexplained = residual - shift + loaded;
  const variance = expected.variance + shiftVariance;
  const ratio =
    logStudentDensity(beyondStep(unexplained), variance) -
    logStudentDensity(beyondStep(residual - expected.shift), expected.variance + expected.shiftVariance);
  // Food fell, so the motor turned and the tray moved, whatever it drew: that is evidence for health only.
  if (didFall === true) return { step: Math.min(ratio, 0), shift: { mean: shift, variance: shiftVariance } };
  const gain = shiftVariance / variance;
  const slack = Math.sqrt(expected.shiftVariance);
  const mean = Math.min(Math.max(shift + gain * unexplained, signature.shift[0] - slack), signature.shift[1] + slack);
  return { step: ratio, shift: { mean, variance: shiftVariance * (1 - gain) } };
}

function estimateAfterPortion(
  estimate: ScaleEstimate,
  { food }: FaultSignature,
  dryingProbability: number,
  track: ScaleTrack,
): ScaleEstimate {
  if (food === "partlyFalls") return lowerByPart(estimate, track);
  return dryingProbability > 0 ? lowerScaleEstimate(estimate, dryingProbability, track) : estimate;
}

/** What still falls of a portion where the tray is partly jammed, and its spread: a tenth to a half. Common practice, no source. */
const fallingPart = 0.3;
const fallingPartSpread = 0.15;

const lowerByPart = ({ level, variance }: ScaleEstimate, { meanPortion }: ScaleTrack): ScaleEstimate => ({
  level: level - fallingPart * meanPortion,
  variance: variance + (fallingPartSpread * meanPortion) ** 2,
});

function lowerScaleEstimate(estimate: ScaleEstimate, dryingProbability: number, track: ScaleTrack): ScaleEstimate {
  const spread = dryingProbability * 0.3 * track.meanPortion + dryingProbability * portionDeviation(track);
  return {
    level: estimate.level - 0.5 * dryingProbability * track.meanPortion,
    variance: estimate.variance + spread * spread,
  };
}

function forEachHypothesis(create: (hypothesis: Hypothesis) => HypothesisStatistic): HypothesisStatistics {
  return {
    emptyTray: create("emptyTray"),
    trayJammed: create("trayJammed"),
    motorStalled: create("motorStalled"),
    motorNotTurning: create("motorNotTurning"),
    chuteBlind: create("chuteBlind"),
    chuteHalfBlind: create("chuteHalfBlind"),
    chuteUndercounting: create("chuteUndercounting"),
    trayPartlyJammed: create("trayPartlyJammed"),
    scaleStuck: create("scaleStuck"),
  };
}
