/**
 * The width of the 90 % interval, by how often it held the truth where truth showed: an empty hopper, a level that the keeper saw. It follows the
 * quantile of errors in own standard deviations, whatever their distribution (quantile tracker: Angelopoulos, Candès and Tibshirani,
 * "Conformal PID control", 2023, eq. 7; Gibbs and Candès 2021). Truth shows a few times a month, so it moves slowly and within bounds, from
 * the factor of a normal distribution: it mends a feeder that errs again and again, and isn't moved by a single surprise.
 */
export interface RealisedError {
  readonly factor: number; // own standard deviations on each side
}

const missedShare = 0.1;
const step = 0.15;
const factorMin = 1.4;
const factorMax = 2.6;

export const initialRealisedError: RealisedError = { factor: 1.6449 };

/** @param score the error in own standard deviations, of the interval as it was issued for that moment */
export function updateRealisedError({ factor }: RealisedError, score: number): RealisedError {
  const next = trackQuantile(factor, Math.abs(score) > factor, missedShare, step);
  return { factor: Math.min(Math.max(next, factorMin), factorMax) };
}

/** One step of the tracker: up by a miss, down a little by each hit. */
export const trackQuantile = (quantile: number, isMissed: boolean, share: number, by: number): number =>
  quantile + by * ((isMissed ? 1 : 0) - share);
