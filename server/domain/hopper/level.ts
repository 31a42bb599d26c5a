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
import { scaleNoise, slopeDeviation, unlearntVariance, zeroOffsetVariance } from "./scaleModel.ts";
import { truncatedNormalInterval } from "./truncatedNormal.ts";

export { scaleDrift, scaleNoise } from "./scaleModel.ts";

/**
 * How much is in the hopper. Portions are subtracted by dead reckoning, a scale if there is one (weighing.ts) and what
 * the keeper enters (refill.ts) correct it, and both teach what a portion weighs. The level is unknown before one of them.
 */
export interface HopperState {
  readonly isKnown: boolean; // false until a scale or a refill has given a level; `estimate.level` means nothing until then
  readonly estimate: LevelEstimate;
  readonly portionSpreadVariance: number; // g², of a single portion around the mean portion
  readonly noiseVariance: number; // g², of a single reading, learnt
  readonly statedPortionGrams: number; // g, the portion weight entered by the keeper when learning began
  readonly portionsSinceWeighed: number;
  readonly lastPortionAt: Instant | null;
  readonly weighedAt: Instant | null; // the last reading that was accepted
  readonly levelMeasuredAt: Instant | null; // portions before then are already missing from the level
  readonly predictedAt: Instant | null; // up to then the scale's drift and the snow are predicted
  readonly lidLoad: LidLoadState;
  readonly cellCelsius: number | null; // of the load cell, which lags behind the thermometer; null without one
  readonly pendingJump: PendingJump | null;
  readonly foundRefill: { readonly grams: number; readonly at: Instant } | null; // the last refill that the scale found
  readonly refillReportedAt: Instant | null; // when the keeper last entered one
  readonly amountReportedAt: Instant | null; // when the keeper last entered how much was poured in
  readonly emptyPortions: number; // portions in a row of which the chute sensor saw nothing, as far as it isn't blind
  readonly emptySince: Instant | null;
  readonly appetite: Appetite;
}

/** A reading far off, not yet accepted. */
export interface PendingJump {
  readonly grams: number; // what the level would be
  readonly residual: number; // g, from what was expected
  readonly at: Instant; // of the first such reading
  readonly count: number; // of readings that agreed
}

/** A point and the interval that holds the truth nine times in ten. All within 0 and 120 % of the capacity. */
export interface HopperLevel {
  readonly grams: Grams;
  readonly low: Grams;
  readonly high: Grams;
}

/** One portion against the next: within 30 %, until their own scatter is seen. Common practice, no source. */
export const portionRelativeSpread = 0.3;
/** A keeper's "about 8 g" is right to within a third, nine times in ten. Common practice, no source. */
const statedPortionUncertainty = 0.19;
/** A usual portion that nobody has confirmed may as well be half or twice as much. Common practice, no source. */
const assumedPortionUncertainty = 0.5;
/** Food and wear change the mean portion slowly: 0.3 % a portion, so about 3 % over a day of a hundred. */
const portionDriftShare = 0.003;
/** The change is limited: the same food stays within about 6 %. Common practice, no source. */
const portionDriftShareMax = 0.06;
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
  const { level } = hopper.estimate;
  const scaleError = settings.sensors.scale ? unlearntVariance(level, settings) : 0;
  const deviation = Math.sqrt(levelVariance(hopper.estimate) + scaleError);
  const { low, mean, high } = truncatedNormalInterval(level, deviation, brimGrams(settings));
  return { grams: grams(mean), low: grams(low), high: grams(high) };
}

/** What one portion weighs as learnt so far, and how far single portions scatter around it. */
export const learntPortion = (hopper: HopperState): { readonly mean: Grams; readonly spread: Grams } => ({
  mean: grams(hopper.estimate.portion),
  spread: grams(Math.sqrt(hopper.portionSpreadVariance)),
});

/**
 * A portion was given. `chuteBlind`: the chute sensor is known to miss what falls, so a count of zero is no evidence.
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
  const current = hopper.statedPortionGrams === settings.portionMass ? hopper : restartPortion(hopper, settings);
  if (portion.cutShort === true) return updateByCutShortPortion(current, portion, settings);
  const didFall = didFoodFall(portion, settings, chuteBlind);
  if (didFall === false) return updateByEmptyPortion(current, portion, settings);
  const isCounted = current.isKnown && (current.levelMeasuredAt === null || at > current.levelMeasuredAt);
  const updated: HopperState = {
    isKnown: current.isKnown,
    estimate: isCounted ? lowerEstimate(current, didFall === true, settings) : current.estimate,
    portionSpreadVariance: current.portionSpreadVariance,
    noiseVariance: current.noiseVariance,
    statedPortionGrams: current.statedPortionGrams,
    portionsSinceWeighed: current.portionsSinceWeighed + (isCounted ? 1 : 0),
    lastPortionAt: current.lastPortionAt === null ? at : later(at, current.lastPortionAt),
    weighedAt: current.weighedAt,
    levelMeasuredAt: current.levelMeasuredAt,
    predictedAt: current.predictedAt,
    lidLoad: current.lidLoad,
    cellCelsius: current.cellCelsius,
    pendingJump: current.pendingJump,
    foundRefill: current.foundRefill,
    refillReportedAt: current.refillReportedAt,
    amountReportedAt: current.amountReportedAt,
    emptyPortions: didFall === true ? 0 : current.emptyPortions,
    emptySince: current.emptySince,
    appetite: updateAppetiteByMeal(current.appetite, current.estimate.portion, at, settings),
  };
  return isCounted ? updateEmptySince(updated, at, settings) : updated;
}

/** The motor didn't run, or nothing was seen to fall. */
const updateByEmptyPortion = (
  hopper: HopperState,
  { recordedAt, motorRan }: Portion & { readonly recordedAt: Instant },
  settings: FeederSettings,
): HopperState => ({
  ...hopper,
  emptyPortions: motorRan === 0 ? hopper.emptyPortions : hopper.emptyPortions + 1,
  appetite: updateAppetiteUntil(hopper.appetite, recordedAt, settings, isEatingImpossible(hopper)),
});

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
  const loweredEstimate = { ...hopper.estimate, level: hopper.estimate.level - portion / 2 };
  const estimate = clampLevel(
    addVariance(loweredEstimate, { level: portion ** 2 / 12 + hopper.portionSpreadVariance / 4 }),
    settings,
  );
  return updateEmptySince({ ...hopper, estimate, lastPortionAt, appetite }, recordedAt, settings);
}

