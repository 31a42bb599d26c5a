import { hours, type Instant } from "../instant.ts";
import { localTimeOf } from "../localTime.ts";
import type { FeederSettings } from "../settings.ts";
import { brimGrams, type HopperState, weighedLevels } from "./level.ts";
import { snowBelow } from "./lidLoad.ts";
import { outsideTemperature, type ScaleTemperatures } from "./scaleTemperatures.ts";

/**
 * What made the scale rise, and stay there. The level can't rise without a refill, and people refill by day, up to the brim, and mostly say
 * so. Snow comes in the cold, by day and night, and weighs kilos on a small roof. "unclear": snow or an untold refill; only time tells.
 */
export type RiseCause =
  | { readonly kind: "food" }
  | { readonly kind: "load" }
  | { readonly kind: "unclear"; readonly foodProbability: number; readonly isRain: boolean };

export interface Rise {
  readonly grams: number;
  readonly from: Instant; // the last reading before it
  readonly at: Instant; // its first reading
  readonly isReported: boolean; // somebody has said that food was poured in
  readonly temperatures: ScaleTemperatures;
}

export function riseCause(hopper: HopperState, rise: Rise, settings: FeederSettings): RiseCause {
  if (rise.isReported) return { kind: "food" };
  if (!hasRoomFor(hopper, rise.grams, settings)) return { kind: "load" };
  const outside = outsideTemperature(rise.temperatures);
  const isWarm = outside === null || outside >= snowBelow;
  const { hopperCapacity } = settings;
  if (isWarm && rise.grams >= rainMax(hopperCapacity)) return { kind: "food" };
  if (isNight(rise, settings))
    return rise.grams < refillShareMin * hopperCapacity
      ? { kind: "load" }
      : { kind: "unclear", foodProbability: untoldAtNight, isRain: isWarm };
  // Snow, or rain on the lid and in the wood; a small refill that nobody tells of looks alike, until the rain has dried.
  const isLikely = rise.grams >= refillShareMin * hopperCapacity && hopper.estimate.level < lowShare * hopperCapacity;
  return { kind: "unclear", foodProbability: isLikely ? untoldWhenLow : untoldElse, isRain: isWarm };
}

/** Of the capacity. Nobody refills so little. Common practice, no source. */
const refillShareMin = 0.1;
/** g, that rain leaves on a small roof and in its wood. Common practice, no source. */
const rainMax = (capacity: number): number => Math.min(0.25 * capacity, Math.max(150, 0.1 * capacity));
/** Most refills are told, and they come when the food is low. Common practice, no source. */
const lowShare = 0.3;
const untoldWhenLow = 0.3;
const untoldElse = 0.05;
/** A load by night is food but seldom, and isn't taken for anything else for ever. */
const untoldAtNight = 0.03;

/** More than the hopper holds lies elsewhere for certain: so by all that the level may be off by, and not by the filter's own part of it. */
function hasRoomFor(hopper: HopperState, grams: number, settings: FeederSettings): boolean {
  const [{ mean, deviation }] = weighedLevels(hopper, settings);
  return mean + grams <= brimGrams(settings) + certainDeviations * deviation;
}
const certainDeviations = 3;

const gapMax = hours(1);

/** From nine in the evening to six in the morning hardly anybody refills. Common practice, no source. */
function isNight({ from, at }: Rise, settings: FeederSettings): boolean {
  if (at - from > gapMax) return false; // nobody knows when
  const hour = Number(localTimeOf(at, settings.zone).slice(0, 2));
  return hour >= 21 || hour < 6;
}
