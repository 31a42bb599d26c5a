import { memoize } from "../memoize.ts";
import { logNormalTail, logSqrtTwoPi } from "../normalTail.ts";

// Probabilities too small for a plain number: everything here is in logarithms.

/** The z, 0 or more, that a standard normal exceeds with the probability e^`logTail`, of at most a half. Newton's method. */
export const normalQuantileOfLog = memoize(64, String, computeQuantile);

function computeQuantile(logTail: number): number {
  let z = Math.sqrt(-2 * logTail);
  for (let iteration = 0; iteration < 8; iteration++) {
    const tail = logNormalTail(z);
    const hazard = Math.exp(-0.5 * z * z - logSqrtTwoPi - tail); // -d tail / dz
    const step = (tail - logTail) / hazard;
    z = Math.max(0, z + step);
    if (Math.abs(step) < 1e-9) break;
  }
  return z;
}

/** φ of Hayashibara et al. 2004 for gaps that are normal: -log10 of the probability of a gap longer than `gap`. */
export const phiNormal = (gap: number, mean: number, deviation: number): number =>
  -logNormalTail((gap - mean) / deviation) / Math.LN10;

/** The same where gaps are exponential. */
export const phiExponential = (gap: number, mean: number): number => gap / mean / Math.LN10;

/**
 * ln of the probability of no event in `exposure`, where `events` were seen in `observedExposure` before: the predictive probability under a
 * gamma-distributed rate, (b / (b + T))^a. The plug-in e^(-aT/b) is overconfident with few events.
 */
export const logGammaSilence = (events: number, observedExposure: number, exposure: number): number =>
  -events * Math.log1p(exposure / observedExposure);

/**
 * ln of the probability of `trials` misses in a row, where `hits` and `misses` were seen before: the predictive probability under
 * a beta-distributed share, Π (misses + i) / (hits + misses + i), i = 0 … trials - 1.
 */
export function logBetaSilence(hits: number, misses: number, trials: number): number {
  const factors = Math.min(trials, 200);
  let sum = 0;
  for (let i = 0; i < factors; i++) sum += Math.log((misses + i) / (hits + misses + i));
  // Past that many the product is a power law, Γ(n + m) / Γ(n + m + h) ~ n^-h: one step in place of thousands.
  if (trials > factors) sum -= hits * Math.log((hits + misses + trials) / (hits + misses + factors));
  return sum;
}
