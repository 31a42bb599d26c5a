import { after, before, hours, type Instant, type Span, seconds } from "../domain/instant.ts";
import { civilDaylightHours } from "../domain/sun.ts";
import { isCivilDaylight } from "./light.ts";
import type { RandomSource } from "./random.ts";
import { isStormy } from "./weather.ts";
import { practiceYard } from "./yard.ts";

/** How the practice birds come and what they do there. A bird that does nothing only looks. */
export interface BirdVisit {
  readonly arrivesAt: Instant;
  readonly leavesAt: Instant;
  readonly actions: readonly BirdAction[]; // in their order
}

export interface BirdAction {
  readonly kind: "press" | "deposit";
  readonly at: Instant;
}

/**
 * Four birds, each as far in its training as its numbers say. Taken together four landings of five bring a press, and as
 * many a deposit: so a button or a detector that answers none is found out within a dozen or so landings. The rhythms share these
 * shares, or a change of rhythm would itself look like a fault.
 */
const birds = [
  { press: 0.6, deposit: 0.5 }, // comes for free food
  { press: 0.9, deposit: 0.85 },
  { press: 0.9, deposit: 0.95 },
  { press: 0.9, deposit: 0.95 }, // trades whatever it finds
] as const;

/**
 * `daylight`: as wild birds do, in bouts from civil dawn to civil dusk; this is how the past is told.
 * `calm`: a landing every few minutes at any hour, which a hopper can bear day after day. `lively`: two a minute, for whoever has
 * just come to watch, also in the evening. `flock`: one landing upon another, so that signs gather while somebody watches.
 * `drumming`: a flock that has no caps and drums on the button, for the first moments of a fault that portions must show; too
 * short for the missing deposits to look like a fault of their own.
 */
export type VisitPattern = "daylight" | "calm" | "lively" | "flock" | "drumming";

/** Where in a bout we are: how many visits it still has. */
export interface Bout {
  readonly visitsLeft: number;
}
export const initialBout: Bout = { visitsLeft: 0 };

const boutsPerDay = 16;

/** The next visit after one that ended at `from`. */
export function nextVisit(
  from: Instant,
  bout: Bout,
  rhythm: VisitPattern,
  seed: number,
  chance: RandomSource,
): { visit: BirdVisit; bout: Bout } {
  const within = (low: number, high: number) => after(from, seconds(chance.between(low, high)));
  switch (rhythm) {
    case "calm":
      return { visit: visitAt(within(220, 400), unhurried, chance), bout: initialBout };
    case "lively":
      return { visit: visitAt(within(20, 30), unhurried, chance), bout: initialBout };
    case "flock":
      return { visit: visitAt(within(2.3, 2.5), hurried, chance), bout: initialBout };
    case "drumming":
      return { visit: drummingAt(within(2.3, 2.5), chance), bout: initialBout };
    case "daylight": {
      const inBout = bout.visitsLeft > 0;
      const at = inBout ? within(20, 150) : nextBoutAt(from, seed, chance);
      const visitsLeft = inBout ? bout.visitsLeft - 1 : Math.floor(chance.between(3, 8));
      // A bout that dusk overtakes is over.
      if (inBout && !isCivilDaylight(practiceYard.place, at)) return nextVisit(at, initialBout, rhythm, seed, chance);
      return { visit: visitAt(at, unhurried, chance), bout: { visitsLeft } };
    }
  }
}

/** A Poisson process that runs in daylight only (by thinning); storms keep one bird of three at home. */
function nextBoutAt(from: Instant, seed: number, chance: RandomSource): Instant {
  const mean: Span = hours(civilDaylightHours(practiceYard.place, before(from, hours(24)), from) / boutsPerDay);
  let at = from;
  for (;;) {
    at = (at + Math.max(1, chance.exponential(mean))) as Instant;
    if (isCivilDaylight(practiceYard.place, at) && !(isStormy(seed, at) && chance.isTrueWith(1 / 3))) return at;
  }
}

/** How a visit passes: milliseconds from landing to the first act, from act to act, and from the last to leaving. */
interface VisitTiming {
  readonly first: readonly [number, number];
  readonly between: readonly [number, number];
  readonly stays: readonly [number, number];
}
const unhurried: VisitTiming = { first: [600, 2_500], between: [1_000, 1_800], stays: [1_500, 3_000] };
/** Landings of one flock stay a little more than five seconds apart: the server takes what is closer for one and the same. */
const hurried: VisitTiming = { first: [500, 700], between: [400, 500], stays: [1_900, 2_100] };
const drums: VisitTiming = { first: [300, 400], between: [300, 400], stays: [1_500, 1_600] };
const drumBeats = 4;

function visitAt(arrivesAt: Instant, manner: VisitTiming, chance: RandomSource): BirdVisit {
  const bird = birds[Math.floor(chance.uniform() * birds.length)] ?? birds[0];
  const kinds: BirdAction["kind"][] = [];
  if (chance.isTrueWith(bird.deposit)) kinds.push("deposit");
  if (chance.isTrueWith(bird.press)) kinds.push("press");
  return visitWithActions(arrivesAt, kinds, manner, chance);
}

const drummingAt = (arrivesAt: Instant, chance: RandomSource): BirdVisit =>
  visitWithActions(arrivesAt, new Array<"press">(drumBeats).fill("press"), drums, chance);

function visitWithActions(
  arrivesAt: Instant,
  kinds: readonly BirdAction["kind"][],
  manner: VisitTiming,
  chance: RandomSource,
): BirdVisit {
  let at = soonAfter(arrivesAt, manner.first, chance);
  const acts: BirdAction[] = [];
  for (const kind of kinds) {
    acts.push({ kind, at });
    at = soonAfter(at, manner.between, chance);
  }
  return { arrivesAt, actions: acts, leavesAt: soonAfter(at, manner.stays, chance) };
}

const soonAfter = (at: Instant, [low, high]: readonly [number, number], chance: RandomSource): Instant =>
  (at + Math.round(chance.between(low, high))) as Instant;
