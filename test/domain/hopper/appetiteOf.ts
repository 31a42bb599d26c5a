import {
  type Appetite,
  ate,
  outlookOf,
  ratePerDay,
  unknownAppetite,
  watchedUntil,
} from "../../../server/domain/hopper/appetite.ts";
import { dayAround, type Yard } from "../../../server/domain/hopper/daySpan.ts";
import { instantOf } from "../../../server/domain/instant.ts";

/** An appetite told by times of one day and grams, in the order in which they were heard. */
export function appetiteOf(yard: Yard, ...meals: readonly (readonly [time: string, mass: number])[]): Appetite {
  const day = (time: string) => instantOf(`2026-11-02T${time}:00Z`);
  const watched = watchedUntil(unknownAppetite(day("05:00")), day("05:00"), yard);
  return meals.reduce((appetite, [time, mass]) => ate(appetite, mass, day(time), yard), watched);
}

/** Grams a day as it stands; null while too little was watched. */
export function rateOf(appetite: Appetite, yard: Yard): number | null {
  const outlook = outlookOf(appetite, yard);
  return outlook === null ? null : ratePerDay(outlook, dayAround(yard, appetite.at));
}
