import type { LocalDate } from "../localTime.ts";
import { type DayShare, type ShareDifference, shareDifference } from "./changeEffect.ts";
import { type DistanceCurve, distanceCurve } from "./distanceCurve.ts";
import { isJudgedDay } from "./judgeStage.ts";
import { type ActKind, actOf, type Stage } from "./stage.ts";
import { type TrainingDay, trialCounts } from "./trainingDay.ts";

/** A day with the stage and the parameters that were in force at its noon. */
export interface StagedDay {
  readonly date: LocalDate;
  readonly stage: Stage;
  readonly distanceCm: number | null;
  readonly day: TrainingDay;
}

/** What a dated change has done to the share, as far as days before and after tell. The day of the change itself is left out. */
export interface StepEffect extends ShareDifference {
  readonly changeId: string;
}

/** Longer spans would mix in learning and the season. Our choice. */
const daysASide = 7;

/** @param steps with the local date of each, in order of time */
export function stepEffects(
  steps: readonly { readonly changeId: string; readonly date: LocalDate }[],
  days: readonly StagedDay[],
): readonly StepEffect[] {
  return steps.flatMap(({ changeId, date }, index) => {
    const following = steps[index + 1]?.date ?? null;
    const after = days.filter((each) => each.date > date && (following === null || each.date < following));
    const act = after[0] === undefined ? null : actOf(after[0].stage.kind);
    const earlier = steps[index - 1]?.date ?? "";
    const before = days.filter((each) => each.date < date && each.date > earlier && actOf(each.stage.kind) === act);
    const difference = shareDifference(sharesOf(before.slice(-daysASide)), sharesOf(after.slice(0, daysASide)));
    return difference === null ? [] : [{ changeId, ...difference }];
  });
}

function sharesOf(days: readonly StagedDay[]): readonly DayShare[] {
  return days.filter(({ day }) => isJudgedDay(day)).flatMap(({ day }) => trialCounts(day) ?? []);
}

/** Over all days on which this act was asked for and the distance was measured. */
export function distanceCurveOf(act: ActKind, days: readonly StagedDay[]): DistanceCurve | null {
  return distanceCurve(
    days.flatMap(({ stage, distanceCm, day }) => {
      const share = trialCounts(day);
      if (actOf(stage.kind) !== act || distanceCm === null || share === null || !isJudgedDay(day)) return [];
      return [{ distanceCm, ...share }];
    }),
  );
}
