import { hours, type Instant, inHours, minutes, type Span } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import type { HopperState, ToldLevel, UnclearRise } from "./hopperState.ts";
import { clampLidLoad, moveToLevel, updateByMeasurement } from "./levelFilter.ts";
import { snowBelow } from "./lidLoad.ts";
import { outsideTemperature, type ScaleTemperatures } from "./scaleTemperatures.ts";

/** g an hour and kelvin, at least: 2.5 mm a day and kelvin (Hock 2003, see lidLoad.ts) on a lid of 200 cm². */
const meltedAtLeast = 2;
/** Common practice, no source. */
const driedWithinHours = 12;
/** A word that comes so much later may still be of this refill. */
const lateWordMax = hours(48);
/** A refill reported within this time of a rise that the scale found is the same refill. */
export const sameRefillSpan = minutes(30);

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

/** The keeper told of a refill. Where a rise just came, it is this one; else another may follow, which the scale will show (`updateByToldLevel`). */
export function updateUnclearRiseByWord(hopper: HopperState, at: Instant): HopperState {
  const rise = hopper.unclearRise;
  return rise !== null && Math.abs(at - rise.at) <= sameRefillSpan ? acceptRiseAsFood(hopper) : hopper;
}

/**
 * Whoever opens the lid throws the snow off, and what the scale shows then is food. Else it lies there as before. Which of them it was, the
 * keeper's word tells once the scale has been read after it. Where no food came by then, the word is late, and of what rose before.
 */
export function updateByToldLevel(hopper: HopperState, at: Instant, { hopperCapacity }: FeederSettings): HopperState {
  const { toldLevel, estimate, pendingJump, unclearRise, foundRefill } = hopper;
  if (toldLevel === null || pendingJump !== null || at - toldLevel.at < minutes(10)) return hopper;
  const told = { ...hopper, toldLevel: null };
  if (unclearRise !== null) {
    const hasCome = foundRefill !== null && toldLevel.at - foundRefill.at <= sameRefillSpan;
    const isOther = hasCome || Math.abs(toldLevel.at - unclearRise.at) > lateWordMax;
    return isOther ? told : compareWithWord(acceptRiseAsFood(told), toldLevel);
  }
  if (estimate.lidLoad < loadShareMin * hopperCapacity) return told;
  const withLoad = estimate.level + estimate.lidLoad;
  const isGone = Math.abs(withLoad - toldLevel.grams) < Math.abs(estimate.level - toldLevel.grams);
  return isGone ? compareWithWord(acceptAsFood(told, estimate.lidLoad), toldLevel) : told;
}

/** Of the capacity: less on the lid makes no difference. */
const loadShareMin = 0.05;

/** How much of a rise was food, and how much the snow that lies there still. The same eye errs the same way each time, so a word counts for half. */
function compareWithWord(hopper: HopperState, { grams, deviation }: ToldLevel): HopperState {
  const variance = 2 * deviation * deviation;
  return { ...hopper, estimate: clampLidLoad(updateByMeasurement(hopper.estimate, grams, variance)) };
}

/** Food fell though the level had come to nothing: it can only be what the scale showed. */
export const acceptRiseAsFood = (hopper: HopperState): HopperState =>
  hopper.unclearRise === null ? hopper : acceptAsFood(hopper, unclearGrams(hopper));

/** What may be food, as far as it is still there. */
export const unclearGrams = ({ unclearRise, estimate }: HopperState): number =>
  unclearRise === null ? 0 : Math.min(unclearRise.grams, Math.max(estimate.lidLoad, 0));

function acceptAsFood(hopper: HopperState, grams: number): HopperState {
  const { estimate } = hopper;
  const moved = moveToLevel(estimate, grams, (movedDeviation * grams) ** 2);
  return { ...hopper, estimate: moved, unclearRise: null };
}
/** Of what rose: so much of it may be something else. Common practice, no source. */
const movedDeviation = 0.15;
