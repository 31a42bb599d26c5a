import { isAssumed } from "../assumedSettings.ts";
import { hours, type Instant, later } from "../instant.ts";
import { memoizeLatest } from "../memoizeLatest.ts";
import type { Portion } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { type Grams, grams } from "../units.ts";
import { initialAppetite, updateAppetiteByMeal, updateAppetiteUntil } from "./appetite.ts";
import { copyHopper, type HopperState, type LevelBeforeDry } from "./hopperState.ts";
import {
  addVariance,
  diagonalCovariance,
  type LevelEstimate,
  levelVariance,
  portionVariance,
  predictByPortion,
  resetPortion,
  updateByMeasurement,
} from "./levelFilter.ts";
import { type Hypotheses, levelVarianceOf } from "./levelHypotheses.ts";
import { initialLidLoad } from "./lidLoad.ts";
import { type LevelComponent, mixtureInterval } from "./mixtureInterval.ts";
import { initialRealisedError, updateRealisedError } from "./realisedError.ts";
import { scaleNoise, slopeDeviation, unlearntVariance, zeroOffsetVariance } from "./scaleModel.ts";
import { normalQuantile95, truncatedNormalInterval } from "./truncatedNormal.ts";
import { acceptRiseAsFood, unclearGrams } from "./unclearRise.ts";
import {
  cutShortUnseen,
  dryProbabilityOf,
  dryScore,
  dryUnseen,
  isUnseen,
  lowerUnseen,
  standingHypotheses,
} from "./unseenLevel.ts";

export type { HopperState } from "./hopperState.ts";
export { scaleDrift, scaleNoise } from "./scaleModel.ts";

/** A point and the interval that holds the truth nine times in ten. All within 0 and 120 % of the capacity. */
export interface HopperLevel {
  readonly grams: Grams;
  readonly low: Grams;
  readonly high: Grams;
  /** What was believed before portions came up empty, where those are all that it was changed by since. */
  readonly beforeDry?: LevelBeforeDry;
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
  return {
    ...nothingSeen,
    estimate: initialEstimate(settings),
    portionSpreadVariance: (portionRelativeSpread * portion) ** 2,
    noiseVariance: scaleNoise(settings) ** 2,
    statedPortionGrams: statedPortion(settings),
    appetite: initialAppetite(now),
  };
}

function initialEstimate(settings: FeederSettings): LevelEstimate {
  const slope = slopeDeviation(settings) ** 2;
  const portion = statedPortionVariance(settings);
  const covariance = diagonalCovariance({ portion, slope, offset: zeroOffsetVariance(slope, true, settings) });
  return { level: 0, portion: settings.portionMass, slope: 0, offset: 0, zeroDrift: 0, lidLoad: 0, covariance };
}

/** What no reading, portion or word has told yet. */
const nothingSeen = {
  isKnown: false,
  hypotheses: [],
  portionsSinceWeighed: 0,
  lastPortionAt: null,
  weighedAt: null,
  levelMeasuredAt: null,
  predictedAt: null,
  lidLoad: initialLidLoad,
  cellCelsius: null,
  pendingJump: null,
  unclearRise: null,
  foundRefill: null,
  refillReportedAt: null,
  toldLevel: null,
  lastWord: null,
  unweighedWord: null,
  realisedError: initialRealisedError,
  scoreBeforeDry: null,
  levelBeforeDry: null,
  emptyPortions: 0,
  fellSinceWeighed: false,
  emptySince: null,
} as const satisfies Partial<HopperState>;

/** Asked several times a step. */
export const hopperLevel = memoizeLatest(computeHopperLevel);

function computeHopperLevel(hopper: HopperState, settings: FeederSettings): HopperLevel | null {
  if (!hopper.isKnown) return null;
  const [low, point, high] = levelInterval(hopper, settings);
  // Less than the last portions may as well be nothing.
  const level = { grams: grams(point), low: grams(low <= emptyThreshold(settings) ? 0 : low), high: grams(high) };
  return hopper.levelBeforeDry === null ? level : { ...level, beforeDry: hopper.levelBeforeDry };
}

/** Low, point and high in grams. */
type Interval = readonly [number, number, number];

