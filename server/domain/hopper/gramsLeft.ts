import { isAssumed } from "../assumedSettings.ts";
import type { FeederSettings } from "../settings.ts";
import { firstPassageProbability } from "./inverseGaussian.ts";
import { normalDistributionNearly } from "./mixtureInterval.ts";
import { normalQuantile } from "./truncatedNormal.ts";

/**
 * How much these birds still eat until nothing comes any more, in grams as they are counted now: a mixture over what may be in the hopper.
 * Each amount gives an inverse Gaussian distribution of a first passage. What isn't known of the level is no diffusion: taken for one it would
 * draw the median of a nearly empty hopper to nothing.
 */
export type GramsLeft = readonly PossibleAmount[];

interface PossibleAmount {
  readonly probability: number;
  readonly grams: number; // below zero: more was given than there can have been
  readonly rateVariance: number; // of what is eaten until then, as a share of it squared
}

/** A normal distribution of what is left. */
export interface GramsLeftPart {
  readonly probability: number;
  readonly grams: number;
  readonly variance: number; // g², of level and portion
  readonly mayBeEmpty: boolean; // false: what lies below zero is left out
}

/** What lies in corners and never comes out, of the capacity. Common practice, no source. */
export const restShare = 0.025;
export const restGrams = (settings: FeederSettings): number =>
  isAssumed(settings, "hopperCapacity") ? settings.portionMass : restShare * settings.hopperCapacity;

/** Each part in so many equally probable amounts: enough for the tenths. */
const amountsEach = 8;

export const gramsLeft = (parts: readonly GramsLeftPart[], rateVarianceAt: (grams: number) => number): GramsLeft =>
  parts.flatMap(({ probability, grams, variance, mayBeEmpty }) => {
    const deviation = Math.sqrt(variance);
    const below = mayBeEmpty ? 0 : Math.min(normalDistributionNearly(-grams / deviation), mostBelow);
    return Array.from({ length: amountsEach }, (_, index) => {
      const amount = grams + deviation * normalQuantile(below + ((index + 0.5) / amountsEach) * (1 - below));
      return {
        probability: probability / amountsEach,
        grams: amount,
        rateVariance: amount > 0 ? rateVarianceAt(amount) : 0,
      };
    });
  });
const mostBelow = 1 - 1e-6;

/** Probability that no more than so many grams will still be eaten. */
export const probabilityEatenUp = (left: GramsLeft, eaten: number): number =>
  left.reduce((sum, { probability, grams, rateVariance }) => {
    if (grams <= 0) return sum + probability;
    const passage = { distance: grams, drift: 1, spread: Math.sqrt(rateVariance * grams) };
    return sum + probability * firstPassageProbability(passage, eaten);
  }, 0);

/** So many grams are eaten up with this probability; at most `max`. */
export function gramsLeftQuantile(left: GramsLeft, probability: number, max: number): number {
  if (probabilityEatenUp(left, 0) >= probability) return 0;
  if (probabilityEatenUp(left, max) <= probability) return max;
  let [low, high] = [0, max];
  while (high - low > 1e-3 * high) {
    const middle = (low + high) / 2;
    if (probabilityEatenUp(left, middle) < probability) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
