import { days, type Instant, type Span } from "../instant.ts";
import { movingMean } from "../movingMean.ts";
import type { FeederSettings } from "../settings.ts";
import type { Grams } from "../units.ts";
import { appetiteForecast, expectedEaten, updateAppetiteByMeal, updateAppetiteUntil } from "./appetite.ts";
import { daySpanAt } from "./daySpan.ts";
import { copyHopper } from "./hopperState.ts";
import { clampLevel, clampPortion, emptyThreshold, type HopperState, updateEmptySince } from "./level.ts";
import {
  addVariance,
  clampLidLoad,
  expectedReading,
  expectedReadingVariance,
  type LevelEstimate,
  offsetVariance,
  predictByTime,
  slopeVariance,
  updateByMeasurement,
  updateByOffset,
  updateByReading,
} from "./levelFilter.ts";
import { lidLoadChange, updateLidLoad } from "./lidLoad.ts";
import { isJustReported, updateByOutlier } from "./outlierReading.ts";
import { restartLevel, type WeighingResult } from "./restartLevel.ts";
import {
  cellLagHours,
  scaleNoise,
  tareCelsius,
  zeroDriftHours,
  zeroDriftVariance,
  zeroOffsetVariance,
} from "./scaleModel.ts";
import { type ScaleTemperatures, unknownTemperatures } from "./scaleTemperatures.ts";
import { updateByToldLevel, updateUnclearRise } from "./unclearRise.ts";

/**
 * A scale reading: the food, the zero's change with the temperature, its drift, and what lies on the lid. At night no food is
 * eaten, so what changes then is the scale. A reading far off the estimate is accepted only when others agree
 * (outlierReading.ts): a bird on the perch adds 200 to 500 g and leaves again.
 */
export function updateHopperByWeighing(
  hopper: HopperState,
  reading: Grams,
  at: Instant,
  settings: FeederSettings,
  temperatures: ScaleTemperatures = unknownTemperatures,
): WeighingResult {
  if (!settings.sensors.scale || isLiftedOff(reading, settings) || isOutdated(hopper, at))
    return { hopper, foundRefill: null };
  const cellCelsius = cellTemperature(hopper, temperatures, at);
  const kelvinAboveTare = cellCelsius === null ? 0 : cellCelsius - tareCelsius;
  const isEatingUnreported = hasUnreportedEating(hopper, at);
  const estimate = predictUntil(hopper, at, settings, temperatures, isEatingUnreported);
  const appetite = updateAppetiteUntil(hopper.appetite, at, settings, hopper.emptySince !== null);
  const predicted = copyHopper(hopper);
  predicted.estimate = estimate;
  predicted.cellCelsius = cellCelsius;
  predicted.appetite = appetite;
  predicted.unweighedWord = null;
  if (!hopper.isKnown)
    return { hopper: restartLevel(predicted, { reading, kelvinAboveTare, at }, settings), foundRefill: null };

  const totalVariance = expectedReadingVariance(estimate, kelvinAboveTare) + hopper.noiseVariance;
  const residual = reading - expectedReading(estimate, kelvinAboveTare);
  const gate = gateOf(hopper, totalVariance, at, settings);
  if (Math.abs(residual) > gate) {
    const hasUnreportedEating = isEatingUnreported;
    const outlier = { reading, residual, kelvinAboveTare, at, gate, hasUnreportedEating, temperatures };
    return updateByOutlier({ ...predicted, predictedAt: at }, outlier, settings);
  }
  const measured = measuredBy(
    predicted,
    { before: hopper, reading, residual, totalVariance, kelvinAboveTare, at, temperatures },
    settings,
  );
  const withAppetite = isEatingUnreported ? updateAppetiteByScale(hopper, measured, at, settings) : measured;
  const passed = (hopper.predictedAt === null ? 0 : at - hopper.predictedAt) as Span;
  const withRise = updateByToldLevel(updateUnclearRise(withAppetite, temperatures, passed), at, settings);
  return { hopper: updateEmptySince(withRise, at, settings), foundRefill: null };
}

/** g: a reading that is further off is believed only where others agree. */
function gateOf(hopper: HopperState, totalVariance: number, at: Instant, { hopperCapacity }: FeederSettings): number {
  const usual = Math.max(5 * Math.sqrt(totalVariance), 0.006 * hopperCapacity, 10);
  // A refill that was told may be small, and snow on the lid makes the rest uncertain.
  return isJustReported(hopper, at) ? Math.min(usual, 0.03 * hopperCapacity) : usual;
}

/** A reading near enough to what was expected. */
interface UsualReading {
  readonly before: HopperState;
  readonly reading: Grams;
  readonly residual: number;
  readonly totalVariance: number;
  readonly kelvinAboveTare: number;
  readonly at: Instant;
  readonly temperatures: ScaleTemperatures;
}

