import type { Instant } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import type { Grams } from "../units.ts";
import { clampLevel, type HopperState, updateEmptySince } from "./level.ts";
import { addVariance, clampLidLoad, updateByReading } from "./levelFilter.ts";

export interface WeighingResult {
  readonly hopper: HopperState;
  /** What somebody poured in without a word; null where nothing was, or where the keeper has told of it. */
  readonly foundRefill: Grams | null;
}

/** What a scale said. */
export interface ScaleReading {
  readonly reading: number; // g
  readonly kelvinAboveTare: number; // K, of the cell, against its taring
  readonly at: Instant;
}

/** The level by this reading, whatever was believed before. */
export function restartLevel(
  hopper: HopperState,
  { reading, kelvinAboveTare, at }: ScaleReading,
  settings: FeederSettings,
  levelDoubt = (4 * settings.hopperCapacity) ** 2, // g², beyond what was believed before
): HopperState {
  const open = addVariance(hopper.estimate, { level: levelDoubt });
  const read = clampLidLoad(updateByReading(open, reading, kelvinAboveTare, hopper.noiseVariance));
  const belief = clampLevel(read, settings);
  const next = {
    ...hopper,
    isKnown: true,
    estimate: belief,
    portionsSinceWeighed: 0,
    weighedAt: at,
    levelMeasuredAt: at,
    predictedAt: at,
    pendingJump: null,
  };
  return updateEmptySince(next, at, settings);
}
