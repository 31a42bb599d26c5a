import { days, type Instant } from "../instant.ts";
import { movingMean } from "../movingMean.ts";
import type { FeederSettings } from "../settings.ts";
import type { Grams } from "../units.ts";
import {
  type Appetite,
  appetiteForecast,
  expectedEaten,
  updateAppetiteByMeal,
  updateAppetiteUntil,
} from "./appetite.ts";
import { daySpanAt } from "./daySpan.ts";
import { clampLevel, clampPortion, type HopperState, updateEmptySince } from "./level.ts";
import {
  addVariance,
  clampLidLoad,
  expectedReading,
  expectedReadingVariance,
  type LevelEstimate,
  offsetVariance,
  predictByTime,
  slopeVariance,
  updateByOffset,
  updateByReading,
} from "./levelFilter.ts";
import { lidLoadChange, updateLidLoad } from "./lidLoad.ts";
import { updateByOutlier } from "./outlierReading.ts";
import { restartLevel, type WeighingResult } from "./restartLevel.ts";
import {
  cellLagHours,
  scaleNoise,
  tareCelsius,
  zeroDriftHours,
  zeroDriftVariance,
  zeroOffsetVariance,
} from "./scaleModel.ts";
import { type ScaleTemperatures, unknownTemperatures } from "./surroundings.ts";

/**
 * The scale said something. What it says is food, and the zero's drift with the temperature, and its wandering, and what lies
 * on the lid: at night no food goes, and what moves then is the scale. A reading far off what is believed is believed only when
 * others agree (jump.ts): a bird on the perch adds 200 to 500 g and leaves again.
 */
export function updateHopperByWeighing(
  hopper: HopperState,
  reading: Grams,
  at: Instant,
  settings: FeederSettings,
  around: ScaleTemperatures = unknownTemperatures,
): WeighingResult {
  const same = { hopper, foundRefill: null };
  if (!settings.sensors.scale || isLiftedOff(reading, settings)) return same;
  // Older than what is known: what fell or was filled in since isn't in it.
  if (
    (hopper.levelMeasuredAt !== null && at < hopper.levelMeasuredAt) ||
    (hopper.lastPortionAt !== null && at < hopper.lastPortionAt)
  ) {
    return same;
  }
  const cellCelsius = cellTemperature(hopper, around, at);
  const kelvinAboveTare = cellCelsius === null ? 0 : cellCelsius - tareCelsius;
  const unreported = hasUnreportedEating(hopper, at);
  const appetite = updateAppetiteUntil(hopper.appetite, at, settings, hopper.emptySince !== null);
  const belief = predictUntil(hopper, at, settings, around, unreported);
  if (!hopper.isKnown) {
    return {
      hopper: restartLevel(
        { ...hopper, estimate: belief, cellCelsius, appetite },
        { reading, kelvinAboveTare, at },
        settings,
      ),
      foundRefill: null,
    };
  }

  const total = expectedReadingVariance(belief, kelvinAboveTare) + hopper.noiseVariance;
  const off = reading - expectedReading(belief, kelvinAboveTare);
  const gate = Math.max(5 * Math.sqrt(total), 0.006 * settings.hopperCapacity, 10);
  if (Math.abs(off) > gate) {
    const waiting = { ...hopper, estimate: belief, cellCelsius, appetite, predictedAt: at };
    return updateByOutlier(
      waiting,
      { reading, residual: off, kelvinAboveTare, at, gate, hasUnreportedEating: unreported },
      settings,
    );
  }
  const read = clampLidLoad(updateByReading(belief, reading, kelvinAboveTare, hopper.noiseVariance));
  const after = clampPortion(clampLevel(withLikelyOffset(read, around, settings), settings), settings);
  const measured: HopperState = {
    isKnown: true,
    estimate: after,
    portionSpreadVariance: updatedSpread(hopper, off, total),
    noiseVariance: updatedNoise(hopper, off, total, settings),
    statedPortionGrams: hopper.statedPortionGrams,
    portionsSinceWeighed: 0,
    lastPortionAt: hopper.lastPortionAt,
    weighedAt: at,
    levelMeasuredAt: at,
    predictedAt: at,
    cellCelsius,
    lidLoad: updateLidLoad(hopper.lidLoad, {
      before: belief,
      read,
      warmer: kelvinAboveTare,
      given: hopper.portionsSinceWeighed,
      hours: hopper.predictedAt === null ? 0 : (at - hopper.predictedAt) / hourLong,
    }),
    pendingJump: null,
    foundRefill: hopper.foundRefill,
    refillReportedAt: hopper.refillReportedAt,
    amountReportedAt: hopper.amountReportedAt,
    emptyPortions: hopper.emptyPortions,
    emptySince: hopper.emptySince,
    appetite: unreported ? eatenByScale(hopper, appetite, hopper.estimate.level - after.level, at, settings) : appetite,
  };
  return { hopper: updateEmptySince(measured, at, settings), foundRefill: null };
}

