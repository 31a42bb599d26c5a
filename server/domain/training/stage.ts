import type { EarnedFood, FreeSchedule } from "../feedingPlan/feedingRules.ts";
import type { Grams } from "../units.ts";

/**
 * One step of shaping: what earns a portion, what the keeper shapes meanwhile, and when the birds of the site are ready for the next one.
 * Shaping by successive steps is common practice; that free-living corvids come as far as fetching is not claimed by any published study
 * that we know of.
 */
export interface Stage {
  /** Stays the same while the stage is edited, and is never used again in its programme. */
  readonly id: string;
  readonly name: string;
  readonly kind: StageKind;
  readonly earns: StageFeeding;
  readonly parameters: StageParameters;
  readonly criterion: Criterion;
  readonly stepBack: StepBack;
  /** Whole days that such a stage usually takes: one to two weeks, common practice, no source. */
  readonly usualDays: { readonly from: number; readonly to: number };
}

/** What counts as the act of a stage: food that is visited, a press, or a deposit. No sensor tells how a cap came into the slot. */
export const stageKinds = ["comeForFood", "pressForFood", "nudgeCap", "dropCap", "fetchCap"] as const;
export type StageKind = (typeof stageKinds)[number];

export type ActKind = "freeFood" | "press" | "deposit";

export const actOf = (kind: StageKind): ActKind =>
  kind === "comeForFood" ? "freeFood" : kind === "pressForFood" ? "press" : "deposit";

/** A deposit is a promise by a cap. From here on an unpaid one costs most. */
export const isCapStage = (kind: StageKind): boolean => actOf(kind) === "deposit";

/** What the feeding plan of each feeder takes over from the stage; ration, frost floor and quiet times stay as they are. */
export interface StageFeeding {
  readonly free: FreeSchedule | null;
  readonly press: EarnedFood | null;
  readonly deposit: EarnedFood | null;
}

/** What is shaped, each where the keeper has measured it. */
export interface StageParameters {
  readonly distanceCm: number | null; // of the button, or of the caps, to the dish
  readonly capsLaid: number | null; // caps that the keeper lays out
  readonly capsWhere: string | null; // in the keeper's words
  readonly slotOpeningMm: number | null;
  readonly gramsEach: Grams | null; // of a portion; null: as the feeder's own settings have it
}

/**
 * Ready for the next stage: at least one act in `share` of the bouts of visits over the last `days` days that could be judged, and `actsADay`
 * on each of them. A site that shows the act in `chanceShare` of its bouts or fewer has not learnt it. Shares from 0 to 1. That 80 to
 * 90 % over two or three sessions is asked for is common practice with single animals; a site is a mixture of birds, so our own
 * defaults are lower.
 */
export interface Criterion {
  readonly share: number;
  readonly chanceShare: number;
  readonly actsADay: number;
  readonly days: number;
}

/** Back to the stage before: the act in no more than `share` of the bouts of the last days, and the usual time is over. */
export interface StepBack {
  readonly share: number;
}
