import { logSqrtTwoPi } from "../normalTail.ts";
import { normalDistribution } from "./truncatedNormal.ts";

/** One of several explanations, with the normal distribution of the level by it. In grams. */
export interface LevelComponent {
  readonly probability: number; // those of all sum to 1
  readonly mean: number;
  readonly deviation: number;
}

/**
 * The mean and the interval from 5 to 95 % of a mixture of normal distributions. What lies below zero is at zero, what lies above `max` at `max`.
 * All in grams.
 */
export function mixtureInterval(
  components: readonly LevelComponent[],
  max: number,
): { readonly low: number; readonly mean: number; readonly high: number } {
  const below = (x: number) =>
    components.reduce(
      (sum, { probability, mean, deviation }) => sum + probability * normalDistribution((x - mean) / deviation),
      0,
    );
  const [low, high] = [quantile(below, 0.05, max), quantile(below, 0.95, max)];
  const mean = components.reduce(
    (sum, each) => sum + each.probability * rectifiedMean(each.mean, each.deviation, max),
    0,
  );
  return { low, mean: Math.min(Math.max(mean, low), high), high };
}

/** Mean of a normal value that is held between zero and `max`. */
function rectifiedMean(mean: number, deviation: number, max: number): number {
  const excess = (z: number) => z * normalDistribution(z) + Math.exp(-0.5 * z * z - logSqrtTwoPi); // E[max(0, z + N(0, 1))]
  return deviation * (excess(mean / deviation) - excess((mean - max) / deviation));
}

/** By halving. */
function quantile(below: (x: number) => number, probability: number, max: number): number {
  if (below(0) >= probability) return 0;
  if (below(max) <= probability) return max;
  let [low, high] = [0, max];
  while (high - low > 0.05) {
    const middle = (low + high) / 2;
    if (below(middle) < probability) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