/** After this long without a portion event the birds, if the scale sinks, eat without being reported. */
const portionsMissingAfter = days(2);

/** Far below zero the hopper has been lifted off its cell, or the cell is broken: no word about the food. */
const isLiftedOff = (reading: number, settings: FeederSettings) =>
  reading < -Math.max(50, 0.05 * settings.hopperCapacity);

const hasUnreportedEating = (hopper: HopperState, at: Instant) =>
  hopper.lastPortionAt === null || at - hopper.lastPortionAt > portionsMissingAfter;

/** How far off the zero was from the start is the smaller, the less it moves with the temperature: known as that is learnt. */
function withLikelyOffset(belief: LevelEstimate, around: ScaleTemperatures, settings: FeederSettings): LevelEstimate {
  const now = offsetVariance(belief);
  const likely = zeroOffsetVariance(slopeSquaredOf(belief), hasThermometer(around), settings);
  return now <= 1.05 * likely ? belief : updateByOffset(belief, (now * likely) / (now - likely));
}

const slopeSquaredOf = (belief: LevelEstimate): number => belief.slope * belief.slope + slopeVariance(belief);
const hasThermometer = ({ inside, air, lid }: ScaleTemperatures): boolean => (inside ?? air ?? lid) !== null;

/** A new feeder's first day: whether it tells of portions will show, and until then nothing that the scale does is a meal. */
const isWaitingForPortion = ({ lastPortionAt, appetite }: HopperState, at: Instant): boolean =>
  lastPortionAt === null && (appetite.watchedSince === null || at - appetite.watchedSince < days(1));

function eatenByScale(hopper: HopperState, appetite: Appetite, mass: number, at: Instant, settings: FeederSettings) {
  // Nobody eats in the dark: what the level does then is the scale being understood better.
  if (isWaitingForPortion(hopper, at) || isDark(at, settings)) return appetite;
  const { daily, dayPortions } = appetite;
  // Only from here on it is counted.
  const begun = daily === null && dayPortions === 0 ? { ...appetite, dayStart: at } : appetite;
  return updateAppetiteByMeal(begun, mass, at, settings);
}

function cellTemperature(hopper: HopperState, { inside, air, lid }: ScaleTemperatures, at: Instant): number | null {
  const said = inside ?? air ?? lid;
  const { cellCelsius, predictedAt } = hopper;
  if (said === null || cellCelsius === null || predictedAt === null) return said ?? cellCelsius;
  const follows = 1 - Math.exp(-Math.max(0, at - predictedAt) / (cellLagHours * hourLong));
  return movingMean(cellCelsius, said, follows);
}
const hourLong = 3_600_000;

