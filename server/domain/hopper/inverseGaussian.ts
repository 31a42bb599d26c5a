import { logMills, logNormalTail, logSqrtTwoPi } from "../normalTail.ts";

/**
 * First passage of a Brownian motion with drift: the time until a level that sinks by `drift` a day, give or take
 * `spread` per square root of a day, has sunk by `distance`. Tweedie 1957; Chhikara & Folks 1989.
 */
export interface FirstPassage {
  readonly distance: number; // > 0
  readonly drift: number; // > 0, per day
  readonly spread: number; // > 0, per square root of a day
}

/** Chance that the level has been reached within `time` days. */
export function firstPassageChance({ distance, drift, spread }: FirstPassage, time: number): number {
  if (time <= 0) return 0;
  const root = spread * Math.sqrt(time);
  const ahead = (drift * time - distance) / root;
  const beyond = (drift * time + distance) / root;
  // The second term, exp(2·drift·distance/spread²)·Q(beyond), is huge times tiny. Since beyond² − ahead² is exactly
  // 4·drift·distance/spread², adding logs leaves exp(−ahead²/2)·Mills(beyond)/√2π: nothing overflows, nothing cancels.
  const second = Math.exp(-0.5 * ahead * ahead + logMills(beyond) - logSqrtTwoPi);
  return Math.min(1, Math.exp(logNormalTail(-ahead)) + second);
}

/** The time in days by which the level has been reached with this chance. @throws RangeError outside 0 < chance < 1. */
export function firstPassageQuantile(passage: FirstPassage, chance: number): number {
  if (!(chance > 0 && chance < 1)) throw new RangeError(`expected a chance between 0 and 1, got ${chance}`);
  const mean = passage.distance / passage.drift;
  let low = mean;
  let high = mean;
  while (firstPassageChance(passage, low) > chance && low > mean * 1e-12) low /= 2;
  while (firstPassageChance(passage, high) < chance && high < mean * 1e12) high *= 2;
  // Bisection in the logarithm: times span decades, and the distribution's own slope may be nearly flat.
  while (high / low > 1 + 1e-9) {
    const middle = Math.sqrt(low * high);
    if (firstPassageChance(passage, middle) < chance) low = middle;
    else high = middle;
  }
  return Math.sqrt(low * high);
}
