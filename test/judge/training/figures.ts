import type { Limits } from "../../../server/domain/intervals.ts";
import type { AdvisedDay } from "./liveProgramme.ts";

/** What the advice of one programme was worth, beside the truth. */
export interface ProgrammeFigures {
  readonly moves: number; // advice to move on that was given
  /** The true share over the days of the criterion was below what the criterion asks for, by more than a tenth; and at chance or below. */
  readonly movesTooEarly: number;
  readonly movesAtChance: number;
  readonly stepsBack: number;
  readonly stepsBackWrong: number; // the true share was at the criterion or above
  readonly waits: number; // days
  readonly waitsUnfounded: number; // days on which no fault was there, known or hidden, within the days judged
  /** Days from the first day on which the true share had been at the criterion for its days, to the advice; null: it never came. */
  readonly delays: readonly (number | null)[];
  readonly covered: { readonly wilson: number; readonly beta: number; readonly of: number };
  readonly everMoved: boolean;
  readonly stageReached: number;
}

export function figuresOf(days: readonly AdvisedDay[]): ProgrammeFigures {
  const moves = days.filter(({ advice }) => advice.kind === "moveOn");
  const steps = days.filter(({ advice }) => advice.kind === "stepBack");
  const waits = days.filter(({ advice }) => advice.kind === "wait");
  const truth = new Map(days.map((day, index) => [day, trueShare(days, index)]));
  const shareOf = (day: AdvisedDay) => truth.get(day) ?? 0;
  return {
    moves: moves.length,
    movesTooEarly: moves.filter((day) => shareOf(day) < day.stage.criterion.share - 0.1).length,
    movesAtChance: moves.filter((day) => shareOf(day) <= day.stage.criterion.chanceShare).length,
    stepsBack: steps.length,
    stepsBackWrong: steps.filter((day) => shareOf(day) >= day.stage.criterion.share).length,
    waits: waits.length,
    waitsUnfounded: waits.filter((day) => !hadFault(days, days.indexOf(day))).length,
    delays: delaysOf(days, truth),
    covered: coverage(days, truth),
    everMoved: moves.length > 0,
    stageReached: Math.max(...days.map(({ stage }) => Number(stage.name))),
  };
}

/** The days of the same stage in a row that end here, as many as its criterion asks for. */
function daysOfCriterion(days: readonly AdvisedDay[], index: number): readonly AdvisedDay[] {
  const { stage, dayInStage } = days[index] as AdvisedDay;
  const count = Math.min(stage.criterion.days, dayInStage);
  return days.slice(index - count + 1, index + 1);
}

/** Mean over those days, by the bouts that are to be expected. */
function trueShare(days: readonly AdvisedDay[], index: number): number {
  const judged = daysOfCriterion(days, index);
  const bouts = judged.reduce((sum, { lived }) => sum + lived.truth.expectedBouts, 0);
  const acts = judged.reduce((sum, { lived }) => sum + lived.truth.expectedBouts * lived.truth.actShare, 0);
  return bouts === 0 ? 0 : acts / bouts;
}

const hadFault = (days: readonly AdvisedDay[], index: number): boolean =>
  daysOfCriterion(days, index).some(({ lived }) => lived.faults.length > 0 || lived.truth.hiddenFault);

/** Of each stay at a stage in which the true share reached the criterion. */
function delaysOf(days: readonly AdvisedDay[], truth: ReadonlyMap<AdvisedDay, number>): readonly (number | null)[] {
  const delays: (number | null)[] = [];
  let since: number | null = null;
  for (const [index, day] of days.entries()) {
    if (day.dayInStage === 1) {
      if (since !== null) delays.push(null);
      since = null;
    }
    const { criterion } = day.stage;
    if (since === null && day.dayInStage >= criterion.days && (truth.get(day) ?? 0) >= criterion.share) since = index;
    if (day.advice.kind === "moveOn" && since !== null) {
      delays.push(index - since);
      since = null;
    }
  }
  if (since !== null) delays.push(null);
  return delays;
}

function coverage(days: readonly AdvisedDay[], truth: ReadonlyMap<AdvisedDay, number>): ProgrammeFigures["covered"] {
  const holds = ({ low, high }: Limits, value: number) => low <= value && value <= high;
  const judged = days.filter(({ judgement, dayInStage, stage }) => {
    return judgement.recent?.share != null && dayInStage % stage.criterion.days === 0; // spans that don't overlap
  });
  return {
    wilson: judged.filter((day) => holds(day.judgement.recent?.wilson as Limits, truth.get(day) ?? 0)).length,
    beta: judged.filter((day) => holds(day.judgement.recent?.beta as Limits, truth.get(day) ?? 0)).length,
    of: judged.length,
  };
}
