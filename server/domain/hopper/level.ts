import { isAssumed } from "../assumedSettings.ts";
import { type Instant, later } from "../instant.ts";
import type { Portion } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { type Grams, grams } from "../units.ts";
import { type Appetite, initialAppetite, updateAppetiteByMeal, updateAppetiteUntil } from "./appetite.ts";
import {
  addVariance,
  diagonalCovariance,
  type LevelEstimate,
  levelVariance,
  portionVariance,
  predictByPortion,
  resetPortion,
  truncateBelow,
} from "./levelFilter.ts";
import { initialLidLoad, type LidLoadState } from "./lidLoad.ts";
import { scaleNoise, slopeDeviation, zeroOffsetVariance } from "./scaleModel.ts";
import { truncatedNormalInterval } from "./truncatedNormal.ts";

export { scaleDrift, scaleNoise } from "./scaleModel.ts";

/**
 * How much is in the hopper. Portions are subtracted by dead reckoning, a scale if there is one (weighing.ts) and the
 * keeper's word (refill.ts) correct it, and both teach what a portion weighs. Nothing is claimed before one of them has said where to start.
 */
export interface HopperState {
  readonly isKnown: boolean; // false until a scale or a refill has told where to start; `belief.level` means nothing until then
  readonly estimate: LevelEstimate;
  readonly portionSpreadVariance: number; // g², of a single portion around the mean portion
  readonly noiseVariance: number; // g², of a single reading, learnt
  readonly statedPortionGrams: number; // g, what the keeper had said a portion weighs when learning began
  readonly portionsSinceWeighed: number;
  readonly lastPortionAt: Instant | null;
  readonly weighedAt: Instant | null; // the last reading that was believed
  readonly levelMeasuredAt: Instant | null; // the level as measured then holds all that fell before
  readonly predictedAt: Instant | null; // up to then the scale's wandering and the snow are reckoned
  readonly lidLoad: LidLoadState;
  readonly cellCelsius: number | null; // of the load cell, which lags behind the thermometer; null without one
  readonly pendingJump: PendingJump | null;
  readonly foundRefill: { readonly grams: number; readonly at: Instant } | null; // the last refill that the scale found
  readonly refillReportedAt: Instant | null; // when the keeper last told of one
  readonly amountReportedAt: Instant | null; // when the keeper last told how much was poured in
  readonly emptyPortions: number; // portions in a row of which the chute sensor saw nothing, as far as it isn't blind
  readonly emptySince: Instant | null;
  readonly appetite: Appetite;
}

/** A reading far off, not yet believed. */
export interface PendingJump {
  readonly grams: number; // what the level would be
  readonly residual: number; // g, from what was expected
  readonly at: Instant; // of the first such reading
  readonly count: number; // of readings that agreed
}

/** A point and the interval that holds the truth nine times in ten. All within 0 and 105 % of the capacity. */
export interface HopperLevel {
  readonly grams: Grams;
  readonly low: Grams;
  readonly high: Grams;
}

/** One portion against the next: within 30 %, until their own scatter is seen. Common practice, no source. */
export const portionRelativeSpread = 0.3;
/** A keeper's "about 8 g" is right within a third, nine times in ten. Common practice, no source. */
const statedPortionUncertainty = 0.19;
/** A usual portion that nobody has confirmed may as well be half or twice as much. Common practice, no source. */
const assumedPortionUncertainty = 0.5;
/** Food and wear change the mean portion slowly: 0.3 % a portion, so about 3 % over a day of a hundred. */
const portionWander = 0.003;
/** It doesn't wander off for good: the same food stays within about 6 %. Common practice, no source. */
const portionWanderMax = 0.06;
/** Below this the hopper gives no full portion any more: what is left lies in the corners. */
export const emptyThreshold = (settings: FeederSettings): Grams =>
  grams(Math.max(2 * settings.portionMass, 0.02 * settings.hopperCapacity));

