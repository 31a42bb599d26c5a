import { numberText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Evidence, Fault } from "../faults.ts";
import type { Instant } from "../instant.ts";
import type { Readings } from "../report.ts";
import { type ConstantReading, isStuck } from "./stuckReadings.ts";

/** The state of the load cell: whether it reports, and whether its reading ever changes. */
export interface ScaleActivity {
  readonly lastGrams: number | null; // grams, as last read
  readonly lastReadAt: Instant | null;
  readonly reportsWithoutReading: number; // reports in a row that had other readings but none of the hopper
  /** Portions that the chute saw fall since the reading last changed; those before the newest reading in `fallenAtReading`. */
  readonly portionsFallen: number;
  readonly fallenAtReading: number;
  /** Portions that were given and that no sensor could see fall, likewise. */
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

/** Only what the chute saw counts: an empty or jammed tray leaves the weight as it is. */
export const countFallenPortion = (scale: ScaleActivity): ScaleActivity =>
  withPortions(scale, scale.portionsFallen + 1, scale.portionsGiven);

/** There is no chute sensor. */
export const countGivenPortion = (scale: ScaleActivity): ScaleActivity =>
  withPortions(scale, scale.portionsFallen, scale.portionsGiven + 1);

const withPortions = (scale: ScaleActivity, portionsFallen: number, portionsGiven: number): ScaleActivity => ({
  lastGrams: scale.lastGrams,
  lastReadAt: scale.lastReadAt,
  reportsWithoutReading: scale.reportsWithoutReading,
  portionsFallen,
  fallenAtReading: scale.fallenAtReading,
  portionsGiven,
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

/** A feeder that sends bare events between its full reports shows nothing about its scale by that. */
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
/** Eight portions are several times what the coarsest sensible scale resolves, and the last digit always changes. */
const unchangedPortionsMin = 8;

/** `constantReading`: how long its reading has stayed the same; `isRejected`: the scale's values are impossible. */
export function scaleSilentFault(
  scale: ScaleActivity,
  constantReading: ConstantReading | null,
  isRejected: boolean,
): Fault | null {
  if (scale.reportsWithoutReading >= reportsWithoutReadingMax && !isRejected) return missingWeightFault(scale);
  if (scale.lastGrams === null) return null;
  const { givenLabel, seenLabel, unchangedThoughGiven, unchangedThoughSeen } = texts.sensorFaults.scale;
  if (scale.fallenAtReading >= unchangedPortionsMin) {
    const { fallenAtReading } = scale;
    return unchangedWeightFault(scale, {
      count: fallenAtReading,
      reason: unchangedThoughSeen(fallenAtReading),
      label: seenLabel,
    });
  }
  // Where no sensor sees them fall it may be a jam, which leaves the weight as it is: but not to the last digit for hours.
  const isStuckScale = constantReading !== null && isStuck("hopper", constantReading);
  if (scale.givenAtReading < unchangedPortionsMin || !isStuckScale) return null;
  const { givenAtReading } = scale;
  return unchangedWeightFault(scale, {
    count: givenAtReading,
    reason: unchangedThoughGiven(givenAtReading),
    label: givenLabel,
  });
}

function missingWeightFault({ lastReadAt, lastGrams, reportsWithoutReading }: ScaleActivity): Fault {
  const text = texts.sensorFaults.scale;
  const evidence: Evidence[] = [{ label: text.missingLabel, value: numberText(reportsWithoutReading), at: null }];
  if (lastReadAt !== null)
    evidence.push({
      label: text.lastWeightLabel,
      value: weightText(lastGrams),
      at: lastReadAt,
    });
  return {
    kind: "scaleSilent",
    reason: lastReadAt === null ? text.neverReported : text.missing(reportsWithoutReading),
    evidence,
    confidence: null,
  };
}

interface PortionCount {
  readonly count: number;
  readonly reason: string;
  readonly label: string;
}

const weightText = (grams: number | null): string =>
  grams === null ? texts.sensorFaults.scale.aWeight : texts.units.grams(numberText(grams, 3));

const unchangedWeightFault = (
  { lastGrams, lastReadAt }: ScaleActivity,
  { count, reason, label }: PortionCount,
): Fault => ({
  kind: "scaleSilent",
  reason,
  evidence: [
    { label: texts.sensorFaults.scale.unchangedLabel, value: weightText(lastGrams), at: lastReadAt },
    { label, value: numberText(count), at: null },
  ],
  confidence: null,
});
