import type { LevelBeforeDry } from "../hopper/hopperState.ts";
import { emptyThreshold, type HopperLevel } from "../hopper/level.ts";
import { normalQuantile95 } from "../hopper/truncatedNormal.ts";
import { logNormalTail } from "../normalTail.ts";
import type { FeederSettings } from "../settings.ts";
import { type Hypothesis, onsetProbabilities } from "./faultSignatures.ts";
import { type HypothesisStatistics, isFallingByScale } from "./hypothesisStatistics.ts";
import { isRefutedByCurrent, type MotorModel } from "./motorModel.ts";
import type { ScaleTrack } from "./scaleTrack.ts";

/** What can be distinguished: an empty tray has one of two causes, by what its hopper holds. */
export const causes = [
  "hopperEmpty",
  "feedBridged",
  "trayJammed",
  "trayPartlyJammed",
  "motorStalled",
  "motorNotTurning",
  "chuteBlind",
  "chuteHalfBlind",
  "scaleStuck",
] as const;
export type Cause = (typeof causes)[number];

interface EvidenceOfFeed {
  readonly statistics: HypothesisStatistics;
  readonly scale: ScaleTrack;
  readonly motor: MotorModel;
}

export interface CauseProbability {
  readonly cause: Cause;
  readonly probability: number; // given that one of them is true
}

/**
 * Given that something is wrong: the probability of each cause, the most likely first. Bayes' rule over the sums of evidence,
 * which decides between causes as soon as one is likely enough (Baum & Veeravalli 1994, IEEE Trans. Inf. Theory 40:1994).
 * `level`: in the hopper, null where not known. `hasJumpedDown`: the scale fell by far more than was given.
 */
export function causeProbabilities(
  { statistics, scale, motor }: EvidenceOfFeed,
  level: HopperLevel | null,
  settings: FeederSettings,
): readonly CauseProbability[] {
  const stuck = scale.hasJumpedDown
    ? Math.max(onsetProbabilities.scaleStuck, stuckAfterJumpProbability)
    : onsetProbabilities.scaleStuck;
  const chuteWeight = settings.sensors.chute ? 0 : Number.NEGATIVE_INFINITY; // a sensor that isn't there has no fault, and doesn't show a part
  // Food that demonstrably falls excludes all that stops it, as long as there is a sensor that may be wrong instead.
  const fallen = (hypothesis: Hypothesis) =>
    settings.sensors.chute && settings.sensors.scale && isFallingByScale(statistics[hypothesis], scale)
      ? Number.NEGATIVE_INFINITY
      : 0;
  const weights: Record<Cause, number> = {
    hopperEmpty: fallen("emptyTray") + Math.log(runOutProbability(level, settings)) + statistics.emptyTray.sum,
    feedBridged: fallen("emptyTray") + Math.log(onsetProbabilities.bridged) + statistics.emptyTray.sum,
    trayJammed: fallen("trayJammed") + Math.log(onsetProbabilities.jammed) + statistics.trayJammed.sum,
    trayPartlyJammed: chuteWeight + Math.log(onsetProbabilities.partlyJammed) + statistics.trayPartlyJammed.sum,
    motorStalled: isRefutedByCurrent(motor, "motorStalled")
      ? Number.NEGATIVE_INFINITY
      : Math.log(onsetProbabilities.stalled) + statistics.motorStalled.sum,
    motorNotTurning: isRefutedByCurrent(motor, "motorNotTurning")
      ? Number.NEGATIVE_INFINITY
      : Math.log(onsetProbabilities.still) + statistics.motorNotTurning.sum,
    chuteBlind: chuteWeight + Math.log(onsetProbabilities.blind) + statistics.chuteBlind.sum,
    chuteHalfBlind:
      chuteWeight +
      logSumExp(
        Math.log(onsetProbabilities.halfBlind) + statistics.chuteHalfBlind.sum,
        Math.log(onsetProbabilities.fewSeen) + statistics.chuteUndercounting.sum,
      ),
    scaleStuck: settings.sensors.scale ? Math.log(stuck) + statistics.scaleStuck.sum : Number.NEGATIVE_INFINITY,
  };
  const weightMax = Math.max(...causes.map((cause) => weights[cause]));
  const odds = causes.map((cause) => ({ name: cause, odds: Math.exp(weights[cause] - weightMax) }));
  const total = odds.reduce((sum, odd) => sum + odd.odds, 0);
  return odds
    .map(({ name: cause, odds }) => ({ cause, probability: odds / total }))
    .sort((a, b) => b.probability - a.probability);
}

/** A scale that falls to another value at once and stays there is about as often broken as emptied by a hand. */
const stuckAfterJumpProbability = 0.05;
/** A level can be grossly wrong: food was spilt or taken, the keeper entered a wrong amount. Common practice, no source. */
const runOutProbabilityMin = 1e-5;
/** A scale would have shown that. */
const runOutProbabilityMinByScale = 1e-6;
/** With an unknown level, an empty hopper is as likely as all other causes together. */
const runOutProbabilityUnknown = onsetProbabilities.jammed + onsetProbabilities.bridged;

/**
 * The probability that the food ran out at this portion, given that it hadn't before: the last of it lies in the corners, so
 * it stops falling at some level between the empty limit and zero.
 */
function runOutProbability(known: HopperLevel | null, settings: FeederSettings): number {
  if (known === null) return runOutProbabilityUnknown;
  // The empty portions themselves are counted as evidence already, so it is the level that they haven't changed yet.
  const level: LevelBeforeDry = known.beforeDry ?? known;
  const emptyBelow = emptyThreshold(settings);
  // The interval is cut off at zero: its upper half gives the deviation.
  const deviation = Math.max((level.high - level.grams) / normalQuantile95, settings.portionMass / 2);
  const below = (bound: number) => Math.exp(logNormalTail(-(bound - level.grams) / deviation));
  const isLeftProbability = 1 - below(0);
  const perGram = (below(emptyBelow) - below(0)) / emptyBelow;
  const usual = Math.min((settings.portionMass * perGram) / Math.max(isLeftProbability, 1e-6), 0.5);
  return Math.max(
    usual,
    skewedRunOut(level, settings),
    settings.sensors.scale ? runOutProbabilityMinByScale : runOutProbabilityMin,
  );
}

/** Where most histories say that the hopper is empty and another that it was refilled, no normal distribution through their interval shows it. */
function skewedRunOut({ low, grams: middle, high }: LevelBeforeDry, settings: FeederSettings): number {
  // A normal distribution cut off at zero comes to 2.
  const isUneven = high - middle > unevenFrom * (middle - low);
  return isUneven && middle <= emptyThreshold(settings) ? 0.5 : 0;
}
const unevenFrom = 3;

const logSumExp = (a: number, b: number): number => Math.max(a, b) + Math.log1p(Math.exp(-Math.abs(a - b)));
