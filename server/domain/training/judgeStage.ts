import { inHours } from "../instant.ts";
import { type Limits, normal975, shareLimits, student975 } from "../intervals.ts";
import { betaLimits } from "./betaDistribution.ts";
import { type DayShare, designEffect } from "./changeEffect.ts";
import { type ChangePoint, changePoints } from "./changePoint.ts";
import { decisiveEvidence, evidenceAbove, evidenceBelow } from "./criterionTest.ts";
import { type Decline, declineOf } from "./declineWatch.ts";
import { type KeptShare, keptShare } from "./keptShare.ts";
import { fitRegression, rateRatio } from "./regression.ts";
import type { Session } from "./sessions.ts";
import { actOf, type Stage } from "./stage.ts";
import { type TrainingDay, trialCounts } from "./trainingDay.ts";

/** What the record of the present stage says, as figures. The advice is made from nothing else (adviseStage.ts). */
export interface StageJudgement {
  readonly daysInStage: number;
  readonly judgedDays: number;
  readonly bouts: number | null; // trials in the stage; null: the feeder sees no visits
  /** Over the last days that the criterion asks for, with both intervals. */
  readonly recent: RecentDays | null; // null: not so many days could be judged
  /** ln of the evidence that the share is above chance, and that it is below the criterion. */
  readonly evidence: { readonly aboveChance: number; readonly belowCriterion: number };
  readonly isAboveChance: boolean;
  readonly changes: readonly ChangePoint[];
  /** The best that as many days in a row have shown; null as `recent`. */
  readonly bestShare: number | null;
  readonly decline: Decline | null;
  readonly kept: KeptShare; // of the last days
  /** Acts an hour of the last days beside the first three, for a feeder without a perch switch. */
  readonly growth: { readonly ratio: number; readonly limits: Limits } | null;
}

export interface RecentDays {
  readonly days: number;
  readonly trials: number;
  readonly successes: number;
  readonly share: number | null; // null: the feeder sees no visits
  readonly wilson: Limits;
  readonly beta: Limits;
  readonly actsADayLeast: number;
}

/** A day tells something of the birds where at least so much of their day could be judged. */
const judgedShareMin = 0.4;
const trialsADayMin = 3;

export const isJudgedDay = (day: TrainingDay): boolean =>
  day.lit > 0 && day.judged / day.lit >= judgedShareMin && (day.trials === null || day.trials.length >= trialsADayMin);

/** @param days of the present stage, in order of time, the running one included only where it is over */
export function judgeStage(stage: Stage, days: readonly TrainingDay[]): StageJudgement {
  const judged = days.filter(isJudgedDay);
  const sees = days.some(({ trials }) => trials !== null);
  const shares = judged.flatMap((day) => shareOfDays([day]) ?? []);
  const { share, chanceShare, days: daysAsked } = stage.criterion;
  const evidence = {
    aboveChance: sees ? evidenceAbove(shares, chanceShare) : 0,
    belowCriterion: sees ? evidenceBelow(shares, share) : 0,
  };
  return {
    daysInStage: days.length,
    judgedDays: judged.length,
    bouts: sees ? judged.reduce((sum, { trials }) => sum + (trials?.length ?? 0), 0) : null,
    recent: judged.length < daysAsked ? null : recentDays(judged.slice(-daysAsked), judged),
    evidence,
    isAboveChance: evidence.aboveChance >= decisiveEvidence && comesForFood(stage, judged),
    changes: changePoints(sessionsOfDays(judged)),
    bestShare: sees ? bestShareOf(judged, daysAsked) : null,
    decline: declineOf(days),
    kept: keptShare(days.slice(-daysAsked).flatMap(({ ledger }) => promisesOfAct(stage, ledger.promises))),
    growth: sees ? null : growthOf(judged, daysAsked),
  };
}

/**
 * Birds of a busy garden are near the feeder half of the day, whether food falls or not, and on some days nearly always. So free food has to
 * be visited more often than the half hour before it, however often it is visited.
 */
