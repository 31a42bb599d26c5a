import { z } from "zod";
import { type HistoryColumn, historyColumns } from "../domain/history/historySeries.ts";
import { days, type Instant, instantOf } from "../domain/instant.ts";
import { valueText } from "./fieldProblem.ts";

/** Which history of a feeder a chart asks for, in the address. */

/** As many as a wide screen has places for. More would be read and sent for nothing: a year at 1,000 misses 50 ms, 500 days 100 kB. */
const pointsMax = 500;
const pointsUsual = 400;
const yearsMax = 10;
const spanMax = days(3_653); // ten years hold two or three leap days

const moment = z.iso.datetime({
  offset: true,
  abort: true, // what follows compares moments
  error: "must be a moment such as 2026-11-25T00:00:00Z (in an address, + is written as %2B)",
});
const pointsProblem = `must be a whole number from 2 to ${pointsMax}`;

const fields = z.strictObject({
  from: moment,
  to: moment,
  points: z.coerce
    .number(pointsProblem)
    .int(pointsProblem)
    .min(2, pointsProblem)
    .max(pointsMax, pointsProblem)
    .default(pointsUsual)
    .describe(`At most so many buckets; ${pointsUsual} where it is left out.`),
  columns: z
    .string()
    .max(1_000, { error: "must be at most 1000 characters", abort: true })
    .optional()
    .describe(`Names with commas between them; all where it is left out: ${historyColumns.join(", ")}.`),
});

export const historyRequest = fields.superRefine(({ from, to, columns }, context) => {
  const refuse = (field: keyof typeof fields.shape, message: string) => {
    context.addIssue({ code: "custom", path: [field], message });
  };
  const span = instantOf(to) - instantOf(from);
  if (span <= 0) refuse("to", "must be later than from");
  if (span > spanMax) refuse("to", `must be at most ${yearsMax} years after from`);
  const unknown = namesIn(columns).find((name) => !isColumn(name));
  if (unknown !== undefined) refuse("columns", `there is no column ${valueText(unknown)}`);
});

export interface HistorySpan {
  readonly from: Instant;
  readonly to: Instant;
  readonly points: number;
  readonly columns: readonly HistoryColumn[];
}

/** In the order in which we have them, each once: the same columns in another order are the same answer. */
export function historySpanOf({ from, to, points, columns }: z.infer<typeof historyRequest>): HistorySpan {
  const wanted = new Set<string>(namesIn(columns));
  return {
    from: instantOf(from),
    to: instantOf(to),
    points,
    columns: columns === undefined ? historyColumns : historyColumns.filter((name) => wanted.has(name)),
  };
}

const namesIn = (columns: string | undefined): readonly string[] => columns?.split(",") ?? [];
const isColumn = (name: string): boolean => (historyColumns as readonly string[]).includes(name);
