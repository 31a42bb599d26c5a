import { after, hours, type Instant, minutes, type Span } from "../../../server/domain/instant.ts";
import { addLocalDays, startOfLocalDay } from "../../../server/domain/localTime.ts";
import type { FoodPromise } from "../../../server/domain/training/promises.ts";
import { sessionsOf, type Trial } from "../../../server/domain/training/sessions.ts";
import type { TrainingDay } from "../../../server/domain/training/trainingDay.ts";

/** A day of the record with so many trials and successes, spread evenly from eight o'clock on. */
export interface DayShape {
  readonly trials?: number | null;
  readonly successes?: number;
  readonly acts?: number;
  readonly air?: number | null;
  readonly litHours?: number;
  readonly judgedHours?: number;
  readonly free?: number;
  readonly kept?: readonly boolean[];
}

const firstDate = "2026-12-01";

export function dayOf(index: number, shape: DayShape = {}): TrainingDay {
  const { trials = 20, successes = 10, acts = successes, air = -2, litHours = 8, judgedHours = litHours } = shape;
  const { free = 0, kept = [] } = shape;
  const date = addLocalDays(firstDate, index);
  const morning = after(startOfLocalDay(date, "UTC"), hours(8));
  const at = (count: number): Instant => after(morning, minutes(count * 10));
  const all =
    trials === null ? null : Array.from({ length: trials }, (_, n): Trial => ({ at: at(n), success: n < successes }));
  const promises = kept.map(
    (isKept, n): FoodPromise => ({
      ...{ act: "press", at: at(n), key: `b-${index} ${n}`, portion: isKept ? `b-${index} p${n}` : null },
      outcome: isKept ? "paid" : "noPortion",
      latency: isKept ? (1_000 as Span) : null,
    }),
  );
  return {
    date,
    ledger: {
      promises,
      freePortions: Array.from({ length: free }, (_, n) => at(n)),
      unexplainedPortions: 0,
      rejectedDeposits: 1,
      notOwed: 0,
    },
    bouts: [],
    trials: all,
    sessions: all === null ? [] : sessionsOf(all),
    acts,
    actsByHour: Array.from({ length: 24 }, (_, hour) => (hour === 8 ? acts : 0)),
    lit: hours(litHours),
    judged: hours(judgedHours),
    airCelsius: air,
    contingency: {
      ...{ deltaP: null, foodAfterAct: 2, noFoodAfterAct: 1, foodWithoutAct: 1, noFoodWithoutAct: 9 },
      bin: minutes(1),
    },
  };
}

export const daysOf = (count: number, shape: (index: number) => DayShape): TrainingDay[] =>
  Array.from({ length: count }, (_, index) => dayOf(index, shape(index)));
