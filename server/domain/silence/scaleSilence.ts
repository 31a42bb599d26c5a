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
  readonly reportsWithoutReading: number; // reports in a row without a reading; those without any reading count a sixth
  /** Portions that the chute saw fall since the reading last changed; those before the newest reading in `fallenAtReading`. */
  readonly portionsFallen: number;
  readonly fallenAtReading: number;
  /** Portions that were given and that no sensor could see fall, likewise. */
  readonly portionsGiven: number;
  readonly givenAtReading: number;
  readonly longestMissing: number; // reports in a row without a reading, before the next one came
  readonly longestUnchanged: number; // portions seen to fall while the reading stayed the same, before it changed
}

export const initialScaleActivity = (): ScaleActivity => ({
  lastGrams: null,
  lastReadAt: null,
  reportsWithoutReading: 0,
  portionsFallen: 0,
  fallenAtReading: 0,
  portionsGiven: 0,
  givenAtReading: 0,
  longestMissing: 0,
  longestUnchanged: longestUnchangedFirst,
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
  longestMissing: scale.longestMissing,
  longestUnchanged: scale.longestUnchanged,
});

export function updateScaleActivity(scale: ScaleActivity, readings: Readings, at: Instant): ScaleActivity {
  const { hopper } = readings;
  if (hopper === null)
    return { ...scale, reportsWithoutReading: scale.reportsWithoutReading + missingShare(scale, readings) };
  const { portionsFallen, portionsGiven } = scale;
  const longestMissing = Math.max(scale.longestMissing, Math.min(scale.reportsWithoutReading, longestLearnt));
  if (hopper === scale.lastGrams) {
    return {
      lastGrams: hopper,
      lastReadAt: at,
      reportsWithoutReading: 0,
      portionsFallen,
      fallenAtReading: portionsFallen,
      portionsGiven,
      givenAtReading: portionsGiven,
      longestMissing,
      longestUnchanged: scale.longestUnchanged,
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
    longestMissing,
    longestUnchanged: Math.max(scale.longestUnchanged, Math.min(scale.fallenAtReading, longestLearnt)),
  };
}

/**
 * A feeder that sends bare events between its full reports shows little about its scale by that; one that never sends a reading any more,
 * and has only a scale, shows it in the end. Our choice.
 */
const missingShare = ({ lastReadAt }: ScaleActivity, readings: Readings): number => {
  if (hasOtherReadings(readings)) return 1;
  return lastReadAt === null ? 0 : 1 / 6;
};
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
/**
 * Six portions may weigh less than a coarse scale resolves; how many do on this feeder is learnt. As many again, and four, are no chance.
 * Common practice, no source.
 */
const longestUnchangedFirst = 6;
/** Where the reading was never the same for so long, eight portions are enough. Common practice, no source. */
const givenPortionsMin = 8;
const unchangedMargin = 4;
/** A longer span of nothing was a fault that ended. Our choice. */
const longestLearnt = 100;

const portionsUnchangedMin = ({ longestUnchanged }: ScaleActivity): number => 2 * longestUnchanged + unchangedMargin;
/** Some feeders send bare events between reports with readings. */
const reportsMissingMin = ({ longestMissing }: ScaleActivity): number => reportsWithoutReadingMax + 2 * longestMissing;

/** `constantReading`: how long its reading has stayed the same; `isRejected`: the scale's values are impossible. */
export function scaleSilentFault(
  scale: ScaleActivity,
  constantReading: ConstantReading | null,
  isRejected: boolean,
): Fault | null {
  if (scale.reportsWithoutReading >= reportsMissingMin(scale) && !isRejected) return missingWeightFault(scale);
  if (scale.lastGrams === null) return null;
  const { givenLabel, seenLabel, unchangedThoughGiven, unchangedThoughSeen } = texts.sensorFaults.scale;
  if (scale.fallenAtReading >= portionsUnchangedMin(scale)) {
    const { fallenAtReading } = scale;
    return unchangedWeightFault(scale, {
      count: fallenAtReading,
      reason: unchangedThoughSeen(fallenAtReading),
      label: seenLabel,
    });
  }
  // Where no sensor sees them fall it may be a jam, which leaves the weight as it is: but not to the last digit for hours.
  const isStuckScale = constantReading !== null && isStuck("hopper", constantReading);
  if (scale.givenAtReading < givenPortionsMin || !isStuckScale) return null;
  const { givenAtReading } = scale;
  return unchangedWeightFault(scale, {
    count: givenAtReading,
    reason: unchangedThoughGiven(givenAtReading),
    label: givenLabel,
  });
}

function missingWeightFault({ lastReadAt, lastGrams, reportsWithoutReading }: ScaleActivity): Fault {
  const text = texts.sensorFaults.scale;
  const missing = Math.floor(reportsWithoutReading);
  const evidence: Evidence[] = [{ label: text.missingLabel, value: numberText(missing), at: null }];
  if (lastReadAt !== null)
    evidence.push({
      label: text.lastWeightLabel,
      value: weightText(lastGrams),
      at: lastReadAt,
    });
  return {
    kind: "scaleSilent",
    reason: lastReadAt === null ? text.neverReported : text.missing(missing),
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
