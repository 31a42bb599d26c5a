import type { Instant } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import type { Grams } from "../units.ts";
import { clampLevel, type HopperState, updateEmptySince } from "./level.ts";
import { addVariance, clampLidLoad, updateByReading } from "./levelFilter.ts";

export interface WeighingResult {
  readonly hopper: HopperState;
  /** A refill that wasn't entered; null where there was none, or where the keeper entered it. */
  readonly foundRefill: Grams | null;
}

export interface ScaleReading {
  readonly reading: number; // g
  readonly kelvinAboveTare: number; // K, of the cell, against its taring
  readonly at: Instant;
}

/** The level by this reading, whatever the estimate was before. */
export function restartLevel(
  hopper: HopperState,
  { reading, kelvinAboveTare, at }: ScaleReading,
  settings: FeederSettings,
  addedLevelVariance = (4 * settings.hopperCapacity) ** 2, // g², beyond the estimate's variance
): HopperState {
  const widened = addVariance(hopper.estimate, { level: addedLevelVariance });
  const corrected = clampLidLoad(updateByReading(widened, reading, kelvinAboveTare, hopper.noiseVariance));
  const estimate = clampLevel(corrected, settings);
  const restarted = {
    ...hopper,
    isKnown: true,
    estimate,
    hypotheses: [],
    portionsSinceWeighed: 0,
    fellSinceWeighed: false,
    weighedAt: at,
    levelMeasuredAt: at,
    predictedAt: at,
    pendingJump: null,
  };
  return updateEmptySince(restarted, at, settings);
}
