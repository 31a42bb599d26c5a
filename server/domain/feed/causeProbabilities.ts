import { emptyThreshold, type HopperLevel } from "../hopper/level.ts";
import { normalQuantile95 } from "../hopper/truncatedNormal.ts";
import { logNormalTail } from "../normalTail.ts";
import type { FeederSettings } from "../settings.ts";
import { onsetProbabilities } from "./faultSignatures.ts";
import type { HypothesisStatistics } from "./hypothesisStatistics.ts";

/** What can be told: a tray that runs without food is called by what its hopper holds. */
export const causes = [
  "hopperEmpty",
  "feedBridged",
  "trayJammed",
  "motorStalled",
  "motorNotTurning",
  "chuteBlind",
  "chuteHalfBlind",
  "scaleStuck",
] as const;
export type Cause = (typeof causes)[number];

export interface CauseProbability {
  readonly cause: Cause;
  readonly probability: number; // given that one of them is true
}

/**
 * Given that something is wrong: how likely it is each of these, the likeliest first. Bayes' rule over the sums of evidence,
 * which decides between several causes as soon as one is likely enough (Baum & Veeravalli 1994, IEEE Trans. Inf. Theory 40:1994).
 * `level`: in the hopper, null where not known. `sprang`: the scale fell by far more than was given.
 */
export function causeProbabilities(
  suspicions: HypothesisStatistics,
  level: HopperLevel | null,
  settings: FeederSettings,
  sprang: boolean,
): readonly CauseProbability[] {
  const stuck = sprang
    ? Math.max(onsetProbabilities.scaleStuck, stuckAfterJumpProbability)
    : onsetProbabilities.scaleStuck;
  const weights: Record<Cause, number> = {
    hopperEmpty: Math.log(runOutProbability(level, settings)) + suspicions.emptyTray.sum,
    feedBridged: Math.log(onsetProbabilities.bridged) + suspicions.emptyTray.sum,
    trayJammed: Math.log(onsetProbabilities.jammed) + suspicions.trayJammed.sum,
    motorStalled: Math.log(onsetProbabilities.stalled) + suspicions.motorStalled.sum,
    motorNotTurning: Math.log(onsetProbabilities.still) + suspicions.motorNotTurning.sum,
    chuteBlind: Math.log(onsetProbabilities.blind) + suspicions.chuteBlind.sum,
    chuteHalfBlind: logSumExp(
      Math.log(onsetProbabilities.halfBlind) + suspicions.chuteHalfBlind.sum,
      Math.log(onsetProbabilities.fewSeen) + suspicions.chuteUndercounting.sum,
    ),
    scaleStuck: Math.log(stuck) + suspicions.scaleStuck.sum,
  };
  const most = Math.max(...causes.map((name) => weights[name]));
  const odds = causes.map((name) => ({ name, odds: Math.exp(weights[name] - most) }));
  const all = odds.reduce((sum, one) => sum + one.odds, 0);
  return odds
    .map(({ name, odds }) => ({ cause: name, probability: odds / all }))
    .sort((a, b) => b.probability - a.probability);
}

/** A scale that falls to another value at once and stays there is about as often broken as emptied by a hand. */
const stuckAfterJumpProbability = 0.05;
/** A level can be grossly wrong: food was spilt or taken, the keeper misspoke. Common practice, no source. */
const runOutProbabilityMin = 1e-5;
/** Where a scale is fitted, that has been seen. */
const runOutProbabilityMinByScale = 1e-6;
/** Where nothing is known about the level, running out is as likely as all that stops food besides. */
const runOutProbabilityUnknown = onsetProbabilities.jammed + onsetProbabilities.bridged;

/**
 * The chance that the food ran out just at this portion, given that it hadn't before: the last of it lies in the corners, so
 * that it stops falling somewhere between the mark and nothing.
 */
function runOutProbability(level: HopperLevel | null, settings: FeederSettings): number {
  if (level === null) return runOutProbabilityUnknown;
  const mark = emptyThreshold(settings);
  // The interval is cut off at zero: its upper half tells the doubt.
  const doubt = Math.max((level.high - level.grams) / normalQuantile95, settings.portionMass / 2);
  const below = (bound: number) => Math.exp(logNormalTail(-(bound - level.grams) / doubt));
  const notBefore = 1 - below(0);
  const perGram = (below(mark) - below(0)) / mark;
  return Math.max(
    Math.min((settings.portionMass * perGram) / Math.max(notBefore, 1e-6), 0.5),
    settings.sensors.scale ? runOutProbabilityMinByScale : runOutProbabilityMin,
  );
}

const logSumExp = (a: number, b: number): number => Math.max(a, b) + Math.log1p(Math.exp(-Math.abs(a - b)));
