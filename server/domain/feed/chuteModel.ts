import type { FaultSignature } from "./faultSignatures.ts";

/** What a sound chute sensor is used to counting: how often nothing, and how many pieces when it does. */
export interface ChuteModel {
  readonly portionsLearnt: number; // portions learnt from, at most `portionsRemembered`
  readonly missedShare: number; // share of portions that fell and weren't seen
  readonly meanPieces: number; // mean count of a portion that was seen
  readonly variance: number; // of that count
  readonly countShares: readonly number[]; // of portions that were seen: with one piece, with two, … with `mostCounted` or more
}

const countMax = 12;

export const initialChuteModel: ChuteModel = {
  portionsLearnt: 0,
  missedShare: 0.02,
  meanPieces: 0,
  variance: 0,
  countShares: Array.from({ length: countMax }, () => 0),
};

/** A new sensor is taken to miss one portion in fifty, with the weight of so many portions. Common practice, no source. */
const priorPortions = 50;
const portionsRememberedMax = 500;
/**
 * Never less than one in 250: a learnt share is itself in doubt, and two misses in a row of a sensor that is dusty today
 * must not be proof. Never more than two in five: such a sensor is of no use.
 */
const missedMin = 0.004;
const missedMax = 0.4;
/** The number of pieces says something once it is known from so many portions. */
const piecesKnownFrom = 20;

/** A portion that went well, as far as anybody knows. */
export function updateChuteModel(habit: ChuteModel, count: number): ChuteModel {
  const learnt = Math.min(habit.portionsLearnt + 1, portionsRememberedMax);
  const missed = habit.missedShare + ((count === 0 ? 1 : 0) - habit.missedShare) / (learnt + priorPortions);
  if (count === 0)
    return {
      portionsLearnt: learnt,
      missedShare: missed,
      meanPieces: habit.meanPieces,
      variance: habit.variance,
      countShares: habit.countShares,
    };
  const gain = 1 / Math.min(learnt, 300);
  const off = count - habit.meanPieces;
  const shares = habit.countShares.map((share) => (1 - gain) * share);
  const place = Math.min(count, countMax) - 1;
  shares[place] = (shares[place] ?? 0) + gain;
  return {
    portionsLearnt: learnt,
    missedShare: missed,
    meanPieces: habit.meanPieces + gain * off,
    variance: (1 - gain) * (habit.variance + gain * off * off),
    countShares: shares,
  };
}

export interface CountLogLikelihoods {
  readonly healthy: number;
  readonly nothing: number; // no food falls
  readonly shrunk: number; // the tray runs dry: a part of a portion falls
  readonly blind: number;
  readonly halfBlind: number; // the sensor misses many a portion
  readonly undercounting: number; // the sensor misses many a piece
}

/** ln of how likely this count is, by what becomes of the portion and of the sensor. */
export function countLogLikelihoods(habit: ChuteModel, count: number): CountLogLikelihoods {
  const missed = Math.min(Math.max(habit.missedShare, missedMin), missedMax);
  const seen = countLikelihoods(habit, count);
  if (count === 0) {
    return {
      healthy: Math.log(missed),
      nothing: Math.log(1 - strays),
      shrunk: Math.log(Math.min(missed + seen.shrunk, 0.9)),
      blind: Math.log(1 - blindStrays),
      halfBlind: Math.log(Math.max(halfUnseen, missed)),
      undercounting: Math.log(Math.min(missed + seen.few, 0.9)),
    };
  }
  // A moth, a drop, a crumb: one piece, seldom more.
  const stray = 0.5 ** Math.min(count, 30);
  return {
    healthy: Math.log((1 - missed) * seen.usual),
    nothing: Math.log(strays * stray),
    shrunk: Math.log((1 - missed) * seen.shrunk),
    blind: Math.log(blindStrays * stray),
    halfBlind: Math.log((1 - halfUnseen) * seen.usual),
    undercounting: Math.log((1 - missed) * seen.few),
  };
}

/** Where nothing falls something is counted all the same once in thirty portions. Common practice, no source. */
const strays = 0.03;
const blindStrays = 0.02;
const halfUnseen = 0.45;
/** A dusty sensor sees two pieces in five; the last portions of a tray that runs dry are a third or two of a full one. */
const fewSeen = 0.4;
const shrunkTo = [0.3, 0.65] as const;
/** A count that was never seen so far is not impossible: two pieces stuck together, a portion of crumbs. */
const oddShare = 0.006;

function countLikelihoods(habit: ChuteModel, count: number): { usual: number; shrunk: number; few: number } {
  if (habit.portionsLearnt < piecesKnownFrom) {
    return count === 0 ? { usual: 0, shrunk: 0.2, few: 0.2 } : { usual: 0.3, shrunk: 0.24, few: 0.24 };
  }
  if (habit.meanPieces > 0.6 * countMax) return manyPiecesLikelihoods(habit, count);
  const usual = count === 0 ? 0 : usualShare(habit, count);
  const shrunk = 0.5 * thinned(habit, count, shrunkTo[0]) + 0.5 * thinned(habit, count, shrunkTo[1]);
  return { usual, shrunk: Math.max(shrunk, oddShare), few: Math.max(thinned(habit, count, fewSeen), oddShare) };
}

/** As counted so far, smoothed a little by a bell curve, since rare counts are counted rarely. */
function usualShare({ portionsLearnt, countShares, meanPieces, variance }: ChuteModel, count: number): number {
  const place = Math.min(count, countMax) - 1;
  const smooth = normalDensity(count, meanPieces, Math.max(variance, 0.25));
  return Math.max((portionsLearnt * (countShares[place] ?? 0) + 8 * smooth) / (portionsLearnt + 8), oddShare);
}

/** How often so many are counted where each piece is seen with this chance alone. */
function thinned(habit: ChuteModel, count: number, chance: number): number {
  let sum = 0;
  let ways = chance ** count; // of `pieces` choose `count`, times the chance of each
  for (let pieces = Math.max(count, 1), n = count; pieces <= countMax; pieces += 1) {
    while (n < pieces) {
      n += 1;
      ways *= ((1 - chance) * n) / (n - count);
    }
    sum += ways * (habit.countShares[pieces - 1] ?? 0);
  }
  return sum;
}

function manyPiecesLikelihoods(
  { meanPieces, variance }: ChuteModel,
  count: number,
): { usual: number; shrunk: number; few: number } {
  const usual = Math.max(variance, 0.15 * meanPieces);
  const odd = oddShare / 4;
  if (count === 0) return { usual: 0, shrunk: 0.1, few: 0.02 };
  return {
    usual: normalDensity(count, meanPieces, usual) + odd,
    shrunk: 0.9 * normalDensity(count, 0.5 * meanPieces, (0.25 * meanPieces) ** 2 + 0.5 * usual) + odd,
    few: 0.98 * normalDensity(count, fewSeen * meanPieces, (0.15 * meanPieces) ** 2 + fewSeen * usual) + odd,
  };
}

const normalDensity = (value: number, mean: number, variance: number): number =>
  Math.exp((-0.5 * (value - mean) ** 2) / variance) / Math.sqrt(2 * Math.PI * variance);

/** Which of these logs a fault calls for; a tray that runs dry is weighed apart. */
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
