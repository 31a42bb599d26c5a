import { normalDistribution, truncatedNormalInterval } from "./truncatedNormal.ts";

/** One of several explanations, with the normal distribution of the level by it. In grams. */
export interface LevelComponent {
  readonly probability: number; // those of all sum to 1
  readonly mean: number;
  readonly deviation: number;
}

/** The mean and the interval from 5 to 95 % of a mixture of normal distributions, each cut off at zero and at `max`. All in grams. */
export function mixtureInterval(
  components: readonly LevelComponent[],
  max: number,
): { readonly low: number; readonly mean: number; readonly high: number } {
  const parts = components.map(({ probability, mean, deviation }) => ({
    probability,
    distribution: truncatedDistribution(mean, deviation, max),
    ...truncatedNormalInterval(mean, deviation, max),
  }));
  const below = (x: number) => parts.reduce((sum, part) => sum + part.probability * part.distribution(x), 0);
  const [least, most] = [Math.min(...parts.map(({ low }) => low)), Math.max(...parts.map(({ high }) => high))];
  return {
    low: solve(below, 0.05, least, most),
    mean: parts.reduce((sum, part) => sum + part.probability * part.mean, 0),
    high: solve(below, 0.95, least, most),
  };
}

function truncatedDistribution(mean: number, deviation: number, max: number): (x: number) => number {
  const at = (x: number) => (deviation > 0 ? normalDistribution((x - mean) / deviation) : Number(x >= mean));
  const [below, inside] = [at(0), at(max) - at(0)];
  if (inside < 1e-4) return (x) => Number(x >= Math.min(Math.max(mean, 0), max));
  return (x) => (at(Math.min(Math.max(x, 0), max)) - below) / inside;
}

/** By halving: the quantiles of the whole lie between those of its parts. */
function solve(below: (x: number) => number, probability: number, from: number, to: number): number {
  let [low, high] = [from, to];
  while (high - low > 0.05) {
    const middle = (low + high) / 2;
    if (below(middle) < probability) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
