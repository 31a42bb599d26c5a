import type { RandomSource } from "../../server/practice/random.ts";

/**
 * The best that can be done: the cumulative sum of log likelihood ratios with full knowledge of both laws. No test with as few
 * false alarms is sooner in the worst case (Lorden 1971; exactly so, Moustakides 1986).
 */
export class ExactCusum {
  readonly #limit: number;
  #sum = 0;

  constructor(limit: number) {
    this.#limit = limit;
  }

  /** As it stands; it goes on after an alarm. */
  get sum(): number {
    return this.#sum;
  }

  /** @returns whether this sample makes it alarm. */
  take(logRatio: number): boolean {
    this.#sum = Math.max(0, this.#sum + logRatio);
    return this.#sum >= this.#limit - 1e-9;
  }
}

/**
 * The limit at which the sum alarms once in `wanted` healthy samples, on average. Between two alarms the sum passes through cycles
 * that begin at 0, so the run length is E[cycle's length] / P(cycle ends in an alarm). That chance is far too small to be counted,
 * so it is weighed: under the faulty law the alarm is usual, and each counts exp(-sum) (Siegmund 1985, likelihood ratio identity).
 * @param healthy @param faulty draw one sample's log likelihood ratio, faulty over healthy, under either law.
 */
export function findLimit(
  wanted: number,
  healthy: (chance: RandomSource) => number,
  faulty: (chance: RandomSource) => number,
  chance: RandomSource,
  cycles = 4_000,
): number {
  // The same luck for every limit, so that the run length rises with it.
  const paths = Array.from({ length: cycles }, () => pathUntilHigh(faulty, chance));
  const idle = Array.from({ length: cycles }, () => cycleLength(healthy, chance));
  const cycle = idle.reduce((sum, length) => sum + length, 0) / cycles;
  const runLength = (limit: number) => {
    let weighed = 0;
    for (const path of paths) {
      const reached = path.find((sum) => sum >= limit);
      if (reached !== undefined) weighed += Math.exp(-reached);
    }
    return weighed === 0 ? Number.POSITIVE_INFINITY : cycle / (weighed / cycles);
  };
  let [low, high] = [0, highest];
  for (let step = 0; step < 40; step += 1) {
    const middle = (low + high) / 2;
    if (runLength(middle) < wanted) low = middle;
    else high = middle;
  }
  return high;
}

/** No feeder is so busy that its year needs a limit beyond this: e^40 samples. */
const highest = 40;

/** Sums of one cycle under the faulty law, each new maximum of it; [] once it has fallen to 0 before. */
function pathUntilHigh(faulty: (chance: RandomSource) => number, chance: RandomSource): number[] {
  const maxima: number[] = [];
  let sum = 0;
  let most = 0;
  for (let step = 0; step < 10_000 && sum < highest; step += 1) {
    sum += faulty(chance);
    if (sum <= 0) break;
    if (sum > most) {
      most = sum;
      maxima.push(sum);
    }
  }
  return maxima;
}

/** Healthy samples until the sum is back at 0. */
function cycleLength(healthy: (chance: RandomSource) => number, chance: RandomSource): number {
  let sum = 0;
  for (let length = 1; length < 100_000; length += 1) {
    sum += healthy(chance);
    if (sum <= 0) return length;
  }
  return 100_000;
}
