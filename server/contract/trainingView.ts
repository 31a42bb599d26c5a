/** A yard's training record. Times are ISO 8601 in UTC, dates local; shares from 0 to 1. All of it is a property of the site, not of a bird. */
export interface TrainingView {
  readonly yard: string;
  readonly stages: readonly StageView[];
  /** Those that each programme begins with, to go back to. */
  readonly readyStages: readonly StageView[];
  readonly keptMin: number;
  readonly periods: readonly StagePeriodView[];
  readonly changes: readonly ProgrammeChangeView[]; // the newest first
  readonly advice: AdviceView | null; // null while no stage was started
  readonly judgement: JudgementView | null;
  /** The days of the last six weeks, or since the first stage, the oldest first; those without any report included. */
  readonly days: readonly TrainingDayView[];
  /** Acts an hour of the local day, mean of the present stage's judged days; null where there are none. */
  readonly actsByHour: readonly number[] | null;
  readonly ledger: readonly BrokenPromiseView[]; // the newest first
  readonly effects: readonly ChangeEffectView[];
  readonly distance: DistanceCurveView | null;
  /** Feeders that feed as their own program has it: what a stage gives for doesn't reach them. */
  readonly feedersWithoutPlan: readonly string[];
  /** Days of which a part of the log can't be read; they are left out. */
  readonly unreadableDays: number;
  /** Caps that lay on the dish instead of in the slot, as counted in the notebook; days without a count are left out. */
  readonly capsOnDish: readonly { readonly date: string; readonly caps: number }[];
  /** What the birds of the season need of a keeper; null: nothing in particular. */
  readonly seasonText: string | null;
}

export interface StagePeriodView {
  readonly stage: string;
  readonly name: string;
  readonly from: string;
  readonly to: string | null;
}

export interface ProgrammeChangeView {
  readonly id: string;
  readonly at: string;
  readonly by: string;
  readonly text: string;
  readonly reason: string;
  readonly undone: { readonly at: string; readonly by: string } | null;
}

export interface AdviceView {
  readonly kind: "stay" | "moveOn" | "stepBack" | "notEnoughEvidence" | "wait";
  readonly title: string;
  readonly reasons: readonly string[];
  readonly wouldChange: readonly string[];
  readonly pauseStage: boolean;
  /** Where the advice leads: the stage to move on or step back to. */
  readonly to: { readonly stage: string; readonly name: string } | null;
}

export interface JudgementView {
  readonly daysInStage: number;
  readonly judgedDays: number;
  readonly bouts: number | null;
  readonly recent: {
    readonly days: number;
    readonly trials: number;
    readonly successes: number;
    readonly share: number | null;
    readonly wilson: LimitsView;
    readonly beta: LimitsView;
    readonly actsADayLeast: number;
  } | null;
  /** How many times more likely than by chance, on the scale of the test: 20 decides. */
  readonly evidence: { readonly aboveChance: number; readonly belowCriterion: number; readonly decides: number };
  readonly changePoints: readonly { readonly date: string; readonly before: number; readonly after: number }[];
  readonly decline: { readonly ratio: number; readonly limits: LimitsView; readonly plain: boolean } | null;
  readonly kept: KeptView;
  readonly contingency: { readonly deltaP: number | null; readonly binSeconds: number };
  /** What a portion after the median latency is worth as a share of one at once, by the literature's range. */
  readonly delayedWorth: LimitsView | null;
  readonly text: string; // in two or three sentences
}

export interface LimitsView {
  readonly low: number;
  readonly high: number;
}

export interface KeptView {
  readonly promised: number;
  readonly paid: number;
  readonly share: number | null;
  readonly limits: LimitsView;
  readonly latencyMs: { readonly p50: number; readonly p95: number; readonly worst: number } | null;
}

export interface TrainingDayView {
  readonly date: string;
  readonly stage: string | null; // null: before the first one
  readonly trials: number | null;
  readonly successes: number | null;
  readonly acts: number;
  readonly kept: KeptView;
  readonly freePortions: number;
  readonly unexplainedPortions: number;
  readonly rejectedDeposits: number;
  readonly judgedShare: number; // of the birds' day
  readonly airCelsius: number | null;
  readonly counts: boolean; // whether the day is part of the judgement
}

