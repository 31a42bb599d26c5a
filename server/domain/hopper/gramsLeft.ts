import { isAssumed } from "../assumedSettings.ts";
import type { FeederSettings } from "../settings.ts";
import { type FirstPassage, firstPassageProbability, firstPassageQuantile } from "./inverseGaussian.ts";
import { normalDistributionNearly } from "./mixtureInterval.ts";

/**
 * How much these birds still eat until nothing comes any more, in grams as they are counted now. One normal level gives the inverse Gaussian
 * distribution of a first passage; several histories give a mixture, of which some may be empty already.
 */
export type GramsLeft =
  | { readonly kind: "passage"; readonly passage: FirstPassage }
  | { readonly kind: "histories"; readonly parts: readonly GramsLeftPart[] };

export interface GramsLeftPart {
  readonly probability: number;
  readonly grams: number; // below zero: more was given than there can have been
  readonly variance: number; // g², of level and portion
  readonly rateVariance: number; // of what is eaten, as a share of it squared
}

/** What lies in corners and never comes out, of the capacity. Common practice, no source. */
export const restShare = 0.025;
export const restGrams = (settings: FeederSettings): number =>
  isAssumed(settings, "hopperCapacity") ? settings.portionMass : restShare * settings.hopperCapacity;

/** Probability that no more than so many grams will still be eaten. */
export function probabilityEatenUp(left: GramsLeft, eaten: number): number {
  if (left.kind === "passage") return firstPassageProbability(left.passage, eaten);
  return left.parts.reduce((sum, { probability, grams, variance, rateVariance }) => {
    const deviation = Math.sqrt(variance + rateVariance * eaten * eaten);
    return sum + probability * normalDistributionNearly((eaten - grams) / deviation);
  }, 0);
}

/** So many grams are eaten up with this probability; at most `max`. */
export function gramsLeftQuantile(left: GramsLeft, probability: number, max: number): number {
  if (left.kind === "passage") return firstPassageQuantile(left.passage, probability);
  if (probabilityEatenUp(left, 0) >= probability) return 0;
  if (probabilityEatenUp(left, max) <= probability) return max;
  let [low, high] = [0, max];
  while (high - low > 1e-4 * max) {
    const middle = (low + high) / 2;
    if (probabilityEatenUp(left, middle) < probability) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