export function initialHopper(settings: FeederSettings, now: Instant): HopperState {
  const portion = settings.portionMass;
  const slope = slopeDeviation(settings) ** 2;
  return {
    isKnown: false,
    estimate: {
      level: 0,
      portion,
      slope: 0,
      offset: 0,
      zeroDrift: 0,
      lidLoad: 0,
      covariance: diagonalCovariance({
        portion: statedPortionVariance(settings),
        slope,
        offset: zeroOffsetVariance(slope, true, settings),
      }),
    },
    portionSpreadVariance: (portionRelativeSpread * portion) ** 2,
    noiseVariance: scaleNoise(settings) ** 2,
    statedPortionGrams: portion,
    portionsSinceWeighed: 0,
    lastPortionAt: null,
    weighedAt: null,
    levelMeasuredAt: null,
    predictedAt: null,
    lidLoad: initialLidLoad,
    cellCelsius: null,
    pendingJump: null,
    foundRefill: null,
    refillReportedAt: null,
    amountReportedAt: null,
    emptyPortions: 0,
    emptySince: null,
    appetite: initialAppetite(now),
  };
}

export function hopperLevel(hopper: HopperState, settings: FeederSettings): HopperLevel | null {
  if (!hopper.isKnown) return null;
  const deviation = Math.sqrt(levelVariance(hopper.estimate));
  const { level } = hopper.estimate;
  const { low, mean, high } = truncatedNormalInterval(level, deviation, brimGrams(settings));
  return { grams: grams(mean), low: grams(low), high: grams(high) };
}

/** What one portion weighs as learnt so far, and how far single portions scatter around it. */
export const learntPortion = (hopper: HopperState): { readonly mean: Grams; readonly spread: Grams } => ({
  mean: grams(hopper.estimate.portion),
  spread: grams(Math.sqrt(hopper.portionSpreadVariance)),
});

/**
 * A portion was given. `chuteBlind`: the chute sensor is known to miss what falls, so its zero is no evidence.
 * A portion older than the last measurement is already missing from what was measured: it counts as eaten, but isn't
 * subtracted again.
 */
export function updateHopperByPortion(
  hopper: HopperState,
  portion: Portion & { readonly recordedAt: Instant },
  settings: FeederSettings,
  chuteBlind = false,
): HopperState {
  const at = portion.recordedAt;
  const learning = hopper.statedPortionGrams === settings.portionMass ? hopper : restartPortion(hopper, settings);
  if (portion.cutShort === true) return updateByCutShortPortion(learning, portion, settings);
  const seen = didFoodFall(portion, settings, chuteBlind);
  if (seen === false) {
    const dryRun = portion.motorRan === 0 ? learning.emptyPortions : learning.emptyPortions + 1;
    return {
      ...learning,
      emptyPortions: dryRun,
      appetite: updateAppetiteUntil(learning.appetite, at, settings, isEatingImpossible(learning)),
    };
  }
  const counts = learning.isKnown && (learning.levelMeasuredAt === null || at > learning.levelMeasuredAt);
  const next: HopperState = {
    isKnown: learning.isKnown,
    estimate: counts ? lowerEstimate(learning, seen === true, settings) : learning.estimate,
    portionSpreadVariance: learning.portionSpreadVariance,
    noiseVariance: learning.noiseVariance,
    statedPortionGrams: learning.statedPortionGrams,
    portionsSinceWeighed: counts ? learning.portionsSinceWeighed + 1 : learning.portionsSinceWeighed,
    lastPortionAt: learning.lastPortionAt === null || at > learning.lastPortionAt ? at : learning.lastPortionAt,
    weighedAt: learning.weighedAt,
    levelMeasuredAt: learning.levelMeasuredAt,
    predictedAt: learning.predictedAt,
    lidLoad: learning.lidLoad,
    cellCelsius: learning.cellCelsius,
    pendingJump: learning.pendingJump,
    foundRefill: learning.foundRefill,
    refillReportedAt: learning.refillReportedAt,
    amountReportedAt: learning.amountReportedAt,
    emptyPortions: seen === true ? 0 : learning.emptyPortions,
    emptySince: learning.emptySince,
    appetite: updateAppetiteByMeal(learning.appetite, learning.estimate.portion, at, settings),
  };
  return counts ? updateEmptySince(next, at, settings) : next;
}

/**
 * A portion was cut short: anything from nothing to a whole one fell, all alike likely. Half of one is taken off, with the
 * variance of that (a twelfth of the square of its width), and nothing is learnt about what a portion weighs.
 */
