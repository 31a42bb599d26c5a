import { hashBits, hashedRandom } from "../domain/seededRandom.ts";

export { hashedRandom };

/** Seeded random numbers, passed in wherever the model needs them, so that the same seed gives the same simulation again. */
export interface RandomSource {
  /** Uniform in [0, 1). */
  uniform(): number;
  between(low: number, high: number): number;
  isTrueWith(probability: number): boolean;
  /** Gaussian, by Box and Muller 1958. */
  normal(mean: number, deviation: number): number;
  /** Waiting time of a Poisson process, by inversion. */
  exponential(mean: number): number;
}

export function seededRandom(seed: number): RandomSource {
  let state = hashBits(seed >>> 0);
  const uniform = () => {
    state = (state + 0x9e3779b9) >>> 0;
    return hashBits(state) / 2 ** 32;
  };
  return {
    uniform,
    between: (low, high) => low + (high - low) * uniform(),
    isTrueWith: (probability) => uniform() < probability,
    normal: (mean, deviation) =>
      mean + deviation * Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform()),
    exponential: (mean) => -mean * Math.log(1 - uniform()),
  };
}
