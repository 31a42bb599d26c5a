import type { Instant } from "../instant.ts";
import { actFigures } from "./actFigures.ts";
import type { BenchRun } from "./benchRun.ts";
import { enduranceFigures } from "./enduranceFigures.ts";
import type { BenchFigure } from "./figure.ts";
import { portionFigures } from "./portionFigures.ts";

/** `notKnown`: nothing was found wrong, and too little was seen to call it ready. */
export type BenchVerdict = "ready" | "notReady" | "notKnown";

export const benchFigures = (run: BenchRun, now: Instant): readonly BenchFigure[] => [
  ...portionFigures(run),
  ...actFigures(run, now),
  ...enduranceFigures(run, now),
];

/** Never better than its worst figure. */
export function benchVerdict(figures: readonly BenchFigure[]): BenchVerdict {
  if (figures.some(({ status }) => status === "notMet")) return "notReady";
  return figures.some(({ status }) => status === "notKnown") ? "notKnown" : "ready";
}
