import type { ReportedRefill } from "../facts.ts";
import type { Instant } from "../instant.ts";
import type { Appetite } from "./appetite.ts";
import type { LevelEstimate } from "./levelFilter.ts";
import type { LidLoadState } from "./lidLoad.ts";
import type { RealisedError } from "./realisedError.ts";

/**
 * How much is in the hopper. Portions are subtracted by dead reckoning, a scale if there is one (weighing.ts) and what
 * the keeper enters (refill.ts) correct it, and both teach what a portion weighs. The level is unknown before one of them.
 */
export interface HopperState {
  readonly isKnown: boolean; // false until a scale or a refill has given a level; `estimate.level` means nothing until then
  readonly estimate: LevelEstimate; // the most probable one
  readonly hypotheses: readonly LevelHypothesis[]; // all that are possible, while no scale has shown the level; else empty
  readonly portionSpreadVariance: number; // g², of a single portion around the mean portion
  readonly noiseVariance: number; // g², of a single reading, learnt
  readonly statedPortionGrams: number; // g, the portion weight entered by the keeper when learning began; 0: none
  readonly portionsSinceWeighed: number;
  readonly lastPortionAt: Instant | null;
  readonly weighedAt: Instant | null; // the last reading that was accepted
  readonly levelMeasuredAt: Instant | null; // portions before then are already missing from the level
  readonly predictedAt: Instant | null; // up to then the scale's drift and the snow are predicted
  readonly lidLoad: LidLoadState;
  readonly cellCelsius: number | null; // of the load cell, which lags behind the thermometer; null without one
  readonly pendingJump: PendingJump | null;
  readonly unclearRise: UnclearRise | null; // of the scale, which may be snow or an untold refill
  readonly foundRefill: { readonly grams: number; readonly at: Instant } | null; // the last refill that the scale found
  readonly refillReportedAt: Instant | null; // when the keeper last entered one
  readonly toldLevel: ToldLevel | null; // what the last word means, until the scale has shown it
  readonly lastWord: LastWord | null; // what the keeper last entered, while no scale shows the level
  readonly unweighedWord: ReportedRefill | null; // told while the scale was read, which hasn't been read since
  readonly realisedError: RealisedError;
  readonly scoreBeforeDry: number | null; // how far the level was off, if this run of empty portions ends in an empty hopper
  readonly levelBeforeDry: LevelBeforeDry | null; // what was believed before this run of empty portions, which change what is believed
  readonly emptyPortions: number; // portions in a row of which the chute sensor saw nothing, as far as it isn't blind
  readonly fellSinceWeighed: boolean; // the last portion since the last reading was seen to fall
  readonly emptySince: Instant | null;
  readonly appetite: Appetite;
}

/** The level after a refill as the keeper told it, g, with the error of such a word (standard deviation of what was added). */
export interface ToldLevel {
  readonly grams: number;
  readonly deviation: number;
  readonly at: Instant;
}

/** Written out, not spread: it runs for each portion and reading, and Node 20 copies by `...` five times more slowly. */
export const copyHopper = (hopper: HopperState): { -readonly [name in keyof HopperState]: HopperState[name] } => ({
  isKnown: hopper.isKnown,
  estimate: hopper.estimate,
  hypotheses: hopper.hypotheses,
  portionSpreadVariance: hopper.portionSpreadVariance,
  noiseVariance: hopper.noiseVariance,
  statedPortionGrams: hopper.statedPortionGrams,
  portionsSinceWeighed: hopper.portionsSinceWeighed,
  lastPortionAt: hopper.lastPortionAt,
  weighedAt: hopper.weighedAt,
  levelMeasuredAt: hopper.levelMeasuredAt,
  predictedAt: hopper.predictedAt,
  lidLoad: hopper.lidLoad,
  cellCelsius: hopper.cellCelsius,
  pendingJump: hopper.pendingJump,
  unclearRise: hopper.unclearRise,
  foundRefill: hopper.foundRefill,
  refillReportedAt: hopper.refillReportedAt,
  toldLevel: hopper.toldLevel,
  lastWord: hopper.lastWord,
  unweighedWord: hopper.unweighedWord,
  realisedError: hopper.realisedError,
  scoreBeforeDry: hopper.scoreBeforeDry,
  levelBeforeDry: hopper.levelBeforeDry,
  emptyPortions: hopper.emptyPortions,
  fellSinceWeighed: hopper.fellSinceWeighed,
  emptySince: hopper.emptySince,
  appetite: hopper.appetite,
});

/** One of several histories: how probable it is, and what it makes of three quantities that are learnt together. */
export interface LevelHypothesis {
  readonly probability: number;
  readonly level: number; // g
  readonly portion: number; // g
  readonly brim: number; // g, when this keeper has filled it up: a capacity is entered roughly, but the hopper stays the same
  /** Symmetric covariance of (level, portion, brim): its lower triangle row by row, in g². */
  readonly covariance: readonly [number, number, number, number, number, number];
}

export interface LastWord {
  readonly at: Instant;
  readonly kind: ReportedRefill["what"]["kind"];
  readonly grams: number | null;
}

/** A reading far off, not yet accepted. */
export interface PendingJump {
  readonly grams: number; // what the level would be
  readonly residual: number; // g, from what was expected
  readonly at: Instant; // of the first such reading
  readonly count: number; // of readings that agreed
}

/**
 * A rise of the scale by day that nobody told: snow or rain, or a refill. Until it is known it counts as a load on the lid, and the food that it
 * may be widens the interval. Snow melts in thaw and rain dries; food stays. A word of the keeper decides as well.
 */
export interface UnclearRise {
  readonly grams: number; // of it, as far as it is still there
  readonly at: Instant;
  readonly foodProbability: number;
  readonly isRain: boolean; // else snow: it came in the cold
  readonly meltableGrams: number; // what thaw since then would have melted at least, or the air dried
}

/** An interval in grams, as HopperLevel has it. */
export interface LevelBeforeDry {
  readonly grams: number;
  readonly low: number;
  readonly high: number;
}
