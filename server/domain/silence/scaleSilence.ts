import type { Readings } from "../facts.ts";
import type { Fault } from "../faults.ts";
import { type Instant, isoOf } from "../instant.ts";

/** What is remembered of the load cell: whether it speaks, and whether what it says ever changes. */
export interface ScaleWatch {
  readonly last: number | null; // grams, as last read
  readonly lastAt: Instant | null;
  readonly absent: number; // reports in a row that had other readings but none of the hopper
  /** Portions that the chute saw fall since the reading last changed; those before the newest reading in `fallenAtReading`. */
  readonly fallen: number;
  readonly fallenAtReading: number;
}

export const unreadScale = (): ScaleWatch => ({ last: null, lastAt: null, absent: 0, fallen: 0, fallenAtReading: 0 });

/** Only what the chute saw counts: a tray that turns empty or jammed leaves the weight as it is, rightly. */
export const portionFell = ({ last, lastAt, absent, fallen, fallenAtReading }: ScaleWatch): ScaleWatch => ({
  last,
  lastAt,
  absent,
  fallen: fallen + 1,
  fallenAtReading,
});

export function scaleRead(scale: ScaleWatch, readings: Readings, at: Instant): ScaleWatch {
  const { hopper } = readings;
  if (hopper === null) return saysOther(readings) ? { ...scale, absent: scale.absent + 1 } : scale;
  if (hopper === scale.last) return { ...scale, lastAt: at, absent: 0, fallenAtReading: scale.fallen };
  return { last: hopper, lastAt: at, absent: 0, fallen: 0, fallenAtReading: 0 };
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

export function scaleSilence(scale: ScaleWatch): Fault | null {
  if (scale.absent >= absentMax) {
    return {
      kind: "scaleSilent",
      reason:
        scale.lastAt === null
          ? "A scale is fitted, but no report ever had a weight in it."
          : `The last ${scale.absent} reports came without the hopper's weight.`,
      evidence: [
        { what: "reports without a weight", value: String(scale.absent), at: null },
        ...(scale.lastAt === null ? [] : [{ what: "last weight", value: isoOf(scale.lastAt), at: scale.lastAt }]),
      ],
      sure: null,
    };
  }
  if (scale.last === null || scale.fallenAtReading < frozenPortions) return null;
  return {
    kind: "scaleSilent",
    reason: `The scale says the same to the last digit, though ${scale.fallenAtReading} portions were seen to fall.`,
    evidence: [
      { what: "weight, unchanged", value: `${scale.last} g`, at: scale.lastAt },
      { what: "portions seen to fall since", value: String(scale.fallenAtReading), at: null },
    ],
    sure: null,
  };
}
