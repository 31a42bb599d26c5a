import type { Instant } from "../../server/domain/instant.ts";
import type { ReleasedPortion } from "../../server/practice/model/tray.ts";
import type { LogLine } from "../../server/replay/logLine.ts";
import type { PlantedFaultKind } from "./plot.ts";

/** What is truly so when a line of the log comes about. */
export interface TrueState {
  readonly at: Instant;
  readonly grams: number; // in hopper and tray, all that the cell carries
  readonly portionGrams: number; // true mean of a portion now
  readonly emptySince: Instant | null; // when the tray first gave nothing for want of food
  readonly fault: PlantedFaultKind | null; // as it stands now
  readonly portions: number; // motor runs so far
  readonly unfed: number; // of them since the planted fault showed: where food runs out, from the first that gave nothing
  readonly landings: number;
}

export interface SimulatedMoment {
  readonly line: LogLine;
  readonly truth: TrueState;
  /** What this report contains, as it truly was, in its order; empty for other lines. */
  readonly portions: readonly TruePortion[];
  readonly landings: readonly TrueLanding[];
}

export interface TruePortion extends ReleasedPortion {
  readonly insideCelsius: number;
  readonly unfed: number; // the first that shows the planted fault is 1; 0 before
}

export interface TrueLanding {
  readonly pressed: boolean; // and seen by the button
  readonly deposited: boolean; // and seen by the detector
  readonly broken: boolean; // since the planted fault began
}

/** Is told at once of what happens, also of what no report carries. */
export interface PlotObserver {
  landed(at: Instant): void;
  ran(at: Instant, portion: ReleasedPortion): void;
}
