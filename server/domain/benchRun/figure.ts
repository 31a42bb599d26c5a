import { numberText, percentText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import { shareAtMost } from "../intervals.ts";

/** One result of a bench run, in words: the same for the screen, for paper and for the comparison with an earlier run. */
export interface BenchFigure {
  readonly name: FigureName;
  /** `noted`: shown, and no part of the verdict. `notFitted`: the feeder has no such sensor. */
  readonly status: "met" | "notMet" | "notKnown" | "notFitted" | "noted";
  readonly value: string;
  /** The limit that it must keep; null: it has none. */
  readonly limit: string | null;
  /** Why it is not met or not known; null where it is. */
  readonly reason: string | null;
}

export type FigureName = keyof typeof texts.benchRun.labels;

/** All limits are our choice: no standard has any for such feeders. */
export const benchLimits = {
  /** Of portions that are empty, and of those whose motor was held. */
  faultyPortions: { seen: 0.05, plausible: 0.1 },
  /** Of caps and presses that are missed. */
  missedActs: { seen: 0.1, plausible: 0.2 },
  sags: { seen: 0.05, plausible: 0.1 },
  /** An hour. */
  falseActs: { seen: 0.1, plausible: 1 },
  spread: 0.5, // standard deviation of a portion, as a share of its mean
  payMilliseconds: 3_000, // so long until the motor starts, for 95 %
  paidNeeded: 5,
  missedReports: 0.05,
  reportsNeeded: 30,
  longestGapMinutes: 10,
  soakHours: 4,
  scaleError: { share: 0.05, grams: 2 },
} as const;

export const figure = (
  name: FigureName,
  status: BenchFigure["status"],
  value: string,
  rest: { readonly limit?: string; readonly reason?: string } = {},
): BenchFigure => ({ name, status, value, limit: rest.limit ?? null, reason: rest.reason ?? null });

/**
 * A share of faults: not met where too many were seen, not known where too many are still plausible. So "met" is never said of a
 * handful of tries.
 */
export function shareFigure(
  name: FigureName,
  faults: number,
  of: number,
  limit: { readonly seen: number; readonly plausible: number },
): BenchFigure {
  const text = texts.benchRun;
  const limitText = text.shareLimit(percentText(limit.seen), percentText(limit.plausible));
  if (of === 0) return figure(name, "notKnown", text.noneTried, { limit: limitText, reason: text.noneTried });
  const most = shareAtMost(faults, of);
  const value = text.share(faults, of, numberText(100 * most, 1));
  if (faults / of > limit.seen)
    return figure(name, "notMet", value, { limit: limitText, reason: text.tooMany(percentText(limit.seen)) });
  return most > limit.plausible
    ? figure(name, "notKnown", value, { limit: limitText, reason: text.tooFew(numberText(100 * most, 1)) })
    : figure(name, "met", value, { limit: limitText });
}