function updateByCutShortPortion(
  hopper: HopperState,
  { recordedAt }: { readonly recordedAt: Instant },
  settings: FeederSettings,
): HopperState {
  const { portion } = hopper.estimate;
  const lastPortionAt = hopper.lastPortionAt === null ? recordedAt : later(recordedAt, hopper.lastPortionAt);
  const appetite = updateAppetiteByMeal(hopper.appetite, grams(portion / 2), recordedAt, settings);
  if (!hopper.isKnown || (hopper.levelMeasuredAt !== null && recordedAt <= hopper.levelMeasuredAt))
    return { ...hopper, lastPortionAt, appetite };
  const lower = { ...hopper.estimate, level: hopper.estimate.level - portion / 2 };
  const belief = clampLevel(
    addVariance(lower, { level: portion ** 2 / 12 + hopper.portionSpreadVariance / 4 }),
    settings,
  );
  return updateEmptySince({ ...hopper, estimate: belief, lastPortionAt, appetite }, recordedAt, settings);
}

/** All that fell before `at` has been told: the feeder's spool is empty. Lets the appetite fall when nobody comes. */
export function updateHopperUntil(hopper: HopperState, at: Instant, settings: FeederSettings): HopperState {
  const appetite = updateAppetiteUntil(hopper.appetite, at, settings, isEatingImpossible(hopper));
  return appetite === hopper.appetite ? hopper : { ...hopper, appetite };
}

/** The hopper is empty, or stands still as if it were: that nobody eats then says nothing about hunger. */
const isEatingImpossible = (hopper: HopperState): boolean =>
  hopper.emptySince !== null || hopper.emptyPortions >= emptyPortionsMin;
/** So many portions in a row that gave nothing are no chance any more. */
export const emptyPortionsMin = 3;

// --- portions ------------------------------------------------------------------------------------------------------

/** Null where no sensor tells. */
function didFoodFall(portion: Portion, settings: FeederSettings, chuteBlind: boolean): boolean | null {
  if (portion.motorRan === 0) return false;
  if (!settings.sensors.chute || chuteBlind || portion.chuteCount === null) return null;
  return portion.chuteCount > 0;
}

function lowerEstimate(hopper: HopperState, proven: boolean, settings: FeederSettings): LevelEstimate {
  const { estimate } = hopper;
  // What isn't known well can't become much less known by changing slowly.
  const known = portionVariance(estimate) < (portionWanderMax * estimate.portion) ** 2;
  const wander = known ? (portionWander * estimate.portion) ** 2 : 0;
  // What was seen to fall must have been there: by reckoning alone a portion that was taken for too heavy shows in this.
  const scarce = proven && !settings.sensors.scale && estimate.level < 0.5 * Math.sqrt(levelVariance(estimate));
  const held = scarce ? truncateBelow(estimate, estimate.portion) : estimate;
  const after = predictByPortion(held, hopper.portionSpreadVariance, wander);
  return clampLevel(scarce ? clampPortion(after, settings) : after, settings);
}

const statedPortionVariance = (settings: FeederSettings) =>
  ((isAssumed(settings, "portionMass") ? assumedPortionUncertainty : statedPortionUncertainty) *
    settings.portionMass) **
  2;

/** The keeper changed the portion: what was learnt about the old one is void, the level isn't. */
const restartPortion = (hopper: HopperState, settings: FeederSettings): HopperState => ({
  ...hopper,
  estimate: resetPortion(hopper.estimate, settings.portionMass, statedPortionVariance(settings)),
  portionSpreadVariance: (portionRelativeSpread * settings.portionMass) ** 2,
  statedPortionGrams: settings.portionMass,
});

// --- bounds --------------------------------------------------------------------------------------------------------

/** Heaped a little above the brim is possible, more isn't. */
export const brimGrams = (settings: FeederSettings): number => 1.05 * settings.hopperCapacity;

export function clampLevel(belief: LevelEstimate, settings: FeederSettings): LevelEstimate {
  const level = Math.min(Math.max(belief.level, 0), brimGrams(settings));
  return level === belief.level ? belief : { ...belief, level };
}

export function clampPortion(belief: LevelEstimate, settings: FeederSettings): LevelEstimate {
  const portion = Math.min(Math.max(belief.portion, 0.1 * settings.portionMass), 10 * settings.portionMass);
  return portion === belief.portion ? belief : { ...belief, portion };
}

/** Empty when the whole interval lies below the mark; filled again only well above it, so that the border doesn't flicker. */
export function updateEmptySince(hopper: HopperState, at: Instant, settings: FeederSettings): HopperState {
  const level = hopperLevel(hopper, settings);
  if (level === null) return hopper;
  const mark = emptyThreshold(settings);
  if (hopper.emptySince === null) return level.high <= mark ? { ...hopper, emptySince: at } : hopper;
  return level.grams > 2 * mark || level.low > mark ? { ...hopper, emptySince: null } : hopper;
}
