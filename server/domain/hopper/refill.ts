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
 * The keeper, or the feeder on the keeper's behalf, told of a refill. One that the scale found within half an hour is
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
  const told = { ...(refill.what.kind === "level" ? before : markRunDry(before, settings)), emptyPortions: 0 };
  switch (refill.what.kind) {
    case "added":
      return updateEmptySince(addFood(told, refill.what.grams, at, settings), at, settings);
    case "filled":
      // "To the brim" is judged by eye: right within 3 %. Common practice, no source.
      return setLevelByKeeper(
        told,
        {
          mass: settings.hopperCapacity,
          doubt: brimUncertainty(settings) * settings.hopperCapacity,
          at,
          teaches: isAmountReported(told, at),
        },
        settings,
      );
    case "level": {
      // "Empty" is seen for certain, "half full" is judged by eye. Common practice, no source.
      const doubt = Math.min(0.005 * settings.hopperCapacity + 0.1 * refill.what.grams, 0.03 * settings.hopperCapacity);
      return setLevelByKeeper(told, { mass: refill.what.grams, doubt, at, teaches: true }, settings);
    }
  }
}

/** Told within this time of a rise that the scale found, it is the same refill. */
export const sameRefillWithin = minutes(30);

/** The scale found this very refill: about then and about as much. */
function isAlreadyFound(hopper: HopperState, { at, what }: ReportedRefill, settings: FeederSettings): boolean {
  const { foundRefill } = hopper;
  if (foundRefill === null || Math.abs(at - foundRefill.at) > sameRefillWithin) return false;
  if (what.kind === "added") return foundRefill.grams >= 0.5 * what.grams;
  const level = what.kind === "filled" ? settings.hopperCapacity : what.grams;
  return Math.abs(level - hopper.estimate.level) <= 0.25 * settings.hopperCapacity;
}

/** Of the capacity. What a full one holds may as well be half as much again, or half of it, where nobody has said. */
const brimUncertainty = (settings: FeederSettings): number => (isAssumed(settings, "hopperCapacity") ? 0.3 : 0.03);

/** How much was poured in has been told too: then "full" can be compared with what was reckoned. */
const isAmountReported = ({ amountReportedAt }: HopperState, at: Instant): boolean =>
  amountReportedAt !== null && Math.abs(at - amountReportedAt) <= sameRefillWithin;

/**
 * Portion after portion fell nothing, by reckoning little was left, and now somebody refills: it had run dry. That tells how
 * much the portions weighed since the level was last known.
 */
function markRunDry(hopper: HopperState, settings: FeederSettings): HopperState {
  if (!hopper.isKnown || hopper.emptyPortions < emptyPortionsMin || settings.sensors.scale) return hopper;
  const corners = 0.25 * emptyThreshold(settings); // g, what no tray reaches
  const variance = corners * corners;
  if (hopper.estimate.level > 2.5 * Math.sqrt(levelVariance(hopper.estimate) + variance)) return hopper; // a jam, then
  const belief = clampPortion(updateByMeasurement(hopper.estimate, 0, variance), settings);
  return { ...hopper, estimate: clampLevel(belief, settings) };
}

function addFood(hopper: HopperState, mass: number, at: Instant, settings: FeederSettings): HopperState {
  if (!hopper.isKnown) {
    // What was in it before isn't known; keepers refill what is nearly empty.
    const belief = resetLevel(hopper.estimate, mass, (0.15 * settings.hopperCapacity) ** 2);
    return {
      ...hopper,
      isKnown: true,
      levelMeasuredAt: at,
      amountReportedAt: at,
      estimate: clampLevel(belief, settings),
    };
  }
  // The scale weighed after it was poured in: it is in the reading already.
  if (hopper.weighedAt !== null && at < hopper.weighedAt) return hopper;
  const doubt = 0.03 * mass; // a kitchen scale or a scoop; common practice, no source
  const heaped = addVariance({ ...hopper.estimate, level: hopper.estimate.level + mass }, { level: doubt * doubt });
  // It went in, so there was room for it.
  const near = heaped.level + Math.sqrt(levelVariance(heaped)) > brimGrams(settings);
  const belief = near ? clampPortion(truncateAbove(heaped, brimGrams(settings)), settings) : heaped;
  return { ...hopper, amountReportedAt: at, estimate: clampLevel(fillToBrim(belief, mass, settings), settings) };
}

/**
 * Who pours in much does it to fill up, more or less. Nothing else corrects a level that is only reckoned from portions for
 * weeks; one that is weighed, or well known, doesn't heed it. Common practice, no source.
 */
function fillToBrim(belief: LevelEstimate, mass: number, settings: FeederSettings): LevelEstimate {
  const { hopperCapacity, sensors } = settings;
  if (sensors.scale || mass < 0.3 * hopperCapacity || isAssumed(settings, "hopperCapacity")) return belief;
  return clampPortion(updateByMeasurement(belief, 0.85 * hopperCapacity, (0.15 * hopperCapacity) ** 2), settings);
}

/** The level as a keeper saw it. */
interface KeeperMeasurement {
  readonly mass: number; // g
  readonly doubt: number; // g, standard deviation
  readonly at: Instant;
  readonly teaches: boolean; // whether what was reckoned before can be compared with it: not where food was poured in
}

function setLevelByKeeper(
  hopper: HopperState,
  { mass, doubt, at, teaches }: KeeperMeasurement,
  settings: FeederSettings,
): HopperState {
  if (hopper.levelMeasuredAt !== null && at < hopper.levelMeasuredAt) return hopper;
  // Told late: what fell since then was subtracted from a level that no longer counts, so it is reckoned anew.
  const since = expectedEatenSince(hopper, at, settings);
  const now = mass - since;
  const variance = doubt * doubt + (0.5 * since) ** 2;
  const total = levelVariance(hopper.estimate) + variance;
  const near = hopper.isKnown && Math.abs(now - hopper.estimate.level) <= 3 * Math.sqrt(total);
  const belief =
    teaches && near
      ? clampPortion(updateByMeasurement(hopper.estimate, now, variance), settings)
      : resetLevel(hopper.estimate, now, variance);
  const measured = { ...hopper, isKnown: true, levelMeasuredAt: at, estimate: clampLevel(belief, settings) };
  return updateEmptySince(measured, at, settings);
}

/** Grams by the learnt rate, since single portions of the past aren't kept. */
function expectedEatenSince(hopper: HopperState, at: Instant, settings: FeederSettings): number {
  if (hopper.lastPortionAt === null || hopper.lastPortionAt <= at) return 0;
  const outlook = appetiteForecast(hopper.appetite, settings);
  return outlook === null ? 0 : expectedEaten(outlook, settings, at, hopper.lastPortionAt);
}
