import { percentAtLeastText, percentAtMostText } from "#text/programmeScreen.ts";
import { numberText } from "./format.ts";

/** The problem of a share that is entered in per cent: the server speaks of 0 to 1. */
export function percentProblem(problem: string | undefined): string | undefined {
  const bound = /^must be at (least|most) (\d+(?:\.\d+)?)$/.exec(problem ?? "");
  if (bound === null) return problem;
  const percent = numberText(100 * Number(bound[2]), 1);
  return bound[1] === "least" ? percentAtLeastText(percent) : percentAtMostText(percent);
}