function measuredBy(predicted: HopperState, usual: UsualReading, settings: FeederSettings): HopperState {
  const { before, reading, residual, totalVariance, kelvinAboveTare, at, temperatures } = usual;
  const { estimate, noiseVariance } = predicted;
  const read = clampLidLoad(updateByReading(estimate, reading, kelvinAboveTare, noiseVariance));
  const corrected = before.fellSinceWeighed ? withFoodThatFell(read, settings) : read;
  const measured = copyHopper(predicted);
  measured.estimate = clampPortion(
    clampLevel(withExpectedOffset(corrected, temperatures, settings), settings),
    settings,
  );
  measured.portionSpreadVariance = updatedSpread(before, residual, totalVariance);
  measured.noiseVariance = updatedNoise(before, residual, totalVariance, settings);
  measured.hypotheses = [];
  measured.levelBeforeDry = null;
  measured.portionsSinceWeighed = 0;
  measured.fellSinceWeighed = false;
  measured.weighedAt = at;
  measured.levelMeasuredAt = at;
  measured.predictedAt = at;
  measured.lidLoad = updatedLidLoad(before, estimate, corrected, kelvinAboveTare, at);
  measured.pendingJump = null;
  return measured;
}

/**
 * By the scale nothing was left, but food fell: so its zero lies higher. Known only now, since somebody may have refilled before the portion. The
 * estimate is projected onto what must have been there (Simon and Chia, IEEE Trans. Aerosp. Electron. Syst. 38, 2002, from memory): the same fact
 * seen again changes nothing more. With a load on the lid it is uncertain where the error lies.
 */
function withFoodThatFell(estimate: LevelEstimate, settings: FeederSettings): LevelEstimate {
  const least = emptyThreshold(settings) - settings.portionMass;
  if (estimate.level >= least || estimate.lidLoad >= lidLoadMax * settings.hopperCapacity) return estimate;
  const { covariance, portion } = estimate;
  // A portion isn't learnt by it.
  return { ...updateByMeasurement(estimate, least, 1e-6 * (covariance[0] + 1)), covariance, portion };
}
const lidLoadMax = 0.03; // of the capacity

const updatedLidLoad = (
  { lidLoad, portionsSinceWeighed, predictedAt }: HopperState,
  before: LevelEstimate,
  after: LevelEstimate,
  kelvinAboveTare: number,
  at: Instant,
) =>
  updateLidLoad(lidLoad, {
    before,
    after,
    kelvinAboveTare,
    portions: portionsSinceWeighed,
    hours: predictedAt === null ? 0 : (at - predictedAt) / hourLong,
  });

/** Older than the level or the last portion: what fell or was filled in since isn't in it. */
const isOutdated = ({ levelMeasuredAt, lastPortionAt }: HopperState, at: Instant): boolean =>
  (levelMeasuredAt !== null && at < levelMeasuredAt) || (lastPortionAt !== null && at < lastPortionAt);

/** After this long without a portion event a sinking scale means that portions aren't reported. */
const portionGapMax = days(2);

/** Far below zero the hopper has been lifted off its cell, or the cell is broken: the reading says nothing about the food. */
const isLiftedOff = (reading: number, settings: FeederSettings) =>
  reading < -Math.max(50, 0.05 * settings.hopperCapacity);

const hasUnreportedEating = (hopper: HopperState, at: Instant) =>
  hopper.lastPortionAt === null || at - hopper.lastPortionAt > portionGapMax;

/** The less the zero changes with the temperature, the smaller its offset: the offset is limited as the slope is learnt. */
function withExpectedOffset(
  estimate: LevelEstimate,
  temperatures: ScaleTemperatures,
  settings: FeederSettings,
): LevelEstimate {
  const varianceNow = offsetVariance(estimate);
  const expectedVariance = zeroOffsetVariance(slopeSquaredOf(estimate), hasThermometer(temperatures), settings);
  return varianceNow <= 1.05 * expectedVariance
    ? estimate
    : updateByOffset(estimate, (varianceNow * expectedVariance) / (varianceNow - expectedVariance));
}

const slopeSquaredOf = (estimate: LevelEstimate): number => estimate.slope * estimate.slope + slopeVariance(estimate);
const hasThermometer = ({ inside, air, lid: lidChange }: ScaleTemperatures): boolean =>
  (inside ?? air ?? lidChange) !== null;

/** On a new feeder's first day it isn't known yet whether it reports portions: the scale's changes don't count as meals. */
const isWaitingForPortion = ({ lastPortionAt, appetite }: HopperState, at: Instant): boolean =>
  lastPortionAt === null && (appetite.watchedSince === null || at - appetite.watchedSince < days(1));

function updateAppetiteByScale(
  before: HopperState,
  measured: HopperState,
  at: Instant,
  settings: FeederSettings,
): HopperState {
  // Nobody eats in the dark: what the level does then is a better estimate of the scale's errors.
  if (isWaitingForPortion(before, at) || isDark(at, settings)) return measured;
  const { appetite } = measured;
  // Counting starts only here.
  const started = appetite.daily === null && appetite.dayPortions === 0 ? { ...appetite, dayStart: at } : appetite;
  const eaten = before.estimate.level - measured.estimate.level;
  return { ...measured, appetite: updateAppetiteByMeal(started, eaten, at, settings) };
}

