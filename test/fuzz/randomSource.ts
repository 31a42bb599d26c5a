/** Repeatable random numbers: each case has its own source, made of the run's seed and the case's number. */
export interface RandomSource {
  /** From 0 to below `end`, whole. */
  whole(end: number): number;
  oneOf<T>(among: readonly T[]): T;
  is(probability: number): boolean;
}

/** mulberry32: 32 bits of state, enough for choosing. */
export function randomSource(seed: number, number: number): RandomSource {
  let state = (Math.imul(seed, 0x9e3779b1) ^ Math.imul(number + 1, 0x85ebca6b)) >>> 0;
  const next = () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
  return {
    whole: (end) => Math.floor(next() * end),
    oneOf: (among) => among[Math.floor(next() * among.length)] as never,
    is: (probability) => next() < probability,
  };
}
