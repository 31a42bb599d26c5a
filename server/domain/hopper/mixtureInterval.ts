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
      (sum, { probability, mean, deviation }) => sum + probability * normalDistributionNearly((x - mean) / deviation),
      0,
    );
  return { low: quantile(below, 0.05, max), median: quantile(below, 0.5, max), high: quantile(below, 0.95, max) };
}

/** By halving, in tenths of a gram, as levels are kept elsewhere. */
function quantile(below: (x: number) => number, probability: number, max: number): number {
  if (below(0) >= probability) return 0;
  if (below(max) <= probability) return max;
  let [low, high] = [0, max];
  while (high - low > 0.02) {
    const middle = (low + high) / 2;
    if (below(middle) < probability) low = middle;
    else high = middle;
  }
  return Math.round(5 * (low + high)) / 10;
}

/** Abramowitz & Stegun 26.2.17, good to 8e-8: asked hundreds of times for one interval. */
export function normalDistributionNearly(x: number): number {
  const z = Math.abs(x);
  if (z > 9) return x > 0 ? 1 : 0;
  const t = 1 / (1 + 0.2316419 * z);
  const series = t * (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  const tail = 0.3989422804014327 * Math.exp(-0.5 * z * z) * series;
  return x > 0 ? 1 - tail : tail;
}
