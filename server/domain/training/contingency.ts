import type { Instant, Span } from "../instant.ts";
import { minutes } from "../instant.ts";

/**
 * Contingency as ΔP = P(food | act) − P(food | no act) over bins of time (Allan 1980, Bull. Psychon. Soc. 15:147; for free operants Hammond 1980,
 * J. Exp. Anal. Behav. 34:297). The bin's width is a free parameter, so it stands beside the figure. Free food lowers it.
 */
export interface Contingency {
  readonly deltaP: number | null; // null where one of the rows is empty
  readonly foodAfterAct: number; // bins with an act and food
  readonly noFoodAfterAct: number;
  readonly foodWithoutAct: number;
  readonly noFoodWithoutAct: number;
  readonly bin: Span;
}

const contingencyBin = minutes(1);

/** @returns null where a row is empty */
export function deltaP(a: number, b: number, c: number, d: number): number | null {
  return a + b === 0 || c + d === 0 ? null : a / (a + b) - c / (c + d);
}

/** @param spans birds' daylight with reports, [from, to); acts and food outside of them don't count */
export function contingency(
  acts: readonly Instant[],
  food: readonly Instant[],
  spans: readonly { readonly from: Instant; readonly to: Instant }[],
  bin: Span = contingencyBin,
): Contingency {
  const binOf = (at: number) => Math.floor(at / bin);
  const [actBins, foodBins] = [new Set(acts.map(binOf)), new Set(food.map(binOf))];
  let [a, b, c, d] = [0, 0, 0, 0];
  for (const { from, to } of spans) {
    for (let index = binOf(from); index * bin < to; index += 1) {
      const hasFood = foodBins.has(index);
      const isRewarded = hasFood || foodBins.has(index + 1);
      if (actBins.has(index)) {
        if (isRewarded) a += 1;
        else b += 1;
      } else if (hasFood && !actBins.has(index - 1)) c += 1;
      else d += 1;
    }
  }
  return {
    deltaP: deltaP(a, b, c, d),
    foodAfterAct: a,
    noFoodAfterAct: b,
    foodWithoutAct: c,
    noFoodWithoutAct: d,
    bin,
  };
}
