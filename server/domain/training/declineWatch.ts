import { inHours } from "../instant.ts";
import type { Limits } from "../intervals.ts";
import { fitRegression, type RegressionRow, rateRatio } from "./regression.ts";
import type { TrainingDay } from "./trainingDay.ts";

/**
 * Whether the birds do less than before, once that is subtracted which explains it: temperature, the length of the day, free food given, and all
 * time in which the feeder was paused, silent or at fault. Acts an hour of the birds' day that could be judged, as a regression of counts.
 */
export interface Decline {
  /** Acts of the last days beside what the days before lead one to expect. */
  readonly ratio: number;
  readonly limits: Limits; // 95 %
  readonly isPlain: boolean;
}

const recentDays = 3;
const daysMin = 10;
const daysMax = 24;
/** Below this the fall matters, and the whole interval has to lie below it: one looks every day. */
const plainRatio = 0.7;

/** @param days of one stage, in order of time @returns null where too few could be judged */
export function declineOf(days: readonly TrainingDay[]): Decline | null {
  const judged = days.filter(({ judged }) => inHours(judged) >= 2).slice(-daysMax);
  if (judged.length < daysMin) return null;
  const meanOf = (value: (day: TrainingDay) => number) =>
    judged.reduce((sum, day) => sum + value(day), 0) / judged.length;
  const [light, free] = [meanOf(({ lit }) => inHours(lit)), meanOf(({ ledger }) => ledger.freePortions.length)];
  const known = judged.flatMap(({ airCelsius }) => airCelsius ?? []);
  const air = known.reduce((sum, celsius) => sum + celsius, 0) / Math.max(1, known.length); // a day without one counts as usual
  const rows = judged.map(
    (day, index): RegressionRow => ({
      x: [
        1,
        index >= judged.length - recentDays ? 1 : 0,
        ((day.airCelsius ?? air) - air) / 10,
        inHours(day.lit) - light,
        (day.ledger.freePortions.length - free) / 10,
      ],
      y: day.acts,
      size: inHours(day.judged),
    }),
  );
  const fitted = fitRegression("counts", rows, 1);
  if (fitted === null) return null;
  const change = rateRatio(fitted, 1);
  return { ...change, isPlain: change.limits.high < plainRatio };
}
