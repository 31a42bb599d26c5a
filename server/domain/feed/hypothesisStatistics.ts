import type { CountLogLikelihoods } from "./chuteModel.ts";
import { chuteLogLikelihood } from "./chuteModel.ts";
import { type FaultSignature, faultSignatures, type Hypothesis, hypotheses } from "./faultSignatures.ts";
import type { ExpectedCurrent } from "./motorModel.ts";
import {
  portionDeviation,
  type ScaleEstimate,
  type ScaleTrack,
  scaleLogLikelihoodRatio,
  updateScaleEstimate,
} from "./scaleTrack.ts";
import { logStudentDensity } from "./studentDensity.ts";

/**
 * One running sum for each thing that may be wrong (Page 1954, Biometrika 41:100): what was seen since it may have begun is
 * so many times, in logarithms, likelier under it than under health. A sum that falls to zero begins anew, with the fault
 * beginning at the next portion. All sums are against the same health, so the largest tells that something is wrong, and their
 * differences tell what: one matrix of sums serves for both (Nikiforov 1995, IEEE Trans. Inf. Theory 41:19; Oskiper & Poor
 * 2002, IEEE Trans. Inf. Theory 48:3108).
 */
export type HypothesisStatistics = { readonly [suspect in Hypothesis]: HypothesisStatistic };

export interface HypothesisStatistic {
  readonly sum: number;
  readonly portions: number; // since it may have begun
  readonly scaleEstimate: ScaleEstimate; // what the scale should show if this is true
  readonly shift: number; // of ln(current), as far as seen
  readonly shiftVariance: number;
  readonly dryingProbability: number; // chance that the last portions are still shrinking
}

export interface PortionObservation {
  readonly countLogLikelihoods: CountLogLikelihoods | null; // null: no chute sensor, or it said nothing
  readonly didFall: boolean | null; // by the chute sensor
  readonly current: { readonly drawn: number; readonly foreseen: ExpectedCurrent } | null;
}

export const initialStatistics: HypothesisStatistics = forEachHypothesis((suspect) =>
  initialStatistic(faultSignatures[suspect], { level: 0, variance: 0 }),
);

/** A portion was given. `track`: the scale's as it was before. `leader`: what a standing verdict rests on. */
export function updateStatisticsByPortion(
  suspicions: HypothesisStatistics,
  seen: PortionObservation,
  track: ScaleTrack,
  leader: Hypothesis | null,
): HypothesisStatistics {
  if (leader === null) {
    // Where no sensor but the scale sees portions, only its next reading can tell.
    const fade = seen.countLogLikelihoods !== null || seen.current !== null ? fadePerPortion : 0;
    return forEachHypothesis((suspect) =>
      updateStatistic(suspicions[suspect], faultSignatures[suspect], { seen, track, fade, stands: false }),
    );
  }
  const led = updateStatistic(suspicions[leader], faultSignatures[leader], { seen, track, fade: 0, stands: true });
  const step = led.sum - Math.max(suspicions[leader].sum, 0);
  return forEachHypothesis((suspect) => {
    if (suspect === leader) return led;
    const after = updateStatistic(suspicions[suspect], faultSignatures[suspect], {
      seen,
      track,
      fade: 0,
      stands: true,
    });
    const gained = after.sum - Math.max(suspicions[suspect].sum, 0) - step;
    return gained > 0 ? { ...after, sum: after.sum - Math.min(gained, fadePerPortion) } : after;
  });
}

/** The scale said something that counts. `track`: as it was before. */
export function updateStatisticsByReading(
  suspicions: HypothesisStatistics,
  track: ScaleTrack,
  reading: number,
  wander: number,
): HypothesisStatistics {
  return forEachHypothesis((suspect) => {
    const look = faultSignatures[suspect];
    const before = suspicions[suspect];
    if (isLikeHealthyScale(look) || before.portions === 0) return before;
    const sum = before.sum + scaleLogLikelihoodRatio(track, before.scaleEstimate, reading, wander);
    return { ...before, sum, scaleEstimate: updateScaleEstimate(before.scaleEstimate, reading, wander, track.noise) };
  });
}

