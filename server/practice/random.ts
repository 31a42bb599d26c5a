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

/**
 * Uniform in [0, 1), always the same for the same seed and place in a series: weather needs no memory, so that any
 * hour can be computed in any order.
 */
export const hashedRandom = (seed: number, series: number, index: number): number =>
  hashBits((hashBits((seed ^ Math.imul(series, 0x85ebca6b)) >>> 0) + Math.imul(index, 0x9e3779b9)) >>> 0) / 2 ** 32;

/**
 * A 32-bit finalizer: each input bit changes about half of the output bits. Constants from memory; test/practice/world.test.ts
 * checks the spread.
 */
function hashBits(bits: number): number {
  let mixed = bits;
  mixed = Math.imul(mixed ^ (mixed >>> 16), 0x21f0aaad);
  mixed = Math.imul(mixed ^ (mixed >>> 15), 0x735a2d97);
  return (mixed ^ (mixed >>> 15)) >>> 0;
}