/** All portions before `at` have been reported: the feeder's spool is empty. The appetite falls when no bird comes. */
export function updateHopperUntil(hopper: HopperState, at: Instant, settings: FeederSettings): HopperState {
  const appetite = updateAppetiteUntil(hopper.appetite, at, settings, isEatingImpossible(hopper));
  return appetite === hopper.appetite ? hopper : { ...hopper, appetite };
}

/** The hopper is empty, or gives nothing: that nobody eats then says nothing about the appetite. */
const isEatingImpossible = (hopper: HopperState): boolean =>
  hopper.emptySince !== null || hopper.emptyPortions >= emptyPortionsMin;
/** So many portions in a row without food are no coincidence. */
export const emptyPortionsMin = 3;

// --- portions ------------------------------------------------------------------------------------------------------

/** Null where no sensor can show it. */
function didFoodFall(portion: Portion, settings: FeederSettings, chuteBlind: boolean): boolean | null {
  if (portion.motorRan === 0) return false;
  if (!settings.sensors.chute || chuteBlind || portion.chuteCount === null) return null;
  return portion.chuteCount > 0;
}

function lowerEstimate(hopper: HopperState, didFall: boolean, settings: FeederSettings): LevelEstimate {
  const { estimate } = hopper;
  // A slow change doesn't add to an uncertainty that is large already.
  const isWellKnown = portionVariance(estimate) < (portionDriftShareMax * estimate.portion) ** 2;
  const portionDrift = isWellKnown ? (portionDriftShare * estimate.portion) ** 2 : 0;
  // What was seen to fall must have been there: without a scale this shows that a portion was estimated too heavy.
  const isScarce = didFall && !settings.sensors.scale && estimate.level < 0.5 * Math.sqrt(levelVariance(estimate));
  const truncated = isScarce ? truncateBelow(estimate, estimate.portion) : estimate;
  const predicted = predictByPortion(truncated, hopper.portionSpreadVariance, portionDrift);
  return clampLevel(isScarce ? clampPortion(predicted, settings) : predicted, settings);
}

const statedPortionVariance = (settings: FeederSettings) =>
  ((isAssumed(settings, "portionMass") ? assumedPortionUncertainty : statedPortionUncertainty) *
    settings.portionMass) **
  2;

/** The keeper changed the portion weight: what was learnt about the old one is cleared, the level isn't. */
const restartPortion = (hopper: HopperState, settings: FeederSettings): HopperState => ({
  ...hopper,
  estimate: resetPortion(hopper.estimate, settings.portionMass, statedPortionVariance(settings)),
  portionSpreadVariance: (portionRelativeSpread * settings.portionMass) ** 2,
  statedPortionGrams: settings.portionMass,
});

// --- bounds --------------------------------------------------------------------------------------------------------

/**
 * Heaped above the brim is possible, and a capacity is stated roughly; more isn't possible. A capacity that nobody has stated limits
 * nothing.
 */
export const brimGrams = (settings: FeederSettings): number =>
  isAssumed(settings, "hopperCapacity") ? largestHopperGrams : 1.2 * settings.hopperCapacity;
/** No home-built hopper holds more. Our choice. */
const largestHopperGrams = 20_000;

export function clampLevel(estimate: LevelEstimate, settings: FeederSettings): LevelEstimate {
  const level = Math.min(Math.max(estimate.level, 0), brimGrams(settings));
  return level === estimate.level ? estimate : { ...estimate, level };
}

export function clampPortion(estimate: LevelEstimate, settings: FeederSettings): LevelEstimate {
  const portion = Math.min(Math.max(estimate.portion, 0.1 * settings.portionMass), 10 * settings.portionMass);
  return portion === estimate.portion ? estimate : { ...estimate, portion };
}

/**
 * Empty when the whole interval lies below the limit. A scale's interval is wide for what it may be off by at zero, a few per cent of the hopper:
 * where the level itself lies below the limit, it is as good as empty. Filled again only well above it, so that the state doesn't flicker.
 */
export function updateEmptySince(hopper: HopperState, at: Instant, settings: FeederSettings): HopperState {
  const level = hopperLevel(hopper, settings);
  if (level === null) return hopper;
  const emptyBelow = emptyThreshold(settings);
  const lowest = settings.sensors.scale ? hopper.estimate.level : level.high;
  if (hopper.emptySince === null) return lowest <= emptyBelow ? { ...hopper, emptySince: at } : hopper;
  return level.grams > 2 * emptyBelow || level.low > emptyBelow ? { ...hopper, emptySince: null } : hopper;
}