function cellTemperature(
  hopper: HopperState,
  { inside, air, lid: lidChange }: ScaleTemperatures,
  at: Instant,
): number | null {
  const measured = inside ?? air ?? lidChange;
  const { cellCelsius, predictedAt } = hopper;
  if (measured === null || cellCelsius === null || predictedAt === null) return measured ?? cellCelsius;
  const follows = 1 - Math.exp(-Math.max(0, at - predictedAt) / (cellLagHours * hourLong));
  return movingMean(cellCelsius, measured, follows);
}
const hourLong = 3_600_000;

/** The estimate at `at`: the zero drifts, snow comes and goes, and birds may eat unreported. */
function predictUntil(
  hopper: HopperState,
  at: Instant,
  settings: FeederSettings,
  temperatures: ScaleTemperatures,
  isEatingUnreported: boolean,
): LevelEstimate {
  const { estimate, predictedAt } = hopper;
  const driftVariance = zeroDriftVariance(slopeSquaredOf(estimate), hasThermometer(temperatures), settings);
  if (predictedAt === null || at <= predictedAt)
    return predictedAt === null ? addVariance(estimate, { zeroDrift: driftVariance }) : estimate;
  const hours = (at - predictedAt) / hourLong;
  const keptShare = Math.exp(-hours / zeroDriftHours);
  const eaten = isEatingUnreported ? unreportedEating(hopper, predictedAt, at, settings) : nothingEaten;
  const lidChange = lidLoadChange(
    temperatures,
    hopper.lidLoad,
    estimate.lidLoad,
    usualVariancePerHour(hopper, driftVariance, eaten.variance / hours),
    hours,
  );
  return predictByTime(estimate, {
    levelDrop: eaten.mass,
    levelVariance: eaten.variance,
    zeroDriftKept: keptShare,
    zeroDriftVariance: (1 - keptShare * keptShare) * driftVariance,
    lidLoadKept: lidChange.keptShare,
    lidLoadVariance: lidChange.variance,
  });
}

/** g² an hour, of the scale's usual error: single portions, their mean (within 5 %), the zero's drift. */
function usualVariancePerHour(
  { estimate, portionSpreadVariance, lidLoad }: HopperState,
  driftVariance: number,
  isEatingUnreported: number,
): number {
  const portionRate = lidLoad.portionRate;
  const mean = 0.05 * portionRate * estimate.portion;
  return portionRate * portionSpreadVariance + mean * mean + (2 * driftVariance) / zeroDriftHours + isEatingUnreported;
}

const nothingEaten = { mass: 0, variance: 0 };

/** Where no portions are reported, food goes as these birds usually eat, give or take a bout of them. */
function unreportedEating(hopper: HopperState, from: Instant, to: Instant, settings: FeederSettings) {
  const forecast = appetiteForecast(hopper.appetite, settings);
  const { hopperCapacity, portionMass } = settings;
  if (forecast === null) {
    const perDay = isDark(to, settings) && to - from < hourLong ? 0.01 : 0.1;
    return { mass: 0, variance: ((perDay * hopperCapacity) ** 2 * (to - from)) / (24 * hourLong) };
  }
  const eaten = hopper.emptySince === null ? expectedEaten(forecast, settings, from, to) : 0;
  const varianceMin = ((0.002 * hopperCapacity) ** 2 * (to - from)) / (24 * hourLong);
  return { mass: eaten, variance: varianceMin + 4 * eaten * portionMass + 0.25 * eaten * eaten };
}

function isDark(at: Instant, settings: FeederSettings): boolean {
  if (settings.place === null) return false;
  const { dawn, dusk } = daySpanAt(settings, at);
  return at < dawn || at > dusk;
}

/**
 * Where residuals are larger or smaller than expected, a single portion's spread was set too small or too large: as far as
 * that spread, and not the scale's noise, made up the expected variance.
 */
function updatedSpread(hopper: HopperState, residual: number, totalVariance: number): number {
  const share = (hopper.portionsSinceWeighed * hopper.portionSpreadVariance) / totalVariance;
  if (share <= 0) return hopper.portionSpreadVariance;
  const surprise = Math.min((residual * residual) / totalVariance, 9) - 1;
  const learnt = hopper.portionSpreadVariance * (1 + 0.05 * Math.min(share, 1) * surprise);
  const mean = hopper.estimate.portion;
  return Math.min(Math.max(learnt, (0.05 * mean) ** 2), mean * mean);
}

/** The same for the noise of a reading, from readings between which nothing fell. */
function updatedNoise(hopper: HopperState, residual: number, totalVariance: number, settings: FeederSettings): number {
  if (hopper.portionsSinceWeighed > 0) return hopper.noiseVariance;
  const share = hopper.noiseVariance / totalVariance;
  const learnt = hopper.noiseVariance * (1 + 0.03 * share * (Math.min((residual * residual) / totalVariance, 6) - 1));
  return Math.min(Math.max(learnt, 0.25), (3 * scaleNoise(settings)) ** 2);
}
