import { movingMean } from "../movingMean.ts";
import type { FaultSignature } from "./faultSignatures.ts";

/** What a healthy chute sensor counts: how often nothing, and how many pieces otherwise. */
export interface ChuteModel {
  readonly portionsLearnt: number; // portions learnt from, at most `portionsLearntMax`
  readonly missedShare: number; // share of portions that fell and weren't seen
  readonly meanPieces: number; // mean count of a portion that was seen
  readonly variance: number; // of that count
  readonly recentPieces: number; // mean count of the last ten portions or so, with those that were not seen
  readonly countShares: readonly number[]; // of portions that were seen: with one piece, with two, … with `countMax` or more
}

const countMax = 12;

export const initialChuteModel: ChuteModel = {
  portionsLearnt: 0,
  missedShare: 0.02,
  meanPieces: 0,
  variance: 0,
  recentPieces: 0,
  countShares: Array.from({ length: countMax }, () => 0),
};

/** A new sensor is taken to miss one portion in fifty, with the weight of so many portions. Common practice, no source. */
const priorPortions = 50;
const portionsRememberedMax = 500;
/**
 * Dirt comes over a week, and what is usual must not follow it: the pieces of a portion are remembered for three weeks of portions. Bags and
 * seasons change them more slowly. Our choice.
 */
const countsRememberedMin = 300;
const countsRememberedDays = 21;
const portionsLearntMax = 10_000;
/**
 * Never less than one in 250: a learnt share is uncertain, and two misses in a row of a sensor that is dusty today
 * must not be proof. Never more than four in five: an empty portion after another one says little, but not nothing.
 */
const missedMin = 0.004;
const missedMax = 0.8;
/** The number of pieces says something once it is known from so many portions. */
const piecesKnownMin = 20;

/** A portion that fell, as far as is known. */
export function updateChuteModel(model: ChuteModel, count: number, portionsPerDay = 0): ChuteModel {
  const portionsLearnt = Math.min(model.portionsLearnt + 1, portionsLearntMax);
  const missedShare =
    model.missedShare +
    ((count === 0 ? 1 : 0) - model.missedShare) / (Math.min(portionsLearnt, portionsRememberedMax) + priorPortions);
  if (count === 0)
    return {
      portionsLearnt,
      missedShare,
      meanPieces: model.meanPieces,
      variance: model.variance,
      recentPieces: model.recentPieces,
      countShares: model.countShares,
    };
  const gain = 1 / Math.min(portionsLearnt, Math.max(countsRememberedMin, countsRememberedDays * portionsPerDay));
  const residual = count - model.meanPieces;
  const shares = model.countShares.map((share) => (1 - gain) * share);
  const bin = Math.min(count, countMax) - 1;
  shares[bin] = (shares[bin] ?? 0) + gain;
  return {
    portionsLearnt,
    missedShare,
    meanPieces: model.meanPieces + gain * residual,
    variance: (1 - gain) * (model.variance + gain * residual * residual),
    recentPieces: model.recentPieces,
    countShares: shares,
  };
}

/** Another count, whatever is wrong. */
export const updateRecentPieces = (model: ChuteModel, count: number): ChuteModel => ({
  ...model,
  recentPieces: movingMean(model.recentPieces, count, 0.1),
});

/** Fewer pieces are counted than usual: lately, usually; null where they aren't. */
export function fewerPieces({
  portionsLearnt,
  recentPieces,
  meanPieces,
}: ChuteModel): readonly [number, number] | null {
  return portionsLearnt >= piecesKnownMin && recentPieces < fewerShare * meanPieces ? [recentPieces, meanPieces] : null;
}
const fewerShare = 0.8;

export interface CountLogLikelihoods {
  readonly healthy: number;
  readonly nothing: number; // no food falls
  readonly shrunk: number; // the tray runs empty: a part of a portion falls
  readonly blind: number;
  readonly halfBlind: number; // the sensor misses many a portion
  readonly undercounting: number; // the sensor misses many a piece, or the tray holds it back
}

/**
 * ln of the likelihood of this count under each state of feed and sensor.
 * @param emptyShare how often a portion like this one looks empty on this feeder when nothing is wrong
 */