function levelInterval(hopper: HopperState, settings: FeederSettings): Interval {
  const brim = brimGrams(settings);
  if (hopper.hypotheses.length > 0)
    return hypothesesInterval(standingHypotheses(hopper.hypotheses, hopper.fellSinceWeighed), wideningOf(hopper), brim);
  const [likely, other] = weighedLevels(hopper, settings);
  if (other === undefined) {
    const { low, mean, high } = truncatedNormalInterval(likely.mean, likely.deviation, brim);
    return [low, mean, high];
  }
  const { low, median, high } = mixtureInterval([likely, other], brim);
  return [low, median, high];
}

/** By how much the standard deviations have to be multiplied for what was realised. */
export const wideningOf = ({ realisedError }: HopperState): number => realisedError.factor / normalQuantile95;

/** The level by the scale, with all that is known of its errors; and the one if what it rose by was food, while that is unclear. */
export function weighedLevels(
  hopper: HopperState,
  settings: FeederSettings,
): readonly [LevelComponent, ...LevelComponent[]] {
  const { unclearRise, estimate } = hopper;
  const scaleError = settings.sensors.scale ? unlearntVariance(estimate, settings) : 0;
  const deviation = wideningOf(hopper) * Math.sqrt(levelVariance(estimate) + scaleError);
  if (unclearRise === null) return [{ probability: 1, mean: estimate.level, deviation }];
  const { foodProbability } = unclearRise;
  return [
    { probability: 1 - foodProbability, mean: estimate.level, deviation },
    { probability: foodProbability, mean: estimate.level + unclearGrams(hopper), deviation },
  ];
}

/** Histories change with a portion and a word only, and the level is asked for at each report. */
const hypothesesInterval = memoizeLatest((hypotheses: Hypotheses, widening: number, brim: number): Interval => {
  const components = hypotheses.map((each) => ({
    probability: each.probability,
    mean: each.level,
    deviation: widening * Math.sqrt(levelVarianceOf(each)),
  }));
  const { low, median, high } = mixtureInterval(components, brim);
  return [low, median, high];
});

/** What one portion weighs as learnt so far, and how far single portions scatter around it. */
export const learntPortion = (hopper: HopperState): { readonly mean: Grams; readonly spread: Grams } => ({
  mean: grams(hopper.estimate.portion),
  spread: grams(Math.sqrt(hopper.portionSpreadVariance)),
});

/** The same, or what the keeper has entered since the last portion, from which learning starts again. */
export const currentPortion = (hopper: HopperState, settings: FeederSettings): Grams =>
  hopper.statedPortionGrams === statedPortion(settings) ? learntPortion(hopper).mean : settings.portionMass;

/** g; 0 while nobody has entered it, so that entering the very value that was assumed is seen. */
const statedPortion = (settings: FeederSettings): number =>
  isAssumed(settings, "portionMass") ? 0 : settings.portionMass;

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
  const stated = hopper.statedPortionGrams === statedPortion(settings) ? hopper : restartPortion(hopper, settings);
  if (portion.cutShort === true) return updateByCutShortPortion(stated, portion, settings);
  const didFall = didFoodFall(portion, settings, chuteBlind);
  // Food falls though nothing seems left: what the scale showed was no snow.
  const current = didFall === true && isScarce(stated.estimate) ? acceptRiseAsFood(stated) : stated;
  if (didFall === false) return updateByEmptyPortion(current, portion, settings);
  const updated = subtractPortion(current, didFall === true, at, settings);
  return updated.portionsSinceWeighed > current.portionsSinceWeighed
    ? updateEmptySince(updated, at, settings)
    : updated;
}

function subtractPortion(hopper: HopperState, didFall: boolean, at: Instant, settings: FeederSettings): HopperState {
  const { lastPortionAt, levelMeasuredAt, appetite } = hopper;
  const isCounted = hopper.isKnown && (levelMeasuredAt === null || at > levelMeasuredAt);
  const lowered = copyHopper(isCounted && isUnseen(hopper) ? lowerUnseen(hopper, didFall, at, settings) : hopper);
  if (isCounted) {
    if (!isUnseen(hopper)) lowered.estimate = lowerEstimate(hopper, settings);
    lowered.portionsSinceWeighed = hopper.portionsSinceWeighed + 1;
    lowered.fellSinceWeighed = didFall;
  }
  lowered.lastPortionAt = lastPortionAt === null ? at : later(at, lastPortionAt);
  lowered.appetite = updateAppetiteByMeal(appetite, hopper.estimate.portion, at, settings);
  if (didFall) {
    lowered.scoreBeforeDry = null;
    lowered.levelBeforeDry = null;
    lowered.emptyPortions = 0;
  }
  return lowered;
}

