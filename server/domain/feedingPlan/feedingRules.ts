import type { Span } from "../instant.ts";
import type { LocalTime } from "../localTime.ts";
import type { Celsius, Grams } from "../units.ts";
import type { Taper } from "./taper.ts";

/**
 * How a keeper wants the birds to be fed: free food at times that they can't predict, what a press and a deposit earn, and the limits
 * above all of it. The times of each day are made from these rules (dayPlan.ts); the feeder carries them out by itself.
 */
export interface FeedingRules {
  /** Draws the times, so that two feeders with the same rules don't feed at the same moments. */
  readonly seed: number;
  /** Null: no free food. */
  readonly free: FreeFood | null;
  /** Null: a press earns nothing. */
  readonly press: EarnedFood | null;
  /** Null: a deposit earns nothing. */
  readonly deposit: EarnedFood | null;
  /** The most in a local day, free and earned food together. */
  readonly ration: Grams;
  /** A deposit beyond the ration is paid all the same: a broken promise costs more than a gram. */
  readonly paysDepositsOverRation: boolean;
  /** Null: none. */
  readonly frostFloor: FrostFloor | null;
  /** In these hours of the day nothing is given free; what birds earn is paid all the same. */
  readonly quietTimes: readonly QuietTime[];
  /** Left out: nothing ends. */
  readonly taper?: Taper;
}

export interface FreeFood {
  /** What is given each time; never less than one portion. */
  readonly each: Grams;
  readonly schedule: FreeSchedule;
  /** No free food within this span after civil dawn, and before civil dusk. */
  readonly afterDawn: Span;
  readonly beforeDusk: Span;
}

/**
 * `variableTime`: gaps of a constant-probability schedule (Fleshler and Hoffman 1962), so that a wait tells nothing about how much
 * longer it will be. `jitter`: gaps anywhere in `mean` give or take `by`, each as likely as another.
 */
export type FreeSchedule =
  | { readonly kind: "variableTime"; readonly mean: Span }
  | { readonly kind: "jitter"; readonly mean: Span; readonly by: Span };

export interface EarnedFood {
  readonly ratio: Ratio;
  /** Acts that come sooner after the last paid one earn nothing. */
  readonly atLeastBetween: Span;
}

/** `fixed`: each `of`-th act is paid; 1 pays each one. `variable`: on average each `of`-th, without a pattern. */
export interface Ratio {
  readonly kind: "fixed" | "variable";
  readonly of: number;
}

/** In hard frost so much is free, whatever the ration says: food that keeps a bird alive is never a reward. */
export interface FrostFloor {
  readonly below: Celsius;
  readonly grams: Grams;
}

/** Of the yard's own clock; may reach over midnight. */
export interface QuietTime {
  readonly from: LocalTime;
  readonly to: LocalTime;
}
