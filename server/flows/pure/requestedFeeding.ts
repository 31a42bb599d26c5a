import type { FeedingRequest } from "../../contract/feedingRequest.ts";
import type { EarnedFood, FeedingRules, FreeFood, FreeSchedule } from "../../domain/feedingPlan/feedingRules.ts";
import { minutes, seconds } from "../../domain/instant.ts";
import { hashedText } from "../../domain/seededRandom.ts";
import { celsius, grams } from "../../domain/units.ts";

/** The rules of a feeding plan as a keeper enters them, and back: `feedingRequestOf` gives what `feedingRulesOf` was made from. */

/** @param name of the feeder, from which its times are drawn where nothing else was said. */
export const feedingRulesOf = (
  request: FeedingRequest,
  { name, feeding }: { readonly name: string; readonly feeding?: FeedingRules },
): FeedingRules => ({
  seed: request.seed ?? feeding?.seed ?? hashedText(name),
  free: request.free && freeFood(request.free),
  press: request.press && earnedFood(request.press),
  deposit: request.deposit && earnedFood(request.deposit),
  ration: grams(request.rationGrams),
  paysDepositsOverRation: request.paysDepositsOverRation,
  frostFloor: request.frostFloor && {
    below: celsius(request.frostFloor.belowCelsius),
    grams: grams(request.frostFloor.grams),
  },
  quietTimes: request.quietTimes,
  ...(request.taper === undefined ? {} : { taper: request.taper }),
});

type ScheduleRequest = NonNullable<FeedingRequest["free"]>["schedule"];

export const freeSchedule = (schedule: ScheduleRequest): FreeSchedule =>
  schedule.kind === "jitter"
    ? { kind: "jitter", mean: minutes(schedule.meanMinutes), by: minutes(schedule.byMinutes) }
    : { kind: "variableTime", mean: minutes(schedule.meanMinutes) };

const freeFood = (free: NonNullable<FeedingRequest["free"]>): FreeFood => ({
  each: grams(free.eachGrams),
  schedule: freeSchedule(free.schedule),
  afterDawn: minutes(free.afterDawnMinutes),
  beforeDusk: minutes(free.beforeDuskMinutes),
});

export const earnedFood = ({ ratio, atLeastSecondsBetween }: NonNullable<FeedingRequest["press"]>): EarnedFood => ({
  ratio,
  atLeastBetween: seconds(atLeastSecondsBetween),
});

export const feedingRequestOf = (rules: FeedingRules): FeedingRequest => ({
  seed: rules.seed,
  free: rules.free && requestedFree(rules.free),
  press: rules.press && requestedEarned(rules.press),
  deposit: rules.deposit && requestedEarned(rules.deposit),
  rationGrams: rules.ration,
  paysDepositsOverRation: rules.paysDepositsOverRation,
  frostFloor: rules.frostFloor && { belowCelsius: rules.frostFloor.below, grams: rules.frostFloor.grams },
  quietTimes: rules.quietTimes.map(({ from, to }) => ({ from, to })),
  ...(rules.taper === undefined ? {} : { taper: { from: rules.taper.from, days: rules.taper.days } }),
});

export function requestedSchedule(schedule: FreeSchedule): ScheduleRequest {
  const meanMinutes = schedule.mean / 60_000;
  return schedule.kind === "jitter"
    ? { kind: "jitter", meanMinutes, byMinutes: schedule.by / 60_000 }
    : { kind: "variableTime", meanMinutes };
}

function requestedFree({ each, schedule, afterDawn, beforeDusk }: FreeFood): NonNullable<FeedingRequest["free"]> {
  return {
    eachGrams: each,
    schedule: requestedSchedule(schedule),
    afterDawnMinutes: afterDawn / 60_000,
    beforeDuskMinutes: beforeDusk / 60_000,
  };
}

export const requestedEarned = ({ ratio, atLeastBetween }: EarnedFood): NonNullable<FeedingRequest["press"]> => ({
  ratio: { kind: ratio.kind, of: ratio.of },
  atLeastSecondsBetween: atLeastBetween / 1_000,
});
