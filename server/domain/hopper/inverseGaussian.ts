/**
 * First passage of a Brownian motion with drift: the time until a level that sinks by `drift` a day, give or take
 * `spread` per square root of a day, has sunk by `distance`. Tweedie 1957; Chhikara & Folks 1989.
 */
export interface FirstPassage {
  readonly distance: number; // > 0
  readonly drift: number; // > 0, per day
  readonly spread: number; // > 0, per square root of a day
}

const logSqrtTwoPi = 0.5 * Math.log(2 * Math.PI);

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

/** ln of the chance that a standard normal value exceeds x. Holds for any x: never −Infinity where the truth isn't. */
export function logNormalTail(x: number): number {
  if (x < -3) return Math.log1p(-Math.exp(logNormalTail(-x)));
  if (x > 3) return logMills(x) - 0.5 * x * x - logSqrtTwoPi;
  // Abramowitz & Stegun 26.2.11: P = 1/2 + φ(x)·(x + x³/3 + x⁵/(3·5) + …), good to all digits where the tail isn't small.
  let term = x;
  let sum = x;
  for (let odd = 3; Math.abs(term) > 1e-17 * Math.abs(sum); odd += 2) {
    term *= (x * x) / odd;
    sum += term;
  }
  return Math.log(0.5 - sum * Math.exp(-0.5 * x * x - logSqrtTwoPi));
}

/** ln of Mills' ratio, tail over density, by the continued fraction of Abramowitz & Stegun 26.2.14 for large x. */
function logMills(x: number): number {
  if (x <= 3) return logNormalTail(x) + 0.5 * x * x + logSqrtTwoPi;
  let fraction = x;
  for (let k = x > 6 ? 12 : 30; k >= 1; k -= 1) fraction = x + k / fraction; // enough for all digits from x = 3 on
  return -Math.log(fraction);
}
