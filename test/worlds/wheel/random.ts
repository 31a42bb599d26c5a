/**
 * Random values that a seed repeats. Each purpose (weather, birds, line, ...) has a stream of its own, so that a planted fault leaves
 * the weather and the outages of the same seed as they were.
 */
export interface Random {
  next(): number; // from 0 up to, not including, 1
  between(low: number, high: number): number;
  /** Evenly over orders of magnitude: for sizes that differ by factors. */
  logBetween(low: number, high: number): number;
  whole(low: number, high: number): number; // both ends included
  chance(probability: number): boolean;
  pick<T>(choices: readonly [T, ...T[]]): T;
  normal(): number;
  exponential(mean: number): number;
  /** Log-normal with median 1. */
  factor(spread: number): number;
  gamma(shape: number): number; // with scale 1, so its mean is the shape
  poisson(mean: number): number;
}

export function randomFor(seed: number, purpose: string): Random {
  return randomOf(bitSource(seedState(seed, purpose)));
}

/**
 * xoshiro128**: Blackman and Vigna, "Scrambled linear pseudorandom number generators", ACM Transactions on Mathematical Software
 * 47 (2021). @returns whole numbers below 2^32
 */
export function bitSource([a, b, c, d]: readonly [number, number, number, number]): () => number {
  let [s0, s1, s2, s3] = [a, b, c, d];
  return () => {
    const result = Math.imul(rotateLeft(Math.imul(s1, 5), 7), 9) >>> 0;
    const shifted = s1 << 9;
    s2 ^= s0;
    s3 ^= s1;
    s1 ^= s2;
    s0 ^= s3;
    s2 ^= shifted;
    s3 = rotateLeft(s3, 11);
    return result;
  };
}

const rotateLeft = (bits: number, by: number): number => (bits << by) | (bits >>> (32 - by));

/** The purpose's FNV-1a hash (Fowler, Noll, Vo), mixed with the seed by the finalizer of MurmurHash3 (Appleby 2011). */
function seedState(seed: number, purpose: string): [number, number, number, number] {
  let hash = 0x811c9dc5;
  for (let index = 0; index < purpose.length; index += 1) {
    hash = Math.imul(hash ^ purpose.charCodeAt(index), 0x01000193);
  }
  const state = [1, 2, 3, 4].map((word) => {
    let mixed = hash ^ Math.imul((seed + word) | 0, 0x9e3779b9) ^ Math.trunc(seed / 2 ** 32);
    mixed = Math.imul(mixed ^ (mixed >>> 16), 0x85ebca6b);
    mixed = Math.imul(mixed ^ (mixed >>> 13), 0xc2b2ae35);
    return mixed ^ (mixed >>> 16);
  });
  return [(state[0] ?? 0) | 1, state[1] ?? 0, state[2] ?? 0, state[3] ?? 0]; // all zero would stay zero
}

function randomOf(bits: () => number): Random {
  const next = () => bits() / 2 ** 32;
  const normal = normalSource(next);
  return {
    next,
    between: (low, high) => low + (high - low) * next(),
    logBetween: (low, high) => low * (high / low) ** next(),
    whole: (low, high) => low + Math.floor((high - low + 1) * next()),
    chance: (probability) => next() < probability,
    pick: (choices) => choices[Math.floor(choices.length * next())] ?? choices[0],
    normal,
    exponential: (mean) => -mean * Math.log(1 - next()),
    factor: (spread) => Math.exp(spread * normal()),
    gamma: (shape) => gammaOf(shape, next, normal),
    poisson: (mean) => poissonOf(mean, next, normal),
  };
}

/** Polar method: Marsaglia and Bray, "A convenient method for generating normal variables", SIAM Review 6 (1964). */
function normalSource(next: () => number): () => number {
  let spare: number | null = null;
  return () => {
    if (spare !== null) {
      const kept = spare;
      spare = null;
      return kept;
    }
    let [x, y, square] = [0, 0, 0];
    while (square === 0 || square >= 1) {
      x = 2 * next() - 1;
      y = 2 * next() - 1;
      square = x * x + y * y;
    }
    const scale = Math.sqrt((-2 * Math.log(square)) / square);
    spare = y * scale;
    return x * scale;
  };
}

/** Marsaglia and Tsang, "A simple method for generating gamma variables", ACM TOMS 26 (2000). */
function gammaOf(shape: number, next: () => number, normal: () => number): number {
  if (shape < 1) return gammaOf(shape + 1, next, normal) * next() ** (1 / shape);
  const d = shape - 1 / 3;
  const c = 1 / Math.sqrt(9 * d);
  for (;;) {
    const x = normal();
    const v = (1 + c * x) ** 3;
    if (v > 0 && Math.log(1 - next()) < 0.5 * x * x + d - d * v + d * Math.log(v)) return d * v;
  }
}

/** By multiplication (Knuth, The Art of Computer Programming 2, 3.4.1); a large one as a rounded normal value. */
function poissonOf(mean: number, next: () => number, normal: () => number): number {
  if (mean <= 0) return 0;
  if (mean > 40) return Math.max(0, Math.round(mean + Math.sqrt(mean) * normal()));
  const limit = Math.exp(-mean);
  let count = 0;
  for (let product = next(); product > limit; product *= next()) count += 1;
  return count;
}
