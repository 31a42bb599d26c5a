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

export const levelVarianceOf = ({ covariance }: LevelHypothesis): number => covariance[0];
export const portionVarianceOf = ({ covariance }: LevelHypothesis): number => covariance[2];

/** One portion fell: the level sinks by the mean portion, and the error of the mean is the same one each time. */
export function lowerByPortion(each: LevelHypothesis, spread: number, portionDrift: number): LevelHypothesis {
  const [ll, lp, pp, lb, pb, bb] = each.covariance;
  return {
    probability: each.probability,
    // Below zero it says how much more was given than there can have been: it may be empty.
    level: Math.max(each.level - each.portion, -0.5 * each.brim),
    portion: each.portion,
    brim: each.brim,
    covariance: [Math.max(ll - 2 * lp + pp + spread, varianceMin), lp - pp, pp + portionDrift, lb - pb, pb, bb],
  };
}
/** g²: nothing is known better than to a hundredth of a gram. */
const varianceMin = 1e-4;

/** So much more is in it, with this variance (g²). */
export function raise(each: LevelHypothesis, added: number, variance: number): LevelHypothesis {
  const [ll, ...others] = each.covariance;
  return { ...each, level: each.level + added, covariance: [ll + variance, ...others] };
}

/** The level can't be below zero: what lies there is at zero (mean and variance of a rectified normal distribution, by its moments). */
export function rectify(each: LevelHypothesis): LevelHypothesis {
  const [ll, lp, pp, lb, pb, bb] = each.covariance;
  const deviation = Math.sqrt(ll);
  const z = each.level / deviation;
  if (z > 4) return each;
  const above = Math.exp(logNormalTail(-z));
  const density = Math.exp(-0.5 * z * z - logSqrtTwoPi);
  const level = each.level * above + deviation * density;
  const variance = (each.level * each.level + ll) * above + each.level * deviation * density - level * level;
  return { ...each, level, covariance: [Math.max(variance, varianceMin), above * lp, pp, above * lb, pb, bb] };
}

/** What is observed: the level, or how far it lies below the brim. */
export type Observed = "level" | "levelBelowBrim";

/** The history after an observation (g) with this noise variance (g²). */
export function observe(each: LevelHypothesis, what: Observed, value: number, noise: number): LevelHypothesis {
  const [ll, lp, pp, lb, pb, bb] = each.covariance;
  const isBrim = what === "levelBelowBrim";
  const [l, p, b] = isBrim ? [ll - lb, lp - pb, lb - bb] : [ll, lp, lb];
  const total = (isBrim ? l - b : l) + noise;
  const step = (value - (isBrim ? each.level - each.brim : each.level)) / total;
  return {
    probability: each.probability,
    level: each.level + l * step,
    portion: Math.max(each.portion + p * step, 0.2 * each.portion, portionMin),
    brim: Math.max(each.brim + b * step, 0.3 * each.brim, brimMin),
    covariance: [
      Math.max(ll - (l * l) / total, varianceMin),
      lp - (l * p) / total,
      Math.max(pp - (p * p) / total, varianceMin * varianceMin),
      lb - (l * b) / total,
      pb - (p * b) / total,
      Math.max(bb - (b * b) / total, varianceMin),
    ],
  };
}

/** g. No feeder gives less, and no hopper holds less. Common practice, no source. */
const portionMin = 0.1;
const brimMin = 50;

/** Density (1/g) of such an observation by a history. */
export function densityOf(each: LevelHypothesis, what: Observed, value: number, noise: number): number {
  const [ll, , , lb, , bb] = each.covariance;
  const isBrim = what === "levelBelowBrim";
  const total = (isBrim ? ll - 2 * lb + bb : ll) + noise;
  const residual = value - (isBrim ? each.level - each.brim : each.level);
  return Math.exp((-0.5 * residual * residual) / total - logSqrtTwoPi) / Math.sqrt(total);
}

/** Probability that the level lies above `least`, by a history. */
export const probabilityAbove = (each: LevelHypothesis, least: number, variance = 0): number =>
  Math.exp(logNormalTail((least - each.level) / Math.sqrt(each.covariance[0] + variance)));

/** Probability that it is not more than the hopper holds, give or take the noise. */
export function fitsIn({ level, brim, covariance: [ll, , , lb, , bb] }: LevelHypothesis, noise: number): number {
  return Math.exp(logNormalTail((level - brim) / Math.sqrt(ll - 2 * lb + bb + noise)));
}

/** It became certain that the level lies above `least`: what is below is cut off, and the rest taken for normal again. */
export function cutBelow(each: LevelHypothesis, least: number): LevelHypothesis {
  const [before] = each.covariance;
  const deviation = Math.sqrt(before);
  const below = (least - each.level) / deviation;
  const hazard = Math.exp(-0.5 * below * below - logSqrtTwoPi - logNormalTail(below));
  const variance = Math.min(Math.max(1 + below * hazard - hazard * hazard, 0.01), 0.999) * before;
  // The measurement that would leave the level with this mean and variance.
  const noise = (before * variance) / (before - variance);
  return observe(each, "level", each.level + (hazard * deviation * (before + noise)) / before, noise);
}

/** The level is another one, and no longer goes with portion and brim. */
export function withLevel(each: LevelHypothesis, level: number, variance: number): LevelHypothesis {
  const [, , pp, , pb, bb] = each.covariance;
  return { ...each, level: Math.max(level, 0), covariance: [variance, 0, pp, 0, pb, bb] };
}

/** It was filled up: the level is the brim, give or take. */
export function withBrim(each: LevelHypothesis, noise: number): LevelHypothesis {
  const [, , pp, , pb, bb] = each.covariance;
  return { ...each, level: each.brim, covariance: [bb + noise, pb, pp, bb, pb, bb] };
}

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
  const level = (a.level - b.level) ** 2 / (a.covariance[0] + b.covariance[0]);
  const portion = (a.portion - b.portion) ** 2 / (a.covariance[2] + b.covariance[2]);
  return weight * (level + portion);
}

/** One normal distribution with the mean and the variances of both. */
function merge(a: LevelHypothesis, b: LevelHypothesis): LevelHypothesis {
  const probability = a.probability + b.probability;
  const share = b.probability / probability;
  const [level, portion, brim] = [b.level - a.level, b.portion - a.portion, b.brim - a.brim];
  const apart = share * (1 - share);
  const mixed = (index: 0 | 1 | 2 | 3 | 4 | 5, gaps: number) =>
    (1 - share) * a.covariance[index] + share * b.covariance[index] + apart * gaps;
  return {
    probability,
    level: a.level + share * level,
    portion: a.portion + share * portion,
    brim: a.brim + share * brim,
    covariance: [
      mixed(0, level * level),
      mixed(1, level * portion),
      mixed(2, portion * portion),
      mixed(3, level * brim),
      mixed(4, portion * brim),
      mixed(5, brim * brim),
    ],
  };
}
