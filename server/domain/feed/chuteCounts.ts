import type { Look } from "./looks.ts";

/** What a sound chute sensor is used to counting: how often nothing, and how many pieces when it does. */
export interface ChuteHabit {
  readonly learnt: number; // portions learnt from, at most `portionsRemembered`
  readonly missed: number; // share of portions that fell and weren't seen
  readonly pieces: number; // mean count of a portion that was seen
  readonly variance: number; // of that count
  readonly shares: readonly number[]; // of portions that were seen: with one piece, with two, … with `mostCounted` or more
}

const mostCounted = 12;

export const unknownChute: ChuteHabit = {
  learnt: 0,
  missed: 0.02,
  pieces: 0,
  variance: 0,
  shares: Array.from({ length: mostCounted }, () => 0),
};

/** A new sensor is taken to miss one portion in fifty, with the weight of so many portions. Common practice, no source. */
const portionsSupposed = 50;
const portionsRemembered = 500;
/**
 * Never less than one in 250: a learnt share is itself in doubt, and two misses in a row of a sensor that is dusty today
 * must not be proof. Never more than two in five: such a sensor is of no use.
 */
const missedMin = 0.004;
const missedMax = 0.4;
/** The number of pieces says something once it is known from so many portions. */
const piecesKnownFrom = 20;

/** A portion that went well, as far as anybody knows. */
export function learntCount(habit: ChuteHabit, count: number): ChuteHabit {
  const learnt = Math.min(habit.learnt + 1, portionsRemembered);
  const missed = habit.missed + ((count === 0 ? 1 : 0) - habit.missed) / (learnt + portionsSupposed);
  if (count === 0) return { learnt, missed, pieces: habit.pieces, variance: habit.variance, shares: habit.shares };
  const gain = 1 / Math.min(learnt, 300);
  const off = count - habit.pieces;
  const shares = habit.shares.map((share) => (1 - gain) * share);
  const place = Math.min(count, mostCounted) - 1;
  shares[place] = (shares[place] ?? 0) + gain;
  return {
    learnt,
    missed,
    pieces: habit.pieces + gain * off,
    variance: (1 - gain) * (habit.variance + gain * off * off),
    shares,
  };
}

export interface CountLogs {
  readonly healthy: number;
  readonly nothing: number; // no food falls
  readonly shrunk: number; // the tray runs dry: a part of a portion falls
  readonly blind: number;
  readonly half: number; // the sensor misses many a portion
  readonly few: number; // the sensor misses many a piece
}

/** ln of how likely this count is, by what becomes of the portion and of the sensor. */
export function countLogs(habit: ChuteHabit, count: number): CountLogs {
  const missed = Math.min(Math.max(habit.missed, missedMin), missedMax);
  const seen = seenAs(habit, count);
  if (count === 0) {
    return {
      healthy: Math.log(missed),
      nothing: Math.log(1 - strays),
      shrunk: Math.log(Math.min(missed + seen.shrunk, 0.9)),
      blind: Math.log(1 - blindStrays),
      half: Math.log(Math.max(halfUnseen, missed)),
      few: Math.log(Math.min(missed + seen.few, 0.9)),
    };
  }
  // A moth, a drop, a crumb: one piece, seldom more.
  const stray = 0.5 ** Math.min(count, 30);
  return {
    healthy: Math.log((1 - missed) * seen.usual),
    nothing: Math.log(strays * stray),
    shrunk: Math.log((1 - missed) * seen.shrunk),
    blind: Math.log(blindStrays * stray),
    half: Math.log((1 - halfUnseen) * seen.usual),
    few: Math.log((1 - missed) * seen.few),
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

function seenAs(habit: ChuteHabit, count: number): { usual: number; shrunk: number; few: number } {
  if (habit.learnt < piecesKnownFrom) {
    return count === 0 ? { usual: 0, shrunk: 0.2, few: 0.2 } : { usual: 0.3, shrunk: 0.24, few: 0.24 };
  }
  if (habit.pieces > 0.6 * mostCounted) return seenOfMany(habit, count);
  const usual = count === 0 ? 0 : usualShare(habit, count);
  const shrunk = 0.5 * thinned(habit, count, shrunkTo[0]) + 0.5 * thinned(habit, count, shrunkTo[1]);
  return { usual, shrunk: Math.max(shrunk, oddShare), few: Math.max(thinned(habit, count, fewSeen), oddShare) };
}

/** As counted so far, smoothed a little by a bell curve, since rare counts are counted rarely. */
function usualShare({ learnt, shares, pieces, variance }: ChuteHabit, count: number): number {
  const place = Math.min(count, mostCounted) - 1;
  const smooth = normal(count, pieces, Math.max(variance, 0.25));
  return Math.max((learnt * (shares[place] ?? 0) + 8 * smooth) / (learnt + 8), oddShare);
}

/** How often so many are counted where each piece is seen with this chance alone. */
function thinned(habit: ChuteHabit, count: number, chance: number): number {
  let sum = 0;
  let ways = chance ** count; // of `pieces` choose `count`, times the chance of each
  for (let pieces = Math.max(count, 1), n = count; pieces <= mostCounted; pieces += 1) {
    while (n < pieces) {
      n += 1;
      ways *= ((1 - chance) * n) / (n - count);
    }
    sum += ways * (habit.shares[pieces - 1] ?? 0);
  }
  return sum;
}

function seenOfMany({ pieces, variance }: ChuteHabit, count: number): { usual: number; shrunk: number; few: number } {
  const usual = Math.max(variance, 0.15 * pieces);
  const odd = oddShare / 4;
  if (count === 0) return { usual: 0, shrunk: 0.1, few: 0.02 };
  return {
    usual: normal(count, pieces, usual) + odd,
    shrunk: 0.9 * normal(count, 0.5 * pieces, (0.25 * pieces) ** 2 + 0.5 * usual) + odd,
    few: 0.98 * normal(count, fewSeen * pieces, (0.15 * pieces) ** 2 + fewSeen * usual) + odd,
  };
}

const normal = (value: number, mean: number, variance: number): number =>
  Math.exp((-0.5 * (value - mean) ** 2) / variance) / Math.sqrt(2 * Math.PI * variance);

/** Which of these logs a fault calls for; a tray that runs dry is weighed apart. */
export function logFor(logs: CountLogs, chute: Look["chute"]): number {
  switch (chute) {
    case "counts":
      return logs.healthy;
    case "nothing":
      return logs.nothing;
    case "blind":
      return logs.blind;
    case "half":
      return logs.half;
    case "few":
      return logs.few;
  }
}