/** The motor didn't run, or nothing was seen to fall. */
function updateByEmptyPortion(
  hopper: HopperState,
  { recordedAt, motorRan }: Portion & { readonly recordedAt: Instant },
  settings: FeederSettings,
): HopperState {
  const emptyPortions = motorRan === 0 ? hopper.emptyPortions : hopper.emptyPortions + 1;
  const appetite = updateAppetiteUntil(hopper.appetite, recordedAt, settings, isEatingImpossible(hopper));
  if (emptyPortions === hopper.emptyPortions) return { ...hopper, appetite };
  const hypotheses = standingHypotheses(hopper.hypotheses, hopper.fellSinceWeighed);
  const next = { ...hopper, hypotheses, emptyPortions, fellSinceWeighed: false, appetite };
  if (isUnseen(hopper) && hopper.isKnown) {
    const levelBeforeDry = emptyPortions === 1 ? hopperLevel(hopper, settings) : hopper.levelBeforeDry;
    return updateByDryUnseen({ ...next, levelBeforeDry }, recordedAt);
  }
  return emptyPortions === emptyPortionsMin ? updateByRunDry(next, recordedAt, settings) : next;
}

/** Empty once hardly any history has food left, so that the interval says so too: then the level before shows how far it was off. */
function updateByDryUnseen(hopper: HopperState, at: Instant): HopperState {
  const { emptyPortions } = hopper;
  const dry = dryUnseen(hopper, emptyPortions);
  const score = emptyPortions === 1 ? dryScore(hopper) : hopper.scoreBeforeDry;
  const isOut = emptyPortions >= emptyPortionsMin && dryProbabilityOf(dry) >= dryFrom && dry.emptySince === null;
  if (!isOut) return { ...dry, scoreBeforeDry: score };
  const realisedError = score === null ? dry.realisedError : updateRealisedError(dry.realisedError, score);
  return { ...dry, emptySince: at, realisedError, scoreBeforeDry: null };
}

const [dryFrom, dryAgainBelow] = [0.955, 0.5];

/**
 * The scale is as good as empty, and the chute saw nothing fall several times: what it shows is the rest in corners, and its own error. Far
 * from it nothing is concluded: that is a jam.
 */
function updateByRunDry(hopper: HopperState, at: Instant, settings: FeederSettings): HopperState {
  const { estimate, weighedAt } = hopper;
  if (!settings.sensors.scale || weighedAt === null || isAssumed(settings, "hopperCapacity")) return hopper;
  const rest = restShare * settings.hopperCapacity;
  const score = (estimate.level - rest) / Math.sqrt(levelVariance(estimate) + rest * rest);
  if (Math.abs(score) > 3) return hopper;
  const realisedError = updateRealisedError(hopper.realisedError, score);
  const measured = estimate.level <= rest ? estimate : updateByMeasurement(estimate, rest, rest * rest);
  // Food fell before this run of empty portions, whatever the scale has shown.
  const emptySince = measured.level <= dryGramsMax(settings) ? at : hopper.emptySince;
  return { ...hopper, estimate: measured, emptySince, unclearRise: null, realisedError };
}
/** Of the capacity, give or take as much. Common practice, no source. */
const restShare = 0.03;
const dryGramsMax = (settings: FeederSettings): number => 1.5 * restShare * settings.hopperCapacity;

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
  const scatter = portion ** 2 / 12 + hopper.portionSpreadVariance / 4;
  if (isUnseen(hopper)) return { ...cutShortUnseen(hopper, scatter), lastPortionAt, appetite };
  const loweredEstimate = { ...hopper.estimate, level: hopper.estimate.level - portion / 2 };
  const estimate = clampLevel(addVariance(loweredEstimate, { level: scatter }), settings);
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

