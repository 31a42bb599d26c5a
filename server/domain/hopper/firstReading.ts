import type { Instant } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import type { Grams } from "../units.ts";
import { type HopperState, markEmpty, withinHopper } from "./level.ts";
import { afterReading, doubted, withoutNegativeLid } from "./levelFilter.ts";

export interface Weighed {
  readonly hopper: HopperState;
  /** What somebody poured in without a word; null where nothing was, or where the keeper has told of it. */
  readonly refillFound: Grams | null;
}

/** What a scale said. */
export interface ScaleReading {
  readonly reading: number; // g
  readonly warmer: number; // K above the temperature of its zero
  readonly at: Instant;
}

/** The level by this reading, whatever was believed before. */
export function started(
  hopper: HopperState,
  { reading, warmer, at }: ScaleReading,
  settings: FeederSettings,
  levelDoubt = (4 * settings.hopperCapacity) ** 2, // g², beyond what was believed before
): HopperState {
  const open = doubted(hopper.belief, { level: levelDoubt });
  const read = withoutNegativeLid(afterReading(open, reading, warmer, hopper.noiseVariance));
  const belief = withinHopper(read, settings);
  const next = {
    ...hopper,
    known: true,
    belief,
    portionsSinceWeighed: 0,
    weighedAt: at,
    fixedAt: at,
    passedAt: at,
    jump: null,
  };
  return markEmpty(next, at, settings);
}
