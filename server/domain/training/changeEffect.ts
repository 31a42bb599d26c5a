import { type Limits, shareLimits } from "../intervals.ts";

/**
 * Before and after a dated change: the difference of two shares with its 95 % interval by Newcombe 1998, Stat. Med. 17:873, method 10, from
 * Wilson's limits. Bouts of one day are alike, so each side is narrowed to as many trials as its days' spread is worth.
 */
export interface ShareDifference {
  readonly before: number;
  readonly after: number;
  readonly difference: number;
  readonly limits: Limits;
}

export interface DayShare {
  readonly successes: number;
  readonly trials: number;
}

/** @returns null where one side has no trial */
export function shareDifference(before: readonly DayShare[], after: readonly DayShare[]): ShareDifference | null {
  const [first, second] = [effectiveTrials(before), effectiveTrials(after)];
  if (first === null || second === null) return null;
  const limits = newcombeLimits(
    { share: second.share, limits: shareLimits(second.share * second.trials, second.trials) },
    { share: first.share, limits: shareLimits(first.share * first.trials, first.trials) },
  );
  return { before: first.share, after: second.share, difference: second.share - first.share, limits };
}

interface ShareWithLimits {
  readonly share: number;
  readonly limits: Limits;
}

/** Of a − b. */
export function newcombeLimits(a: ShareWithLimits, b: ShareWithLimits): Limits {
  const difference = a.share - b.share;
  return {
    low: difference - Math.hypot(a.share - a.limits.low, b.limits.high - b.share),
    high: difference + Math.hypot(a.limits.high - a.share, b.share - b.limits.low),
  };
}

/** The share over the days, and the trials that it is worth. */
export function effectiveTrials(days: readonly DayShare[]): { readonly share: number; readonly trials: number } | null {
  const trials = days.reduce((sum, day) => sum + day.trials, 0);
  if (trials === 0) return null;
  const share = days.reduce((sum, day) => sum + day.successes, 0) / trials;
  return { share, trials: Math.max(1, trials / designEffect(days)) };
}

/** How much more the days differ than chance has it, at least 1 (the design effect, Kish 1965, Survey Sampling). */
export function designEffect(days: readonly DayShare[]): number {
  const judged = days.filter((day) => day.trials > 0);
  const trials = judged.reduce((sum, day) => sum + day.trials, 0);
  const share = judged.reduce((sum, day) => sum + day.successes, 0) / trials;
  const chance = share * (1 - share);
  if (judged.length < 2 || chance === 0) return 1;
  const squares = judged.reduce((sum, day) => sum + (day.successes - day.trials * share) ** 2 / day.trials, 0);
  return Math.max(1, squares / (judged.length - 1) / chance);
}