export function countLogLikelihoods(model: ChuteModel, count: number, emptyShare: number): CountLogLikelihoods {
  const missedShare = Math.min(Math.max(emptyShare, missedMin), missedMax);
  const likelihoods = countLikelihoods(model, count);
  if (count === 0) {
    return {
      healthy: Math.log(missedShare),
      nothing: Math.log(1 - strayShare),
      shrunk: Math.log(Math.min(missedShare + likelihoods.shrunk, 0.9)),
      blind: Math.log(1 - blindStrayShare),
      halfBlind: Math.log(Math.max(halfBlindMissedShare, missedShare)),
      undercounting: Math.log(Math.min(missedShare + likelihoods.few, 0.9)),
    };
  }
  // A moth, a drop, a crumb: one piece, seldom more.
  const stray = 0.5 ** Math.min(count, 30);
  return {
    healthy: Math.log((1 - missedShare) * likelihoods.usual),
    nothing: Math.log(strayShare * stray),
    shrunk: Math.log((1 - missedShare) * likelihoods.shrunk),
    blind: Math.log(blindStrayShare * stray),
    halfBlind: Math.log((1 - halfBlindMissedShare) * likelihoods.usual),
    undercounting: Math.log((1 - missedShare) * likelihoods.few),
  };
}

/** Where nothing falls something is counted all the same once in thirty portions. Common practice, no source. */
const strayShare = 0.03;
const blindStrayShare = 0.02;
const halfBlindMissedShare = 0.45;
/** A dusty sensor sees two pieces in five; the last portions of a tray that runs empty are a third or two of a full one. */
const undercountedShare = 0.4;
const shrunkShares = [0.3, 0.65] as const;
/** A count that was never seen so far is not impossible: two pieces stuck together, a portion of crumbs. */
const rareCountShare = 0.006;

function countLikelihoods(model: ChuteModel, count: number): { usual: number; shrunk: number; few: number } {
  if (model.portionsLearnt < piecesKnownMin) {
    return count === 0 ? { usual: 0, shrunk: 0.2, few: 0.2 } : { usual: 0.3, shrunk: 0.24, few: 0.24 };
  }
  if (model.meanPieces > 0.6 * countMax) return manyPiecesLikelihoods(model, count);
  const usual = count === 0 ? 0 : healthyLikelihood(model, count);
  const shrunk =
    0.5 * thinnedLikelihood(model, count, shrunkShares[0]) + 0.5 * thinnedLikelihood(model, count, shrunkShares[1]);
  return {
    usual,
    shrunk: Math.max(shrunk, rareCountShare),
    few: Math.max(thinnedLikelihood(model, count, undercountedShare), rareCountShare),
  };
}

/** As counted so far, smoothed a little by a bell curve, since rare counts are counted rarely. */
function healthyLikelihood({ portionsLearnt, countShares, meanPieces, variance }: ChuteModel, count: number): number {
  const bin = Math.min(count, countMax) - 1;
  const smoothed = normalDensity(count, meanPieces, Math.max(variance, 0.25));
  return Math.max((portionsLearnt * (countShares[bin] ?? 0) + 8 * smoothed) / (portionsLearnt + 8), rareCountShare);
}

/** The likelihood of this count where each piece is seen with this probability alone. */
function thinnedLikelihood(model: ChuteModel, count: number, pieceProbability: number): number {
  let sum = 0;
  let ways = pieceProbability ** count; // of `pieces` choose `count`, times the probability of each
  for (let pieces = Math.max(count, 1), n = count; pieces <= countMax; pieces += 1) {
    while (n < pieces) {
      n += 1;
      ways *= ((1 - pieceProbability) * n) / (n - count);
    }
    sum += ways * (model.countShares[pieces - 1] ?? 0);
  }
  return sum;
}

function manyPiecesLikelihoods(
  { meanPieces, variance }: ChuteModel,
  count: number,
): { usual: number; shrunk: number; few: number } {
  const usual = Math.max(variance, 0.15 * meanPieces);
  const rareShare = rareCountShare / 4;
  if (count === 0) return { usual: 0, shrunk: 0.1, few: 0.02 };
  return {
    usual: normalDensity(count, meanPieces, usual) + rareShare,
    shrunk: 0.9 * normalDensity(count, 0.5 * meanPieces, (0.25 * meanPieces) ** 2 + 0.5 * usual) + rareShare,
    few:
      0.98 *
        normalDensity(count, undercountedShare * meanPieces, (0.15 * meanPieces) ** 2 + undercountedShare * usual) +
      rareShare,
  };
}

const normalDensity = (value: number, mean: number, variance: number): number =>
  Math.exp((-0.5 * (value - mean) ** 2) / variance) / Math.sqrt(2 * Math.PI * variance);

/** The log likelihood by a signature; a tray that runs empty is computed apart. */
export function chuteLogLikelihood(logs: CountLogLikelihoods, chute: FaultSignature["chute"]): number {
  switch (chute) {
    case "counts":
      return logs.healthy;
    case "nothing":
      return logs.nothing;
    case "blind":
      return logs.blind;
    case "halfBlind":
      return logs.halfBlind;
    case "undercounting":
      return logs.undercounting;
  }
}
