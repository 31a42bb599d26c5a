import type { Span } from "../instant.ts";
import { type Contingency, deltaP } from "./contingency.ts";
import type { TrainingDay } from "./trainingDay.ts";

/** One day of all feeders of a yard together: its birds know all of them, and no sensor tells which bird is where. */
export function siteDay(days: readonly TrainingDay[]): TrainingDay {
  const [first, ...others] = days;
  if (first === undefined) throw new RangeError("expected the day of at least one feeder");
  if (others.length === 0) return first;
  const sees = days.some(({ trials }) => trials !== null);
  const air = days.flatMap(({ airCelsius }) => airCelsius ?? []);
  return {
    date: first.date,
    ledger: {
      promises: days.flatMap(({ ledger }) => ledger.promises).sort((a, b) => a.at - b.at),
      freePortions: days.flatMap(({ ledger }) => ledger.freePortions).sort((a, b) => a - b),
      unexplainedPortions: sum(days, ({ ledger }) => ledger.unexplainedPortions),
      rejectedDeposits: sum(days, ({ ledger }) => ledger.rejectedDeposits),
      notOwed: sum(days, ({ ledger }) => ledger.notOwed),
    },
    bouts: days.flatMap(({ bouts }) => bouts).sort((a, b) => a.from - b.from),
    trials: sees ? days.flatMap(({ trials }) => trials ?? []).sort((a, b) => a.at - b.at) : null,
    sessions: days.flatMap(({ sessions }) => sessions).sort((a, b) => a.from - b.from),
    acts: sum(days, ({ acts }) => acts),
    actsByHour: first.actsByHour.map((_, hour) => sum(days, ({ actsByHour }) => actsByHour[hour] ?? 0)),
    lit: sum(days, ({ lit }) => lit) as Span,
    judged: sum(days, ({ judged }) => judged) as Span,
    airCelsius: air.length === 0 ? null : air.reduce((all, each) => all + each, 0) / air.length,
    contingency: mergedContingency(days.map(({ contingency }) => contingency)),
  };
}

export function mergedContingency(all: readonly Contingency[]): Contingency {
  const foodAfterAct = sum(all, (each) => each.foodAfterAct);
  const noFoodAfterAct = sum(all, (each) => each.noFoodAfterAct);
  const foodWithoutAct = sum(all, (each) => each.foodWithoutAct);
  const noFoodWithoutAct = sum(all, (each) => each.noFoodWithoutAct);
  return {
    deltaP: deltaP(foodAfterAct, noFoodAfterAct, foodWithoutAct, noFoodWithoutAct),
    ...{ foodAfterAct, noFoodAfterAct, foodWithoutAct, noFoodWithoutAct },
    bin: (all[0]?.bin ?? 0) as Span,
  };
}

const sum = <Value>(values: readonly Value[], of: (value: Value) => number): number =>
  values.reduce((all, value) => all + of(value), 0);
