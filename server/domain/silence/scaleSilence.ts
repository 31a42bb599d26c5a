import type { Fault } from "../faults.ts";
import type { Instant } from "../instant.ts";
import type { Readings } from "../report.ts";
import { type ConstantReading, isStuck } from "./stuckReadings.ts";

/** What is remembered of the load cell: whether it speaks, and whether what it says ever changes. */
export interface ScaleActivity {
  readonly lastGrams: number | null; // grams, as last read
  readonly lastReadAt: Instant | null;
  readonly reportsWithoutReading: number; // reports in a row that had other readings but none of the hopper
  /** Portions that the chute saw fall since the reading last changed; those before the newest reading in `fallenAtReading`. */
  readonly portionsFallen: number;
  readonly fallenAtReading: number;
  /** Portions that were given and that nobody could see fall, likewise. */
  readonly portionsGiven: number;
  readonly givenAtReading: number;
}

export const initialScaleActivity = (): ScaleActivity => ({
  lastGrams: null,
  lastReadAt: null,
  reportsWithoutReading: 0,
  portionsFallen: 0,
  fallenAtReading: 0,
  portionsGiven: 0,
  givenAtReading: 0,
});

/** Only what the chute saw counts: a tray that turns empty or jammed leaves the weight as it is, rightly. */
export const countFallenPortion = (scale: ScaleActivity): ScaleActivity =>
  withPortions(scale, scale.portionsFallen + 1, scale.portionsGiven);

/** There is no chute sensor. */
export const countGivenPortion = (scale: ScaleActivity): ScaleActivity =>
  withPortions(scale, scale.portionsFallen, scale.portionsGiven + 1);

const withPortions = (scale: ScaleActivity, fallen: number, given: number): ScaleActivity => ({
  lastGrams: scale.lastGrams,
  lastReadAt: scale.lastReadAt,
  reportsWithoutReading: scale.reportsWithoutReading,
  portionsFallen: fallen,
  fallenAtReading: scale.fallenAtReading,
  portionsGiven: given,
  givenAtReading: scale.givenAtReading,
});

export function updateScaleActivity(scale: ScaleActivity, readings: Readings, at: Instant): ScaleActivity {
  const { hopper } = readings;
  if (hopper === null)
    return hasOtherReadings(readings) ? { ...scale, reportsWithoutReading: scale.reportsWithoutReading + 1 } : scale;
  const { portionsFallen, portionsGiven } = scale;
  if (hopper === scale.lastGrams) {
    return {
      lastGrams: hopper,
      lastReadAt: at,
      reportsWithoutReading: 0,
      portionsFallen,
      fallenAtReading: portionsFallen,
      portionsGiven,
      givenAtReading: portionsGiven,
    };
  }
  return {
    lastGrams: hopper,
    lastReadAt: at,
    reportsWithoutReading: 0,
    portionsFallen: 0,
    fallenAtReading: 0,
    portionsGiven: 0,
    givenAtReading: 0,
  };
}

/** A feeder that sends bare events between its full reports says nothing of its scale by that. */
const hasOtherReadings = (readings: Readings): boolean =>
  readings.air !== null ||
  readings.inside !== null ||
  readings.lid !== null ||
  readings.humidity !== null ||
  readings.supply !== null ||
  readings.battery !== null ||
  readings.signalDbm !== null;

/** A load cell's amplifier misses a reading now and then in the cold, not ten in a row. Common practice, no source. */
const reportsWithoutReadingMax = 10;
/** Eight portions are several times what the coarsest sensible scale resolves, and the last digit always trembles. */
const frozenPortions = 8;

/** @param held how long its reading has been the same, and usually is; @param setAside what it says is impossible. */
export function scaleSilentFault(scale: ScaleActivity, held: ConstantReading | null, setAside: boolean): Fault | null {
  if (scale.reportsWithoutReading >= reportsWithoutReadingMax && !setAside) {
    return {
      kind: "scaleSilent",
      reason:
        scale.lastReadAt === null
          ? "A scale is fitted, but no report ever had a weight in it."
          : `The last ${scale.reportsWithoutReading} reports came without the hopper's weight.`,
      evidence: [
        { label: "reports without a weight", value: String(scale.reportsWithoutReading), at: null },
        ...(scale.lastReadAt === null
          ? []
          : [
              {
                label: "last weight",
                value: scale.lastGrams === null ? "a weight" : `${scale.lastGrams} g`,
                at: scale.lastReadAt,
              },
            ]),
      ],
      confidence: null,
    };
  }
  if (scale.lastGrams === null) return null;
  const seen = scale.fallenAtReading >= frozenPortions;
  // Where nobody sees them fall it may be a jam, which leaves the weight as it is: but not to the last digit for hours.
  const unseen = scale.givenAtReading >= frozenPortions && held !== null && isStuck("hopper", held);
  if (!seen && !unseen) return null;
  const portions = seen
    ? `${scale.fallenAtReading} portions were seen to fall`
    : `${scale.givenAtReading} portions were given`;
  const what = seen ? "portions seen to fall since" : "portions given since";
  return {
    kind: "scaleSilent",
    reason: `The scale says the same to the last digit, though ${portions}.`,
    evidence: [
      { label: "weight, unchanged", value: `${scale.lastGrams} g`, at: scale.lastReadAt },
      { label: what, value: String(seen ? scale.fallenAtReading : scale.givenAtReading), at: null },
    ],
    confidence: null,
  };
}
