import { normalDistribution } from "./truncatedNormal.ts";

/** One of several explanations, with the normal distribution of the level by it. In grams. */
export interface LevelComponent {
  readonly probability: number; // those of all sum to 1
  readonly mean: number;
  readonly deviation: number;
}

/**
 * The median and the interval from 5 to 95 % of a mixture of normal distributions. What lies below zero is at zero, what lies above `max` at
 * `max`. All in grams.
 */
export function mixtureInterval(
  components: readonly LevelComponent[],
  max: number,
): { readonly low: number; readonly median: number; readonly high: number } {
  const below = (x: number) =>
    components.reduce(
      (sum, { probability, mean, deviation }) => sum + probability * normalDistribution((x - mean) / deviation),
      0,
    );
  return { low: quantile(below, 0.05, max), median: quantile(below, 0.5, max), high: quantile(below, 0.95, max) };
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
