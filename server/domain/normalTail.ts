/**
 * The standard normal's tail in logarithms: as one minus the rest it is zero from about 8.3 standard deviations
 * on, and its logarithm minus infinity.
 */
export const logSqrtTwoPi = 0.5 * Math.log(2 * Math.PI);

/** ln of the probability that a standard normal value exceeds x. Holds for any x: never −Infinity where the truth isn't. */
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
export function logMills(x: number): number {
  if (x <= 3) return logNormalTail(x) + 0.5 * x * x + logSqrtTwoPi;
  let fraction = x;
  for (let k = x > 6 ? 12 : 30; k >= 1; k -= 1) fraction = x + k / fraction; // enough for all digits from x = 3 on
  return -Math.log(fraction);
}
