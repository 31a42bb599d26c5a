import type {
  KeptView,
  NoteView,
  ProgrammeChangeView,
  StagePeriodView,
  StageView,
  TrainingDayView,
} from "./trainingView.ts";

/** A yard's training record of at most a year, to print: a summary and each stage by itself. Times are ISO 8601 in UTC, dates local. */
export interface ReportView {
  readonly yard: string;
  readonly stages: readonly StageView[]; // the programme
  readonly from: string | null; // date of the first day; null while no stage was started
  readonly to: string | null;
  /** Bouts an hour of the local day, mean of the days that were judged in all stages; null where there are none. */
  readonly boutsByHour: readonly number[] | null;
  /** One for each time that a stage was started, the oldest first. */
  readonly pages: readonly ReportStageView[];
  /** Days of which a part of the log can't be read; they are left out. */
  readonly unreadableDays: number;
  /** Whether older days or notes are left out. */
  readonly leftOut: boolean;
}

export interface ReportStageView {
  readonly period: StagePeriodView;
  readonly stage: StageView; // its parameters at the end of the period
  readonly changes: readonly ProgrammeChangeView[]; // in force, the oldest first
  readonly days: readonly TrainingDayView[];
  readonly kept: KeptView; // of all of its days
  readonly actsByHour: readonly number[] | null; // mean of its judged days
  readonly notes: readonly NoteView[]; // the oldest first
}