export interface BrokenPromiseView {
  readonly feeder: string;
  readonly at: string;
  readonly act: "press" | "deposit";
  readonly outcome: "empty" | "cutShort" | "noPortion";
  readonly cause: string | null; // the fault that stood then; null: nothing reported explains it
  readonly still: StillPictureView | null; // of the act
  /** The act's first event, as the log has it. */
  readonly event: { readonly boot: string; readonly seq: number };
}

/** Its files: `/api/v1/yards/:yard/stills/:still/picture?size=full|small`. */
export interface StillPictureView {
  readonly id: string;
  readonly widthPixels: number; // of the full size
  readonly heightPixels: number;
}

export interface ChangeEffectView {
  readonly change: string;
  readonly at: string;
  readonly text: string;
  readonly before: number;
  readonly after: number;
  readonly difference: number;
  readonly limits: LimitsView;
}

export interface DistanceCurveView {
  readonly points: readonly {
    readonly distanceCm: number;
    readonly share: number;
    readonly low: number;
    readonly high: number;
  }[];
  readonly halfAtCm: number | null;
}

/** A stage as it is entered, too (trainingRequest.ts). */
export interface StageView {
  readonly id: string;
  readonly name: string;
  readonly kind: "comeForFood" | "pressForFood" | "nudgeCap" | "dropCap" | "fetchCap";
  readonly earns: {
    readonly free:
      | { readonly kind: "variableTime"; readonly meanMinutes: number }
      | { readonly kind: "jitter"; readonly meanMinutes: number; readonly byMinutes: number }
      | null;
    readonly press: EarnedFoodView | null;
    readonly deposit: EarnedFoodView | null;
  };
  readonly parameters: StageParametersView;
  readonly criterion: {
    readonly share: number;
    readonly chanceShare: number;
    readonly actsADay: number;
    readonly days: number;
  };
  readonly stepBack: { readonly share: number };
  readonly usualDays: { readonly from: number; readonly to: number };
}

export interface EarnedFoodView {
  readonly ratio: { readonly kind: "fixed" | "variable"; readonly of: number };
  readonly atLeastSecondsBetween: number;
}

export interface StageParametersView {
  readonly distanceCm: number | null;
  readonly capsLaid: number | null;
  readonly capsWhere: string | null;
  readonly slotOpeningMm: number | null;
  readonly gramsEach: number | null;
}

/** Notes of a yard, the newest first. */
export interface NotesView {
  readonly notes: readonly NoteView[];
  /** Whether there are older ones: asked for with `before` set to the moment of the last note here. */
  readonly more: boolean;
  /** How full the yard's space for pictures is; null while there is plenty. */
  readonly pictureSpaceText: string | null;
}

export interface NoteView {
  readonly id: string;
  readonly at: string;
  readonly by: string;
  readonly text: string;
  readonly feeder: { readonly id: string; readonly name: string } | null;
  readonly stage: { readonly id: string; readonly name: string } | null;
  readonly changedAt: string | null;
  readonly still: NoteStillView | null;
  /** Caps that lay on the dish instead of in the slot; null: not counted. */
  readonly capsOnDish: number | null;
  /** In the order in which they were added. */
  readonly photos: readonly PhotoView[];
}

/** What a note was written at. */
export interface NoteStillView {
  /** As its feeder names it; null: it has none. */
  readonly event: { readonly boot: string; readonly seq: number } | null;
  /** Null once the still is deleted, and where there was none. */
  readonly picture: NotePictureView | null;
  /** It was written at an event that has no still. */
  readonly isEvent: boolean;
}

export interface NotePictureView extends StillPictureView {
  readonly at: string;
  readonly kind: string | null; // of its event, once that is known
}

/** Its files: `/api/v1/yards/:yard/pictures/:picture?size=full|small`. */
export interface PhotoView {
  readonly id: string;
  readonly widthPixels: number; // of the full size
  readonly heightPixels: number;
}

/** What an import has added; what was there already isn't counted. */
export interface ImportedRecordView {
  readonly changes: number;
  readonly feeders: number;
  readonly events: number;
  readonly notes: number;
  readonly photos: number;
  readonly stills: number;
  /** Pictures that couldn't be read, or for which there is no space. */
  readonly picturesLeftOut: number;
  /** Events of feeders that this yard has itself. */
  readonly eventsLeftOut: number;
}
