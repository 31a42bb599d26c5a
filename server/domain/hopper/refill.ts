import { isAssumed } from "../assumedSettings.ts";
import type { ReportedRefill } from "../facts.ts";
import { type Instant, minutes } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { appetiteForecast, expectedEaten } from "./appetite.ts";
import {
  brimGrams,
  clampLevel,
  clampPortion,
  emptyPortionsMin,
  emptyThreshold,
  type HopperState,
  updateEmptySince,
} from "./level.ts";
import {
  addVariance,
  type LevelEstimate,
  levelVariance,
  resetLevel,
  truncateAbove,
  updateByMeasurement,
} from "./levelFilter.ts";

/**
 * A refill reported by the keeper or by the feeder. One that the scale found within half an hour is
 * the same refill: then the scale knows better how much it was.
 */
export function updateHopperByRefill(
  hopper: HopperState,
  refill: ReportedRefill,
  settings: FeederSettings,
): HopperState {
  const at = refill.at;
  const before = {
    ...hopper,
    refillReportedAt: hopper.refillReportedAt === null || at > hopper.refillReportedAt ? at : hopper.refillReportedAt,
    pendingJump: null,
  };
  if (isAlreadyFound(hopper, refill, settings)) return { ...before, emptyPortions: 0 };
  const reported = { ...(refill.what.kind === "level" ? before : markRunDry(before, settings)), emptyPortions: 0 };
  switch (refill.what.kind) {
    case "added":
      return updateEmptySince(addFood(reported, refill.what.grams, at, settings), at, settings);
    case "filled":
      // "To the brim" is judged by eye, and the capacity was measured once with other food. Common practice, no source.
      return setLevelByKeeper(
        reported,
        {
          mass: settings.hopperCapacity,
          deviation: brimUncertainty(settings) * settings.hopperCapacity,
          at,
          isComparable: isAmountReported(reported, at),
        },
        settings,
      );
    case "level": {
      // "Empty" is seen for certain, "half full" is judged by eye. Common practice, no source.
      const deviation = 0.005 * settings.hopperCapacity + 0.12 * refill.what.grams;
      return setLevelByKeeper(reported, { mass: refill.what.grams, deviation, at, isComparable: true }, settings);
    }
  }
}

/** A refill reported within this time of a rise that the scale found is the same refill. */
export const sameRefillSpan = minutes(30);

/** The scale found this very refill: about then and about as much. */
function isAlreadyFound(hopper: HopperState, { at, what }: ReportedRefill, settings: FeederSettings): boolean {
  const { foundRefill } = hopper;
  if (foundRefill === null || Math.abs(at - foundRefill.at) > sameRefillSpan) return false;
  if (what.kind === "added") return foundRefill.grams >= 0.5 * what.grams;
  const level = what.kind === "filled" ? settings.hopperCapacity : what.grams;
  return Math.abs(level - hopper.estimate.level) <= 0.25 * settings.hopperCapacity;
}

/** Of the capacity. An assumed capacity may be half as much again, or half of it. */
const brimUncertainty = (settings: FeederSettings): number => (isAssumed(settings, "hopperCapacity") ? 0.3 : 0.08);

/** The amount poured in was reported too: then "full" can be compared with the estimate. */
const isAmountReported = ({ amountReportedAt }: HopperState, at: Instant): boolean =>
  amountReportedAt !== null && Math.abs(at - amountReportedAt) <= sameRefillSpan;

/**
 * Several portions without food, little left by calculation, and now a refill: the hopper had run empty. That corrects the
 * portion weight since the level was last known.
 */
function markRunDry(hopper: HopperState, settings: FeederSettings): HopperState {
  if (!hopper.isKnown || hopper.emptyPortions < emptyPortionsMin || settings.sensors.scale) return hopper;
  const unreachable = 0.25 * emptyThreshold(settings); // g, what no tray reaches
  const variance = unreachable * unreachable;
  if (hopper.estimate.level > 2.5 * Math.sqrt(levelVariance(hopper.estimate) + variance)) return hopper; // a jam, then
  const estimate = clampPortion(updateByMeasurement(hopper.estimate, 0, variance), settings);
  return { ...hopper, estimate: clampLevel(estimate, settings) };
}

