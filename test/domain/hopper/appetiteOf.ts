import { type Appetite, ate, unknownAppetite, watchedUntil } from "../../../server/domain/hopper/appetite.ts";
import { instantOf } from "../../../server/domain/instant.ts";

/** An appetite told by times of one day and grams, in the order in which they were heard. */
export function appetiteOf(...meals: readonly (readonly [time: string, mass: number])[]): Appetite {
  const day = (time: string) => instantOf(`2026-11-02T${time}:00Z`);
  const watched = watchedUntil(unknownAppetite(day("05:00")), day("05:00"));
  return meals.reduce((appetite, [time, mass]) => ate(appetite, mass, day(time)), watched);
}
