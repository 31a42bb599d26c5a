import { decisiveEvidence } from "./criterionTest.ts";
import type { StageJudgement } from "./judgeStage.ts";
import { severalCaps } from "./misplacedCaps.ts";
import { isCapStage, type Stage } from "./stage.ts";

/**
 * One plain advice for the present stage, with its reasons and what would change it. It is never acted on by itself: the keeper sees the
 * birds, and the record sees only what its sensors do.
 */
export interface Advice {
  readonly kind: AdviceKind;
  readonly reasons: readonly AdviceReason[];
  /** What would have to be seen for another advice. */
  readonly wouldChange: readonly ChangeOfMind[];
  /** A cap stage in which too few promises are kept teaches the wrong thing: better paused until the feeder is mended. */
  readonly pauseStage: boolean;
}

export type AdviceKind = "stay" | "moveOn" | "stepBack" | "notEnoughEvidence" | "wait";

export type AdviceReason =
  | "faultStands"
  | "promisesBroken"
  | "littleJudged"
  | "tooFewDays"
  | "tooFewBouts"
  | "noPerch"
  | "criterionMet"
  | "grownWithoutPerch"
  | "aboveChance"
  | "notAboveChance"
  | "shareTooLow"
  | "actsTooFew"
  | "usualTimeOver"
  | "lost"
  | "declined"
  | "lastStage"
  | "capsOnDish";

export type ChangeOfMind =
  | "feederMended"
  | "moreDays"
  | "perchSwitch"
  | "shareReached"
  | "actsReached"
  | "shareFalls"
  | "keptAgain";

export interface AdviceContext {
  /** An alarm of feeding, or of a sensor that the record needs, stands now. */
  readonly hasFault: boolean;
  /** Below this share of promises kept the stage is better paused; the keeper's own setting, 0 to 1. */
  readonly keptMin: number;
  readonly hasNext: boolean;
  readonly hasPrevious: boolean;
  /** Caps counted on the dish in the last days; left out: none counted. */
  readonly capsOnDish?: number;
}

export function adviseStage(stage: Stage, judged: StageJudgement, context: AdviceContext): Advice {
  const given =
    waitForFeeder(stage, judged, context) ??
    moveOn(stage, judged, context) ??
    stepBack(stage, judged, context) ??
    tooLittle(stage, judged) ??
    stay(stage, judged);
  // It changes no advice: how often caps were counted says little of how often they were put there.
  const areMisplaced = isCapStage(stage.kind) && (context.capsOnDish ?? 0) >= severalCaps;
  return areMisplaced ? { ...given, reasons: [...given.reasons, "capsOnDish"] } : given;
}

/** What the birds do at a feeder that breaks its promises says nothing of what they have learnt. */
function waitForFeeder(stage: Stage, { kept, daysInStage, judgedDays }: StageJudgement, context: AdviceContext) {
  // Below the setting even if chance was against the feeder: the whole interval lies under it.
  const areBroken = kept.promised > 0 && kept.limits.high < context.keptMin;
  const reasons: AdviceReason[] = [
    ...(context.hasFault ? (["faultStands"] as const) : []),
    ...(areBroken ? (["promisesBroken"] as const) : []),
  ];
  if (reasons.length === 0 && daysInStage >= stage.criterion.days + 2 && judgedDays === 0) reasons.push("littleJudged");
  if (reasons.length === 0) return null;
  const wouldChange: ChangeOfMind[] = ["feederMended", ...(areBroken ? (["keptAgain"] as const) : [])];
  return advice("wait", reasons, wouldChange, areBroken && isCapStage(stage.kind));
}

function moveOn(stage: Stage, judged: StageJudgement, { hasNext }: AdviceContext): Advice | null {
  const reason = readyBy(stage, judged);
  if (reason === null) return null;
  return hasNext ? advice("moveOn", [reason], ["shareFalls"]) : advice("stay", [reason, "lastStage"], ["shareFalls"]);
}

/** Without a perch switch no share is known: the acts must be twice as many, on two more days, and have grown meanwhile. */
function readyBy({ criterion }: Stage, { recent, isAboveChance, growth }: StageJudgement): AdviceReason | null {
  if (recent === null) return null;
  if (recent.share === null) {
    const hasGrown = growth !== null && growth.limits.low > growthMin;
    return hasGrown && recent.actsADayLeast >= 2 * criterion.actsADay ? "grownWithoutPerch" : null;
  }
  return isAboveChance && recent.share >= criterion.share && recent.actsADayLeast >= criterion.actsADay
    ? "criterionMet"
    : null;
}

const growthMin = 1.5;

function stepBack(stage: Stage, judged: StageJudgement, { hasPrevious }: AdviceContext): Advice | null {
  const share = judged.recent?.share ?? null;
  if (!hasPrevious || share === null) return null;
  const reasons = reasonsToStepBack(stage, judged, share);
  return reasons === null ? null : advice("stepBack", reasons, ["shareReached"]);
}

function reasonsToStepBack(
  { criterion, usualDays, stepBack: back }: Stage,
  { evidence, bestShare, changes, daysInStage }: StageJudgement,
  share: number,
): readonly AdviceReason[] | null {
  const isAtChance = share <= criterion.chanceShare;
  const isBelow = evidence.belowCriterion >= decisiveEvidence && isAtChance;
  // A fall shows within days as a change of the record; the test that may be looked at daily needs weeks for it.
  const last = changes.at(-1);
  const hasFallen =
    last !== undefined && last.shareAfter < last.shareBefore && last.shareAfter <= criterion.chanceShare;
  const wasThere = bestShare !== null && bestShare >= criterion.share;
  if (wasThere && isAtChance && (isBelow || hasFallen)) return ["lost"];
  if (daysInStage <= usualDays.to) return null;
  if (share <= back.share) return ["usualTimeOver", "notAboveChance"];
  return isBelow ? ["usualTimeOver", "shareTooLow"] : null;
}

function tooLittle({ criterion }: Stage, { recent, judgedDays, isAboveChance, evidence, growth }: StageJudgement) {
  if (recent === null) return advice("notEnoughEvidence", ["tooFewDays"], ["moreDays"]);
  if (recent.share === null) {
    return growth === null || judgedDays < 2 * criterion.days
      ? advice("notEnoughEvidence", ["noPerch"], ["perchSwitch", "moreDays"])
      : null;
  }
  const isOpen = !isAboveChance && evidence.belowCriterion < decisiveEvidence;
  return isOpen ? advice("notEnoughEvidence", ["tooFewBouts"], ["moreDays"]) : null;
}

function stay({ criterion }: Stage, { recent, isAboveChance, decline }: StageJudgement): Advice {
  const share = recent?.share ?? null;
  const reasons: AdviceReason[] = [
    ...(share === null
      ? (["noPerch"] as const)
      : isAboveChance
        ? (["aboveChance"] as const)
        : (["notAboveChance"] as const)),
    ...(share !== null && share < criterion.share ? (["shareTooLow"] as const) : []),
    ...(recent !== null && recent.actsADayLeast < criterion.actsADay ? (["actsTooFew"] as const) : []),
    ...(decline?.isPlain ? (["declined"] as const) : []),
  ];
  return advice("stay", reasons, share === null ? ["perchSwitch", "actsReached"] : ["shareReached", "actsReached"]);
}

const advice = (
  kind: AdviceKind,
  reasons: readonly AdviceReason[],
  wouldChange: readonly ChangeOfMind[],
  pauseStage = false,
): Advice => ({ kind, reasons, wouldChange, pauseStage });
