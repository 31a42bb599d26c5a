import type { Fault } from "../faults.ts";
import type { Instant } from "../instant.ts";
import type { Readings } from "../report.ts";
import { type Held, isStuck } from "./heldReadings.ts";

/** What is remembered of the load cell: whether it speaks, and whether what it says ever changes. */
export interface ScaleWatch {
  readonly last: number | null; // grams, as last read
  readonly lastAt: Instant | null;
  readonly absent: number; // reports in a row that had other readings but none of the hopper
  /** Portions that the chute saw fall since the reading last changed; those before the newest reading in `fallenAtReading`. */
  readonly fallen: number;
  readonly fallenAtReading: number;
  /** Portions that were given and that nobody could see fall, likewise. */
  readonly given: number;
  readonly givenAtReading: number;
}

export const unreadScale = (): ScaleWatch => ({
  last: null,
  lastAt: null,
  absent: 0,
  fallen: 0,
  fallenAtReading: 0,
  given: 0,
  givenAtReading: 0,
});

/** Only what the chute saw counts: a tray that turns empty or jammed leaves the weight as it is, rightly. */
export const portionFell = (scale: ScaleWatch): ScaleWatch => withPortions(scale, scale.fallen + 1, scale.given);

/** There is no chute sensor. */
export const portionGiven = (scale: ScaleWatch): ScaleWatch => withPortions(scale, scale.fallen, scale.given + 1);

const withPortions = (scale: ScaleWatch, fallen: number, given: number): ScaleWatch => ({
  last: scale.last,
  lastAt: scale.lastAt,
  absent: scale.absent,
  fallen,
  fallenAtReading: scale.fallenAtReading,
  given,
  givenAtReading: scale.givenAtReading,
});

export function scaleRead(scale: ScaleWatch, readings: Readings, at: Instant): ScaleWatch {
  const { hopper } = readings;
  if (hopper === null) return saysOther(readings) ? { ...scale, absent: scale.absent + 1 } : scale;
  const { fallen, given } = scale;
  if (hopper === scale.last) {
    return { last: hopper, lastAt: at, absent: 0, fallen, fallenAtReading: fallen, given, givenAtReading: given };
  }
  return { last: hopper, lastAt: at, absent: 0, fallen: 0, fallenAtReading: 0, given: 0, givenAtReading: 0 };
}

/** A feeder that sends bare events between its full reports says nothing of its scale by that. */
const saysOther = (readings: Readings): boolean =>
  readings.air !== null ||
  readings.inside !== null ||
  readings.lid !== null ||
  readings.humidity !== null ||
  readings.supply !== null ||
  readings.battery !== null ||
  readings.signalDbm !== null;

/** A load cell's amplifier misses a reading now and then in the cold, not ten in a row. Common practice, no source. */
const absentMax = 10;
/** Eight portions are several times what the coarsest sensible scale resolves, and the last digit always trembles. */
const frozenPortions = 8;

/** @param held how long its reading has been the same, and usually is; @param setAside what it says is impossible. */
export function scaleSilence(scale: ScaleWatch, held: Held | null, setAside: boolean): Fault | null {
  if (scale.absent >= absentMax && !setAside) {
    return {
      kind: "scaleSilent",
      reason:
        scale.lastAt === null
          ? "A scale is fitted, but no report ever had a weight in it."
          : `The last ${scale.absent} reports came without the hopper's weight.`,
      evidence: [
        { what: "reports without a weight", value: String(scale.absent), at: null },
        ...(scale.lastAt === null
          ? []
          : [{ what: "last weight", value: scale.last === null ? "a weight" : `${scale.last} g`, at: scale.lastAt }]),
      ],
      sure: null,
    };
  }
  if (scale.last === null) return null;
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
      { what: "weight, unchanged", value: `${scale.last} g`, at: scale.lastAt },
      { what, value: String(seen ? scale.fallenAtReading : scale.givenAtReading), at: null },
    ],
    sure: null,
  };
}
