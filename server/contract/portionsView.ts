import { z } from "zod";
import { days, instantOf } from "../domain/instant.ts";

/** The portions of a feeder in a short span, as it reported each: what a picture beside an alarm shows. */
export interface PortionsView {
  readonly feeder: string;
  readonly portions: readonly {
    readonly at: string; // start of the run
    readonly cause: "timer" | "press" | "deposit" | "keeper" | "bench";
    readonly pieces: number | null; // that the chute sensor saw; null without one
    readonly milliamps: number | null; // mean of the motor; null where it isn't measured
  }[];
  /** Older ones of the span are left out. */
  readonly isCut: boolean;
}

const spanMax = days(2);
const moment = z.iso.datetime({ offset: true, abort: true, error: "must be a moment such as 2026-11-25T00:00:00Z" });

export const portionsRequest = z.strictObject({ from: moment, to: moment }).superRefine(({ from, to }, context) => {
  const span = instantOf(to) - instantOf(from);
  if (span <= 0) context.addIssue({ code: "custom", path: ["to"], message: "must be later than from" });
  if (span > spanMax) context.addIssue({ code: "custom", path: ["to"], message: "must be at most 2 days after from" });
});
