/**
 * Numbers that are the same for the same seed (mulberry32, public domain). Not the practice feeders' source: the invented winters,
 * birds and networks, at which limits were set, are made of these very streams.
 */
export function seededRandom(seed: number) {
  let state = seed >>> 0;
  const uniform = () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4_294_967_296;
  };
  return {
    uniform,
    chance: (share: number) => uniform() < share,
    /** A waiting time with the given mean. */
    exponential: (mean: number) => -mean * Math.log(1 - uniform()),
    /** Approximately normal: the sum of twelve uniform numbers. */
    normal: (mean: number, deviation: number) => {
      let sum = -6;
      for (let i = 0; i < 12; i++) sum += uniform();
      return mean + deviation * sum;
    },
  };
}
export type SeededRandom = ReturnType<typeof seededRandom>;