function lowerEstimate(hopper: HopperState, settings: FeederSettings): LevelEstimate {
  const { estimate } = hopper;
  // A slow change doesn't add to an uncertainty that is large already.
  const isWellKnown = portionVariance(estimate) < (portionDriftShareMax * estimate.portion) ** 2;
  const portionDrift = isWellKnown ? (portionDriftShare * estimate.portion) ** 2 : 0;
  return clampLevel(predictByPortion(estimate, hopper.portionSpreadVariance, portionDrift), settings);
}

const isScarce = (estimate: LevelEstimate): boolean => estimate.level < 0.5 * Math.sqrt(levelVariance(estimate));

const statedPortionVariance = (settings: FeederSettings) =>
  ((isAssumed(settings, "portionMass") ? assumedPortionUncertainty : statedPortionUncertainty) *
    settings.portionMass) **
  2;

/** The keeper changed the portion weight: what was learnt about the old one is cleared, the level isn't. */
const restartPortion = (hopper: HopperState, settings: FeederSettings): HopperState => ({
  ...hopper,
  hypotheses: hopper.hypotheses.map((each) => {
    const [level, , , levelBrim, , brim] = each.covariance;
    const portionVariance = statedPortionVariance(settings);
    return { ...each, portion: settings.portionMass, covariance: [level, 0, portionVariance, levelBrim, 0, brim] };
  }),
  estimate: resetPortion(hopper.estimate, settings.portionMass, statedPortionVariance(settings)),
  portionSpreadVariance: (portionRelativeSpread * settings.portionMass) ** 2,
  statedPortionGrams: statedPortion(settings),
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
 * Empty when the whole interval lies below the limit. A scale's interval is wide for what it may be off by at zero: where its level lies below
 * the limit it is as good as empty, unless it may as well hold a good part of the hopper. Filled again only well above what makes it empty,
 * by the same measure, so that the state doesn't flicker.
 */
export function updateEmptySince(hopper: HopperState, at: Instant, settings: FeederSettings): HopperState {
  const level = hopperLevel(hopper, settings);
  if (level === null) return hopper;
  const isNow = isEmpty(hopper, level, settings) && !mayBeFilledNow(hopper, at);
  if (hopper.emptySince === null) return isNow ? { ...hopper, emptySince: at } : hopper;
  return isFilledAgain(hopper, level, settings) ? { ...hopper, emptySince: null } : hopper;
}

function isEmpty(hopper: HopperState, { high }: HopperLevel, settings: FeederSettings): boolean {
  const emptyBelow = emptyThreshold(settings);
  if (!isLevelByScale(hopper, settings)) return high <= emptyBelow;
  return hopper.estimate.level <= emptyBelow && high <= asGoodAsEmptyMax(settings);
}

/** The newest readings lie far above it: a bird, a hand, or a refill that isn't sure yet. "Empty" can wait for that. */
const mayBeFilledNow = ({ pendingJump }: HopperState, at: Instant): boolean =>
  pendingJump !== null && pendingJump.residual > 0 && at - pendingJump.at < hours(2);

function isFilledAgain(hopper: HopperState, level: HopperLevel, settings: FeederSettings): boolean {
  const emptyBelow = emptyThreshold(settings);
  if (level.low > emptyBelow || level.high > 2 * asGoodAsEmptyMax(settings)) return true;
  if (!isLevelByScale(hopper, settings))
    return level.grams > 2 * emptyBelow && dryProbabilityOf(hopper) < dryAgainBelow;
  const emptyMax = Math.max(emptyBelow, dryGramsMax(settings));
  return hopper.estimate.level > 1.5 * emptyMax;
}

/** Its level is a scale's, and no word's. */
const isLevelByScale = (hopper: HopperState, { sensors }: FeederSettings): boolean =>
  sensors.scale && !isUnseen(hopper);
/** g, that an empty hopper's scale may seem to show at most: what it is usually off by at its zero, twice. */
const asGoodAsEmptyMax = (settings: FeederSettings): number => Math.max(0.1 * settings.hopperCapacity, zeroErrorMax);
const zeroErrorMax = 120;
