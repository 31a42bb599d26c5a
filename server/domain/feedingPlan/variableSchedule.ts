import type { Span } from "../instant.ts";
import { hashedRandom } from "../seededRandom.ts";
import type { FreeSchedule } from "./feedingRules.ts";

/**
 * `count` gaps whose mean is `mean`, the shortest first, in milliseconds: whoever has waited so long has the same chance in the next
 * moment as at the begin. t_n = m [1 + ln N + (N-n) ln(N-n) - (N-n+1) ln(N-n+1)], with 0 ln 0 = 0 (Fleshler and Hoffman 1962, Journal
 * of the Experimental Analysis of Behavior 5:529-530).
 * @throws RangeError where `count` is no whole number from 1 on.
 */
export function constantProbabilityGaps(count: number, mean: Span): readonly Span[] {
  if (!Number.isInteger(count) || count < 1) throw new RangeError(`expected a count of gaps from 1 on, got ${count}`);
  const term = (left: number) => (left === 0 ? 0 : left * Math.log(left));
  return Array.from({ length: count }, (_, index) => {
    const left = count - index - 1;
    return (mean * (1 + Math.log(count) + term(left) - term(left + 1))) as Span;
  });
}

/** So many that the longest gap is 3.5 times the mean, and a pass through all of them takes about a day. */
const gapsInPass = 12;

/**
 * Endless gaps between free food, in milliseconds, always the same for the same seed and day. Of a variable-time schedule each pass
 * takes every gap once, in an order of its own: drawn with replacement, a day might get far more or less than was meant.
 */
export function* freeGaps(schedule: FreeSchedule, seed: number, day: number): Generator<Span> {
  const random = dayRandom(seed, day);
  if (schedule.kind === "jitter") {
    for (;;) yield (schedule.mean + (2 * random() - 1) * schedule.by) as Span;
  }
  const gaps = constantProbabilityGaps(gapsInPass, schedule.mean);
  for (;;) yield* shuffled(gaps, random);
}

/**
 * How many acts each portion takes, one after the other and then from the front again. A variable ratio has the same distribution as
 * the gaps of a variable-time schedule, in whole acts of which each is at least one, and exactly the mean that was asked for.
 */
export function ratioList(ratio: { readonly kind: "fixed" | "variable"; readonly of: number }, seed: number): number[] {
  if (ratio.kind === "fixed" || ratio.of === 1) return [ratio.of];
  // One act is always needed; only what goes beyond it varies.
  const beyond = constantProbabilityGaps(ratiosInPass, (ratio.of - 1) as Span);
  let [sum, given] = [0, 0];
  const whole = beyond.map((acts) => {
    sum += acts;
    const next = Math.round(sum) - given; // rounding the sums keeps the mean
    given += next;
    return 1 + next;
  });
  return shuffled(whole, dayRandom(seed, 0));
}

const ratiosInPass = 20;

function dayRandom(seed: number, day: number): () => number {
  let index = 0;
  return () => hashedRandom(seed, day, index++);
}

/** By Fisher and Yates: each order is as likely as another. */
function shuffled<Item>(items: readonly Item[], random: () => number): Item[] {
  const order = [...items];
  for (let last = order.length - 1; last > 0; last -= 1) {
    const chosen = Math.floor(random() * (last + 1));
    [order[last], order[chosen]] = [order[chosen] as Item, order[last] as Item];
  }
  return order;
}
