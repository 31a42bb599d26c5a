import { before, hours, type Instant, type Span, seconds } from "../domain/instant.ts";
import { civilDaylightHours } from "../domain/sun.ts";
import type { Chance } from "./chance.ts";
import { isCivilDaylight } from "./light.ts";
import { stormy } from "./weather.ts";
import { practiceYard } from "./yard.ts";

/** How the practice birds come and what they do. Four birds, each as far in its training as its numbers say. */
export interface BirdVisit {
  readonly arrivesAt: Instant;
  readonly leavesAt: Instant;
  readonly act: "look" | "press" | "deposit";
  readonly actsAt: Instant;
}

const birds = [
  { press: 0.15, deposit: 0 }, // comes for free food
  { press: 0.6, deposit: 0.05 },
  { press: 0.35, deposit: 0.4 },
  { press: 0.15, deposit: 0.7 }, // trades whatever it finds
] as const;

/**
 * `daylight`: as wild birds do, in bouts from civil dawn to civil dusk; this is how the past is told.
 * `lively`: a visit about every quarter of a minute at any hour, also at night, so that whoever tries Pieward in the evening
 * sees something happen; most only look, or the hopper would be empty by noon. `flock`: livelier and hungrier, for the first
 * minutes of a fault, so that its signs gather while somebody watches.
 */
export type Rhythm = "daylight" | "lively" | "flock";

/** Where in a bout we are: how many visits it still has. */
export interface Bout {
  readonly visitsLeft: number;
}
export const noBout: Bout = { visitsLeft: 0 };

const boutsPerDay = 11;

/** The next visit after one that ended at `from`. A visit lasts about five seconds. */
export function nextVisit(
  from: Instant,
  bout: Bout,
  rhythm: Rhythm,
  seed: number,
  chance: Chance,
): { visit: BirdVisit; bout: Bout } {
  switch (rhythm) {
    case "lively":
      return { visit: visitAt((from + seconds(chance.between(10, 14))) as Instant, 0.5, chance), bout: noBout };
    case "flock":
      return { visit: visitAt((from + seconds(chance.between(3, 5))) as Instant, 2.5, chance), bout: noBout };
    case "daylight": {
      const inBout = bout.visitsLeft > 0;
      const at = inBout ? ((from + seconds(chance.between(20, 150))) as Instant) : nextBoutAt(from, seed, chance);
      const visitsLeft = inBout ? bout.visitsLeft - 1 : Math.floor(chance.between(2, 8));
      // A bout that dusk overtakes is over.
      if (inBout && !isCivilDaylight(practiceYard.place, at)) return nextVisit(at, noBout, rhythm, seed, chance);
      return { visit: visitAt(at, 1, chance), bout: { visitsLeft } };
    }
  }
}

/** A Poisson process that runs in daylight only (by thinning); storms keep two birds of three at home. */
function nextBoutAt(from: Instant, seed: number, chance: Chance): Instant {
  const mean: Span = hours(civilDaylightHours(practiceYard.place, before(from, hours(24)), from) / boutsPerDay);
  let at = from;
  for (;;) {
    at = (at + Math.max(1, chance.exponential(mean))) as Instant;
    if (isCivilDaylight(practiceYard.place, at) && !(stormy(seed, at) && chance.happens(2 / 3))) return at;
  }
}

/** `eagerness` multiplies how readily a bird acts instead of only looking. */
function visitAt(arrivesAt: Instant, eagerness: number, chance: Chance): BirdVisit {
  const bird = birds[Math.floor(chance.uniform() * birds.length)] ?? birds[0];
  const deposits = bird.deposit * eagerness;
  const acts = deposits + bird.press * eagerness;
  const luck = chance.uniform() * Math.max(1, acts);
  const act = luck < deposits ? "deposit" : luck < acts ? "press" : "look";
  const actsAt = (arrivesAt + Math.round(chance.between(600, 2_500))) as Instant;
  return { arrivesAt, act, actsAt, leavesAt: (actsAt + Math.round(chance.between(2_000, 4_500))) as Instant };
}