/** The scale stands elsewhere: what it will say of a portion begins anew, the evidence so far stays. */
export const restartScaleEstimates = (
  suspicions: HypothesisStatistics,
  { level, variance }: ScaleTrack,
): HypothesisStatistics =>
  forEachHypothesis((suspect) => ({ ...suspicions[suspect], scaleEstimate: { level, variance } }));

export const fixedScaleEstimates = (suspicions: HypothesisStatistics): readonly ScaleEstimate[] =>
  hypotheses
    .filter((suspect) => !isLikeHealthyScale(faultSignatures[suspect]) && suspicions[suspect].sum > 0)
    .map((suspect) => suspicions[suspect].scaleEstimate);

export function leadingHypothesis(suspicions: HypothesisStatistics): Hypothesis {
  let first: Hypothesis = hypotheses[0];
  for (const suspect of hypotheses) if (suspicions[suspect].sum > suspicions[first].sum) first = suspect;
  return first;
}

/**
 * Evidence isn't hoarded: after a long fault it would take as long to see that it has turned into another. What is
 * taken off is taken off all alike, so that the differences stay.
 */
export function limitStatistics(suspicions: HypothesisStatistics, most: number): HypothesisStatistics {
  const over = suspicions[leadingHypothesis(suspicions)].sum - most;
  if (over <= 0) return suspicions;
  return forEachHypothesis((suspect) => ({ ...suspicions[suspect], sum: suspicions[suspect].sum - over }));
}

/** Food falls again: what was held against the feed is void; a failing sensor has that in common with health. */
export const clearFeedStatistics = (suspicions: HypothesisStatistics, most: number): HypothesisStatistics =>
  forEachHypothesis((suspect) => {
    const before = suspicions[suspect];
    const keeps = suspect === "chuteHalfBlind" || suspect === "chuteUndercounting" || suspect === "scaleStuck";
    return { ...before, sum: keeps ? Math.min(before.sum, most) : 0 };
  });

// --- one portion ---------------------------------------------------------------------------------------------------

/** When a tray runs dry, the first portion is mostly a part of one; each later one is so with this chance. Common practice, no source. */
const dryingProbabilityFirst = 0.7;
const dryingProbabilityLater = 0.72;
const dryingPortionsMax = 5; // portions
/** What isn't proven after so many portions isn't so, or has become usual. Such a suspicion would keep habits from being learnt. */
const portionsMax = 150;
/**
 * Portion after portion says the same, and what is learnt of a current is never quite right: a hundredth of evidence a portion would
 * raise an alarm in a month or turn a name over in a week. So evidence must come in
 * faster than it fades; while a verdict stands, only what gains on the suspect that it rests on fades.
 */
const fadePerPortion = 0.05;
/** No single portion says more than this, whatever it looks like. */
const stepMax = 30;

const isLikeHealthyScale = ({ food, scaleFollows }: FaultSignature): boolean => food === "falls" && scaleFollows;

function initialStatistic(look: FaultSignature, held: ScaleEstimate): HypothesisStatistic {
  return {
    sum: 0,
    portions: 0,
    scaleEstimate: held,
    // Any value of the range is as likely as another: its mean and variance.
    shift: look.shift === null ? 0 : (look.shift[0] + look.shift[1]) / 2,
    shiftVariance: look.shift === null ? 0 : (look.shift[1] - look.shift[0]) ** 2 / 12,
    dryingProbability: 0,
  };
}

interface GivenPortion {
  readonly seen: PortionObservation;
  readonly track: ScaleTrack;
  readonly fade: number;
  readonly stands: boolean; // a verdict stands already
}

function updateStatistic(
  before: HypothesisStatistic,
  look: FaultSignature,
  { seen, track, fade, stands }: GivenPortion,
): HypothesisStatistic {
  // A sum of exactly zero has heard nothing yet that speaks for or against it.
  const goesOn = (before.sum > 0 && before.portions < portionsMax) || (before.sum === 0 && before.portions > 0);
  const from = goesOn ? before : initialStatistic(look, { level: track.level, variance: track.variance });
  const counted = stepByCounts(look, seen, dryBefore(look, from));
  const { dry } = counted;
  const driven = stepByCurrent(look, seen, from, dry);
  const step = counted.step + driven.step;
  return {
    sum: from.sum + Math.min(Math.max(step, -stepMax), stepMax) - fade,
    portions: stands ? Math.min(from.portions + 1, portionsMax - 1) : from.portions + 1,
    scaleEstimate: dry > 0 ? sinkPartly(from.scaleEstimate, dry, track) : from.scaleEstimate,
    shift: driven.shift,
    shiftVariance: driven.shiftVariance,
    dryingProbability: dry,
  };
}