function comesForFood(stage: Stage, days: readonly TrainingDay[]): boolean {
  if (actOf(stage.kind) !== "freeFood") return true;
  const shares = days.flatMap(({ trials }) => {
    const afterOnly = trials?.filter(({ success, before }) => success && before === false).length ?? 0;
    const beforeOnly = trials?.filter(({ success, before }) => !success && before === true).length ?? 0;
    return afterOnly + beforeOnly === 0 ? [] : [afterOnly / (afterOnly + beforeOnly)];
  });
  return evidenceAbove(shares, 0.5) >= decisiveEvidence;
}

function countsOfDays(days: readonly TrainingDay[]): DayShare {
  const counts = days.flatMap((day) => trialCounts(day) ?? []);
  return {
    trials: counts.reduce((sum, day) => sum + day.trials, 0),
    successes: counts.reduce((sum, day) => sum + day.successes, 0),
  };
}

/** Null where no trial was seen. */
function shareOfDays(days: readonly TrainingDay[]): number | null {
  const { trials, successes } = countsOfDays(days);
  return trials === 0 ? null : successes / trials;
}

/** In a stage of presses those are the promises that matter, in a cap stage the deposits. */
const promisesOfAct = (stage: Stage, promises: TrainingDay["ledger"]["promises"]) => {
  const act = actOf(stage.kind);
  return act === "freeFood" ? promises : promises.filter((promise) => promise.act === act);
};

const sessionsOfDays = (days: readonly TrainingDay[]): readonly Session[] => days.flatMap(({ sessions }) => sessions);

/** A week tells how much the days differ: chance alone would make the intervals too narrow (changeEffect.ts). */
const daysOfSpread = 7;
/**
 * Wind, small birds and a cap that was not there make visits in which no act could come, so the true share may be higher than what is seen.
 * No sensor tells how many: up to so many of all is assumed, and the upper limit is raised by it (bounds under partial identification, Manski 2003,
 * Partial Identification of Probability Distributions; the figure is our own choice).
 */
const idleVisitsMax = 0.15;

function recentDays(days: readonly TrainingDay[], all: readonly TrainingDay[]): RecentDays {
  const { trials, successes } = countsOfDays(days);
  const worth = trials / spreadOf(all.slice(-daysOfSpread));
  const share = shareOfDays(days);
  const hits = (share ?? 0) * worth;
  return {
    ...{ days: days.length, trials, successes, share },
    wilson: withIdleVisits(shareLimits(hits, worth)),
    beta: withIdleVisits(betaLimits(hits, worth)),
    actsADayLeast: Math.min(...days.map(({ acts }) => acts)),
  };
}

/** The design effect, and Student's wider limits since it is known from a few days alone (Korn & Graubard 1998, Surv. Methodol. 24:193). */
function spreadOf(days: readonly TrainingDay[]): number {
  const freedom = Math.max(1, days.length - 1);
  return designEffect(days.flatMap((day) => trialCounts(day) ?? [])) * (student975(freedom) / normal975) ** 2;
}

const withIdleVisits = ({ low, high }: Limits): Limits => ({ low, high: Math.min(1, high / (1 - idleVisitsMax)) });

function bestShareOf(days: readonly TrainingDay[], span: number): number | null {
  let best: number | null = null;
  for (let end = span; end <= days.length; end += 1) {
    const share = shareOfDays(days.slice(end - span, end));
    if (share !== null && (best === null || share > best)) best = share;
  }
  return best;
}

const firstDays = 3;

function growthOf(days: readonly TrainingDay[], recent: number): StageJudgement["growth"] {
  if (days.length < firstDays + recent + 2) return null;
  const row = (day: TrainingDay, isRecent: boolean) => ({
    x: [1, isRecent ? 1 : 0],
    y: day.acts,
    size: inHours(day.judged),
  });
  const fitted = fitRegression("counts", [
    ...days.slice(0, firstDays).map((day) => row(day, false)),
    ...days.slice(-recent - 2).map((day) => row(day, true)),
  ]);
  return fitted && rateRatio(fitted, 1);
}
