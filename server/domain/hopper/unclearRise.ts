import { hours, type Instant, inHours, minutes, type Span } from "../instant.ts";
import type { HopperState, UnclearRise } from "./hopperState.ts";
import { addVariance } from "./levelFilter.ts";
import { snowBelow } from "./lidLoad.ts";
import { outsideTemperature, type ScaleTemperatures } from "./scaleTemperatures.ts";

/** g an hour and kelvin, at least: 2.5 mm a day and kelvin (Hock 2003, see lidLoad.ts) on a lid of 200 cm². */
const meltedAtLeast = 2;
/** Common practice, no source. */
const driedWithinHours = 12;
/** A word that comes so much later may still be of this refill. */
const lateWordMax = hours(48);

export const startUnclearRise = (
  before: UnclearRise | null,
  grams: number,
  foodProbability: number,
  isRain: boolean,
  at: Instant,
): UnclearRise => ({
  grams: Math.max(grams, before?.grams ?? 0),
  at,
  foodProbability: Math.max(foodProbability, before?.foodProbability ?? 0),
  isRain,
  meltableGrams: 0,
});

/** After a reading: what has gone from the lid was no food; what thaw has left there is. */
export function updateUnclearRise(hopper: HopperState, temperatures: ScaleTemperatures, passed: Span): HopperState {
  const rise = hopper.unclearRise;
  if (rise === null) return hopper;
  const grams = unclearGrams(hopper);
  // Whatever is gone fell off or melted: what is left of it is less likely food.
  const goneShare = 1 - grams / rise.grams;
  if (goneShare > goneShareMax) return { ...hopper, unclearRise: null };
  const outside = outsideTemperature(temperatures);
  const thaw = outside === null || outside < snowBelow ? 0 : meltedAtLeast * outside;
  const melted = (rise.isRain ? rise.grams / driedWithinHours : thaw) * inHours(passed);
  const meltableGrams = rise.meltableGrams + melted;
  if (meltableGrams > grams) return acceptAsFood(hopper, grams);
  return melted === 0 ? hopper : { ...hopper, unclearRise: { ...rise, meltableGrams } };
}
const goneShareMax = 0.3;

/** The keeper told of a refill. */
export function updateUnclearRiseByWord(hopper: HopperState, at: Instant): HopperState {
  const rise = hopper.unclearRise;
  if (rise === null || Math.abs(at - rise.at) > lateWordMax) return hopper;
  return acceptRiseAsFood(hopper);
}

/**
 * Whoever opens the lid throws the snow off, and what the scale shows then is food. Else it lies there as before. Which of them it was, the
 * keeper's word tells once the scale has been read after it.
 */
export function updateByToldLevel(hopper: HopperState, at: Instant): HopperState {
  const { toldLevel, estimate, pendingJump } = hopper;
  if (toldLevel === null || pendingJump !== null || at - toldLevel.at < minutes(10)) return hopper;
  const withLoad = estimate.level + estimate.lidLoad;
  const isGone = Math.abs(withLoad - toldLevel.grams) < Math.abs(estimate.level - toldLevel.grams);
  return { ...(isGone ? acceptAsFood(hopper, estimate.lidLoad) : hopper), toldLevel: null };
}

/** Food fell though the level had come to nothing: it can only be what the scale showed. */
export const acceptRiseAsFood = (hopper: HopperState): HopperState =>
  hopper.unclearRise === null ? hopper : acceptAsFood(hopper, unclearGrams(hopper));

/** What may be food, as far as it is still there. */
export const unclearGrams = ({ unclearRise, estimate }: HopperState): number =>
  unclearRise === null ? 0 : Math.min(unclearRise.grams, Math.max(estimate.lidLoad, 0));

function acceptAsFood(hopper: HopperState, grams: number): HopperState {
  const { estimate } = hopper;
  const moved = { ...estimate, level: estimate.level + grams, lidLoad: estimate.lidLoad - grams };
  const doubt = (0.05 * grams) ** 2;
  return { ...hopper, estimate: addVariance(moved, { level: doubt, lidLoad: doubt }), unclearRise: null };
}