/** What has passed since the last reading: the zero wanders, snow comes and goes, and birds may eat without a word. */
function predictUntil(
  hopper: HopperState,
  at: Instant,
  settings: FeederSettings,
  around: ScaleTemperatures,
  unreported: boolean,
): LevelEstimate {
  const { estimate, predictedAt } = hopper;
  const wander = zeroDriftVariance(slopeSquaredOf(estimate), hasThermometer(around), settings);
  if (predictedAt === null || at <= predictedAt)
    return predictedAt === null ? addVariance(estimate, { wander }) : estimate;
  const hours = (at - predictedAt) / hourLong;
  const wanderKept = Math.exp(-hours / zeroDriftHours);
  const eaten = unreported ? unreportedEating(hopper, predictedAt, at, settings) : none;
  const lid = lidLoadChange(
    around,
    hopper.lidLoad,
    estimate.lidLoad,
    usualRestlessness(hopper, wander, eaten.variance / hours),
    hours,
  );
  return predictByTime(estimate, {
    levelDrop: eaten.mass,
    levelVariance: eaten.variance,
    zeroDriftKept: wanderKept,
    zeroDriftVariance: (1 - wanderKept * wanderKept) * wander,
    lidLoadKept: lid.keptShare,
    lidLoadVariance: lid.variance,
  });
}

/** g² an hour, by which the scale errs from what is expected: single portions, their mean (within 5 %), the wandering zero. */
function usualRestlessness(
  { estimate, portionSpreadVariance, lidLoad }: HopperState,
  wander: number,
  unreported: number,
): number {
  const given = lidLoad.portionRate;
  const mean = 0.05 * given * estimate.portion;
  return given * portionSpreadVariance + mean * mean + (2 * wander) / zeroDriftHours + unreported;
}

const none = { mass: 0, variance: 0 };

/** Where no portions are told, food goes as these birds are known to eat, give or take a bout of them. */
function unreportedEating(hopper: HopperState, from: Instant, to: Instant, settings: FeederSettings) {
  const outlook = appetiteForecast(hopper.appetite, settings);
  const { hopperCapacity, portionMass } = settings;
  if (outlook === null) {
    const perDay = isDark(to, settings) && to - from < hourLong ? 0.01 : 0.1;
    return { mass: 0, variance: ((perDay * hopperCapacity) ** 2 * (to - from)) / (24 * hourLong) };
  }
  const mass = hopper.emptySince === null ? expectedEaten(outlook, settings, from, to) : 0;
  const least = ((0.002 * hopperCapacity) ** 2 * (to - from)) / (24 * hourLong);
  return { mass, variance: least + 4 * mass * portionMass + 0.25 * mass * mass };
}

function isDark(at: Instant, settings: FeederSettings): boolean {
  if (settings.place === null) return false;
  const { dawn, dusk } = daySpanAt(settings, at);
  return at < dawn || at > dusk;
}

/**
 * Where innovations are larger or smaller than foreseen, a single portion's spread was set too small or too large: as far
 * as that spread, and not the scale's noise, made up what was foreseen.
 */
function updatedSpread(hopper: HopperState, off: number, total: number): number {
  const share = (hopper.portionsSinceWeighed * hopper.portionSpreadVariance) / total;
  if (share <= 0) return hopper.portionSpreadVariance;
  const surprise = Math.min((off * off) / total, 9) - 1;
  const learnt = hopper.portionSpreadVariance * (1 + 0.05 * Math.min(share, 1) * surprise);
  const mean = hopper.estimate.portion;
  return Math.min(Math.max(learnt, (0.05 * mean) ** 2), mean * mean);
}

/** The same for the noise of a reading, from readings between which nothing fell. */
function updatedNoise(hopper: HopperState, off: number, total: number, settings: FeederSettings): number {
  if (hopper.portionsSinceWeighed > 0) return hopper.noiseVariance;
  const share = hopper.noiseVariance / total;
  const learnt = hopper.noiseVariance * (1 + 0.03 * share * (Math.min((off * off) / total, 6) - 1));
  return Math.min(Math.max(learnt, 0.25), (3 * scaleNoise(settings)) ** 2);
}