/** How likely it is that this portion runs the tray dry, before any sensor is asked. */
function dryBefore(look: FaultSignature, from: HypothesisStatistic): number {
  if (look.food !== "runsDry") return 0;
  if (from.portions === 0) return dryingProbabilityFirst;
  return (from.portions < dryingPortionsMax ? dryingProbabilityLater : 0.5) * from.dryingProbability;
}

/** What the chute sensor's count speaks for this suspect, as a log likelihood ratio. */
function stepByCounts(
  look: FaultSignature,
  { countLogLikelihoods }: PortionObservation,
  dry: number,
): { readonly step: number; readonly dry: number } {
  if (countLogLikelihoods === null) return { step: 0, dry };
  if (dry <= 0) return { step: chuteLogLikelihood(countLogLikelihoods, look.chute) - countLogLikelihoods.healthy, dry };
  const shrunk = dry * Math.exp(countLogLikelihoods.shrunk);
  const nothing = (1 - dry) * Math.exp(countLogLikelihoods.nothing);
  return { step: Math.log(shrunk + nothing) - countLogLikelihoods.healthy, dry: shrunk / (shrunk + nothing) };
}

interface CurrentStep extends Pick<HypothesisStatistic, "shift" | "shiftVariance"> {
  readonly step: number;
}

/** What the motor's current speaks for this suspect, and what it teaches of the suspect's own current. */
function stepByCurrent(
  look: FaultSignature,
  { current, didFall }: PortionObservation,
  from: HypothesisStatistic,
  dry: number,
): CurrentStep {
  if (current === null || look.shift === null) {
    return { step: 0, shift: from.shift, shiftVariance: from.shiftVariance };
  }
  const { drawn, foreseen } = current;
  const off = drawn - foreseen.mean;
  // The fault adds to whatever weather and grease have made of the healthy current.
  const first = from.portions === 0;
  const shift = first ? from.shift + foreseen.shift : from.shift;
  const shiftVariance = from.shiftVariance + (first ? foreseen.shiftVariance : foreseen.shiftVarianceGrowth);
  const loaded = 0.25 * dry * (look.shift[0] + look.shift[1]); // a tray half full draws half the difference
  const left = off - shift + loaded;
  const variance = foreseen.variance + shiftVariance;
  const ratio =
    logStudentDensity(left, variance) -
    logStudentDensity(off - foreseen.shift, foreseen.variance + foreseen.shiftVariance);
  // Food fell, so the motor turned and the tray moved, whatever it drew: that can speak for health only.
  if (didFall === true) return { step: Math.min(ratio, 0), shift, shiftVariance };
  const gain = shiftVariance / variance;
  const slack = Math.sqrt(foreseen.shiftVariance);
  return {
    step: ratio,
    shift: Math.min(Math.max(shift + gain * left, look.shift[0] - slack), look.shift[1] + slack),
    shiftVariance: shiftVariance * (1 - gain),
  };
}

function sinkPartly(held: ScaleEstimate, dry: number, track: ScaleTrack): ScaleEstimate {
  const spread = dry * 0.3 * track.meanPortion + dry * portionDeviation(track);
  return { level: held.level - 0.5 * dry * track.meanPortion, variance: held.variance + spread * spread };
}

function forEachHypothesis(made: (suspect: Hypothesis) => HypothesisStatistic): HypothesisStatistics {
  return {
    emptyTray: made("emptyTray"),
    trayJammed: made("trayJammed"),
    motorStalled: made("motorStalled"),
    motorNotTurning: made("motorNotTurning"),
    chuteBlind: made("chuteBlind"),
    chuteHalfBlind: made("chuteHalfBlind"),
    chuteUndercounting: made("chuteUndercounting"),
    scaleStuck: made("scaleStuck"),
  };
}
