import {
  type Appetite,
  appetiteForecast,
  dailyRate,
  initialAppetite,
  updateAppetiteByMeal,
  updateAppetiteUntil,
} from "../../../server/domain/hopper/appetite.ts";
import { daySpanAt, type YardLocation } from "../../../server/domain/hopper/daySpan.ts";
import { instantOf } from "../../../server/domain/instant.ts";

/** An appetite from times of one day and grams, in the order in which they were received. */
export function appetiteAfterMeals(
  yard: YardLocation,
  ...meals: readonly (readonly [time: string, mass: number])[]
): Appetite {
  const day = (time: string) => instantOf(`2026-11-02T${time}:00Z`);
  const watched = updateAppetiteUntil(initialAppetite(day("05:00")), day("05:00"), yard);
  return meals.reduce((appetite, [time, mass]) => updateAppetiteByMeal(appetite, mass, day(time), yard), watched);
}

/** Grams a day as it stands; null while too little was watched. */
export function rateOf(appetite: Appetite, yard: YardLocation): number | null {
  const outlook = appetiteForecast(appetite, yard);
  return outlook === null ? null : dailyRate(outlook, daySpanAt(yard, appetite.watchedUntil));
}
