import { logNormalTail, logSqrtTwoPi } from "../normalTail.ts";
import type { LevelHypothesis } from "./hopperState.ts";

/**
 * Without a scale nobody sees the level: there are only portions and words, and words err. So several histories are kept beside each other,
 * each with its level and its portion weight, and each as probable as what was seen since makes it (a mixture of Kalman filters; Alspach and
 * Sorenson, IEEE Trans. Autom. Control 17, 1972, from memory). Densities have floors, so that a thing that no history foresaw
 * kills none of them.
 */
export type Hypotheses = readonly LevelHypothesis[];

/** So many are kept: the state stays small. */
const hypothesesMax = 5;
const probabilityMin = 0.002;

/** One portion fell: the level sinks by the mean portion, and the error of the mean is the same one each time. */
export const lowerByPortion = (
  each: LevelHypothesis,
  spreadVariance: number,
  portionDriftVariance: number,
): LevelHypothesis => ({
  probability: each.probability,
  level: Math.max(each.level - each.portion, 0),
  portion: each.portion,
  levelVariance: Math.max(each.levelVariance - 2 * each.covariance + each.portionVariance + spreadVariance, 1e-6),
  covariance: each.covariance - each.portionVariance,
  portionVariance: each.portionVariance + portionDriftVariance,
});

/** The level was measured, as a history has it: how likely that is (1/g), and the history after it. */
export function measure(each: LevelHypothesis, level: number, variance: number): LevelHypothesis {
  const total = each.levelVariance + variance;
  const innovation = level - each.level;
  const [gain, portionGain] = [each.levelVariance / total, each.covariance / total];
  return {
    probability: each.probability,
    level: Math.max(each.level + gain * innovation, 0),
    portion: Math.max(each.portion + portionGain * innovation, 0.2 * each.portion),
    levelVariance: Math.max((1 - gain) * each.levelVariance, 1e-6),
    covariance: (1 - gain) * each.covariance,
    portionVariance: Math.max(each.portionVariance - portionGain * each.covariance, 1e-6),
  };
}

/** Density (1/g) of this level by a history. */
export function densityAt(each: LevelHypothesis, level: number, variance: number): number {
  const total = each.levelVariance + variance;
  return Math.exp((-0.5 * (level - each.level) ** 2) / total - logSqrtTwoPi) / Math.sqrt(total);
}

/** Probability that the level lies above `least`, by a history. */
export const probabilityAbove = (each: LevelHypothesis, least: number, variance = 0): number =>
  Math.exp(logNormalTail((least - each.level) / Math.sqrt(each.levelVariance + variance)));

/** It became certain that the level lies above `least`: what is below is cut off, and the rest taken for normal again. */
export function cutBelow(each: LevelHypothesis, least: number): LevelHypothesis {
  const deviation = Math.sqrt(each.levelVariance);
  const below = (least - each.level) / deviation;
  const hazard = Math.exp(-0.5 * below * below - logSqrtTwoPi - logNormalTail(below));
  const variance = Math.min(Math.max(1 + below * hazard - hazard * hazard, 0.01), 0.999) * each.levelVariance;
  // The measurement that would leave the level with this mean and variance.
  const noise = (each.levelVariance * variance) / (each.levelVariance - variance);
  return measure(each, each.level + (hazard * deviation * (each.levelVariance + noise)) / each.levelVariance, noise);
}

/** The level is another one, and no longer goes with the portion. */
export const withLevel = (each: LevelHypothesis, level: number, variance: number): LevelHypothesis => ({
  probability: each.probability,
  level: Math.max(level, 0),
  portion: each.portion,
  levelVariance: variance,
  covariance: 0,
  portionVariance: each.portionVariance,
});

export const times = (each: LevelHypothesis, factor: number): LevelHypothesis => ({
  ...each,
  probability: each.probability * factor,
});

/** The probabilities sum to 1, what is alike or improbable is merged, and the most probable comes first. */
export function consolidate(hypotheses: Hypotheses): Hypotheses {
  const sum = hypotheses.reduce((total, { probability }) => total + probability, 0);
  if (!(sum > 0)) throw new RangeError(`expected histories with a probability above 0, got a sum of ${sum}`);
  let kept = hypotheses
    .map((each) => times(each, 1 / sum))
    .sort((a, b) => b.probability - a.probability)
    .filter(({ probability }, index) => index === 0 || probability >= probabilityMin);
  for (;;) {
    const closest = closestPair(kept);
    if (closest === null || (kept.length <= hypothesesMax && closest.distance > alike)) break;
    const merged = merge(kept[closest.a] as LevelHypothesis, kept[closest.b] as LevelHypothesis);
    kept = [merged, ...kept.filter((_, index) => index !== closest.a && index !== closest.b)];
  }
  const rest = kept.reduce((total, { probability }) => total + probability, 0);
  return kept.map((each) => times(each, 1 / rest)).sort((a, b) => b.probability - a.probability);
}
/** Of the level, in variances, by the smaller weight. */
const alike = 0.004;

function closestPair(kept: Hypotheses): { a: number; b: number; distance: number } | null {
  let closest: { a: number; b: number; distance: number } | null = null;
  for (let a = 0; a < kept.length; a += 1)
    for (let b = a + 1; b < kept.length; b += 1) {
      const distance = distanceOf(kept[a] as LevelHypothesis, kept[b] as LevelHypothesis);
      if (closest === null || distance < closest.distance) closest = { a, b, distance };
    }
  return closest;
}

/** How much a merger changes: what lies apart, weighed by the smaller one. */
function distanceOf(a: LevelHypothesis, b: LevelHypothesis): number {
  const weight = (a.probability * b.probability) / (a.probability + b.probability);
  const level = (a.level - b.level) ** 2 / (a.levelVariance + b.levelVariance);
  const portion = (a.portion - b.portion) ** 2 / (a.portionVariance + b.portionVariance);
  return weight * (level + portion);
}

/** One normal distribution with the mean and the variances of both. */
function merge(a: LevelHypothesis, b: LevelHypothesis): LevelHypothesis {
  const probability = a.probability + b.probability;
  const share = b.probability / probability;
  const [levelGap, portionGap] = [b.level - a.level, b.portion - a.portion];
  const mixed = (ofA: number, ofB: number) => (1 - share) * ofA + share * ofB;
  const apart = share * (1 - share);
  return {
    probability,
    level: mixed(a.level, b.level),
    portion: mixed(a.portion, b.portion),
    levelVariance: mixed(a.levelVariance, b.levelVariance) + apart * levelGap * levelGap,
    covariance: mixed(a.covariance, b.covariance) + apart * levelGap * portionGap,
    portionVariance: mixed(a.portionVariance, b.portionVariance) + apart * portionGap * portionGap,
  };
}