function addFood(hopper: HopperState, grams: number, at: Instant, settings: FeederSettings): HopperState {
  if (!hopper.isKnown) {
    // What was in it before isn't known; keepers refill what is nearly empty.
    const estimate = resetLevel(hopper.estimate, grams, (0.15 * settings.hopperCapacity) ** 2);
    return {
      ...hopper,
      isKnown: true,
      levelMeasuredAt: at,
      amountReportedAt: at,
      estimate: clampLevel(estimate, settings),
    };
  }
  // The scale weighed after it was poured in: it is in the reading already.
  if (hopper.weighedAt !== null && at < hopper.weighedAt) return hopper;
  const deviation = 0.08 * grams; // a kitchen scale, a scoop or a guess; common practice, no source
  const raised = addVariance(
    { ...hopper.estimate, level: hopper.estimate.level + grams },
    { level: deviation * deviation },
  );
  // Told twice, or of another feeder: the scale will show what truly went in, and nothing is concluded about its zero.
  if (hopper.weighedAt !== null && raised.level > brimGrams(settings)) return hopper;
  // It went in, so there was room for it.
  const isNear = hopper.weighedAt === null && raised.level + Math.sqrt(levelVariance(raised)) > brimGrams(settings);
  const estimate = isNear ? clampPortion(truncateAbove(raised, brimGrams(settings)), settings) : raised;
  return { ...hopper, amountReportedAt: at, estimate: clampLevel(fillToBrim(estimate, grams, settings), settings) };
}

/**
 * A large refill mostly fills the hopper. Nothing else corrects a level that is calculated from portions for weeks; a weighed
 * or well-known level is hardly changed by it. Common practice, no source.
 */
function fillToBrim(estimate: LevelEstimate, grams: number, settings: FeederSettings): LevelEstimate {
  const { hopperCapacity, sensors } = settings;
  if (sensors.scale || grams < 0.3 * hopperCapacity || isAssumed(settings, "hopperCapacity")) return estimate;
  return clampPortion(updateByMeasurement(estimate, 0.85 * hopperCapacity, (0.15 * hopperCapacity) ** 2), settings);
}

/** The level as a keeper saw it. */
interface KeeperMeasurement {
  readonly mass: number; // g
  readonly deviation: number; // g, standard deviation
  readonly at: Instant;
  readonly isComparable: boolean; // whether the estimate before can be compared with it: not where food was poured in
}

function setLevelByKeeper(
  hopper: HopperState,
  { mass: grams, deviation, at, isComparable: teaches }: KeeperMeasurement,
  settings: FeederSettings,
): HopperState {
  if (hopper.levelMeasuredAt !== null && at < hopper.levelMeasuredAt) return hopper;
  // Reported late: what fell since then was subtracted from a level that no longer counts, so it is calculated again.
  const eatenSince = expectedEatenSince(hopper, at, settings);
  const levelNow = grams - eatenSince;
  const variance = deviation * deviation + (0.5 * eatenSince) ** 2;
  const totalVariance = levelVariance(hopper.estimate) + variance;
  const isNear = hopper.isKnown && Math.abs(levelNow - hopper.estimate.level) <= 3 * Math.sqrt(totalVariance);
  // A word against a scale that has weighed since: the keeper may have erred in the amount, the time or the feeder.
  if (!isNear && hopper.weighedAt !== null && hopper.weighedAt >= at) return hopper;
  const estimate =
    teaches && isNear
      ? clampPortion(updateByMeasurement(hopper.estimate, levelNow, variance), settings)
      : resetLevel(hopper.estimate, levelNow, variance);
  const measured = { ...hopper, isKnown: true, levelMeasuredAt: at, estimate: clampLevel(estimate, settings) };
  return updateEmptySince(measured, at, settings);
}

/** Grams by the learnt rate, since single portions of the past aren't stored. */
function expectedEatenSince(hopper: HopperState, at: Instant, settings: FeederSettings): number {
  if (hopper.lastPortionAt === null || hopper.lastPortionAt <= at) return 0;
  const forecast = appetiteForecast(hopper.appetite, settings);
  return forecast === null ? 0 : expectedEaten(forecast, settings, at, hopper.lastPortionAt);
}
