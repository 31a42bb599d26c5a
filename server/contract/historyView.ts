import type { ColdLimits } from "../domain/cold/coldLimits.ts";
import type { HistoryColumn } from "../domain/history/historySeries.ts";

/** The history of a feeder for a chart, as columns: one value for each bucket of time. */
export interface HistoryView {
  readonly feeder: string;
  readonly zone: string; // by whose days and hours the buckets begin
  readonly level: "quarter" | "hour" | "day"; // of the roll-ups that were merged
  readonly from: string; // begin of the first bucket, at or before the one that was asked for
  readonly to: string; // end of the last one
  /** Of each bucket. Each begins where the one before ends. */
  readonly lengthMinutes: readonly number[];
  /**
   * By name. Null: nothing is known of the bucket, which is not zero. A column of which nothing at all is known is left out. Counts are
   * sums. `hopperGrams` with `Low` and `High` is the last level with its 90 % interval. Shares are 0 to 1: `reportedShare` of the time up
   * to now, `pausedShare` of the time with reports.
   */
  readonly columns: { readonly [name in HistoryColumn]?: readonly (number | null)[] };
  /** In which buckets an alarm stood: runs of [first, last] by their index, from 0. */
  readonly standingAlarms: readonly {
    readonly fault: string;
    readonly title: string;
    readonly runs: readonly (readonly number[])[];
  }[];
  /** By bucket, where the hopper was refilled; grams are null where an amount is not known. Left out unless `hopperGrams` is asked for. */
  readonly refills?: readonly { readonly bucket: number; readonly grams: number | null }[];
  /** From where on cold matters to this feeder; left out unless temperatures or the battery are asked for. */
  readonly limits?: ColdLimits;
  /** How many stored roll-ups could not be read. They are left out: where it isn't 0, sums may be too small. */
  readonly damaged: number;
}
