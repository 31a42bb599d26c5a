import { logNormalTail, logSqrtTwoPi } from "../normalTail.ts";

/** 5 % and 95 % of a normal distribution: from a mean to either end of its 90 % interval, in standard deviations. */
export const normalQuantile95 = 1.6449;

/**
 * The mean and the interval from 5 to 95 % of a normal distribution about `mean` that is cut off at zero and at `max`. All in
 * grams.
 */
export function truncatedNormalInterval(
  mean: number,
  deviation: number,
  max: number,
): { readonly low: number; readonly mean: number; readonly high: number } {
  const [low, high] = [mean - normalQuantile95 * deviation, mean + normalQuantile95 * deviation];
  if (low >= 0 && high <= max)
    return { low: clampWithin(low, max), mean: clampWithin(mean, max), high: clampWithin(high, max) };
  const a = -mean / deviation;
  const b = (max - mean) / deviation;
  const [below, belowMax] = [normalDistribution(a), normalDistribution(b)];
  const probabilityInside = belowMax - below;
  // So far out that nothing of it lies between: then it lies at the bound.
  if (probabilityInside < 1e-4)
    return { low: clampWithin(low, max), mean: clampWithin(mean, max), high: clampWithin(high, max) };
  const truncatedMean = mean + (deviation * (density(a) - density(b))) / probabilityInside;
  return {
    low: clampWithin(Math.min(mean + deviation * normalQuantile(below + 0.05 * probabilityInside), truncatedMean), max),
    mean: clampWithin(truncatedMean, max),
    high: clampWithin(
      Math.max(mean + deviation * normalQuantile(below + 0.95 * probabilityInside), truncatedMean),
      max,
    ),
  };
}

const clampWithin = (value: number, max: number): number => Math.min(Math.max(value, 0), max);
const density = (x: number): number => Math.exp(-0.5 * x * x - logSqrtTwoPi);
const normalDistribution = (x: number): number => Math.exp(logNormalTail(-x));

/** Abramowitz & Stegun 26.2.23, good to 0.00045: half a thousandth of a standard deviation. */
export function normalQuantile(probability: number): number {
  if (probability > 0.5) return -normalQuantile(1 - probability);
  const t = Math.sqrt(-2 * Math.log(Math.max(probability, 1e-12)));
  return -(t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308))));
}
