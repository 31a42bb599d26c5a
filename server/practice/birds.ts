import { after, days, type Instant, seconds } from "../domain/instant.ts";
import { type BirdParameters, type Landing, simulateLandings } from "./model/birdDay.ts";
import type { RandomSource } from "./random.ts";
import { practiceYard } from "./yard.ts";

/** How the practice birds come and what they do there. Some visits bring neither a press nor a deposit. */
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
 * Four birds with different training. Together four landings of five bring a press, and as many a deposit: so a button or a
 * detector that doesn't answer is detected within about twelve landings. All patterns have these shares, or a change of pattern
 * would look like a fault.
 */
const birds = [
  { press: 0.6, deposit: 0.5 }, // comes for free food
  { press: 0.9, deposit: 0.85 },
  { press: 0.9, deposit: 0.95 },
  { press: 0.9, deposit: 0.95 }, // trades whatever it finds
] as const;

/**
 * `daylight`: like wild birds, in bouts from civil dawn to civil dusk; the birds of the past come so. `calm`: a landing every few
 * minutes at any hour, for which a hopper is large enough day after day. `lively`: two a minute, for a person who has just come
 * to watch, also in the evening. `flock`: one landing after another, so that evidence comes while a person watches. `drumming`: a
 * flock that has no caps and drums on the button, for the first moments of a fault that portions must show; too short for the
 * missing deposits to look like a fault of their own.
 */
export type VisitPattern = "daylight" | "calm" | "lively" | "flock" | "drumming";

/** The day that was simulated last, in the pattern `daylight`: its landings still to come, and when it ends. */
export interface SimulatedDay {
  readonly landings: readonly Landing[];
  readonly endsAt: Instant | null; // null before the first
}
export const noSimulatedDay: SimulatedDay = { landings: [], endsAt: null };

const meanShare = (kind: BirdAction["kind"]): number => birds.reduce((sum, bird) => sum + bird[kind], 0) / birds.length;
/** Sixty landings on a day of eight hours of light, ninety in midsummer; six in a bout. */
const daylightBirds: BirdParameters = {
  portionsPerDay: 60 * (meanShare("press") + meanShare("deposit")),
  pressShare: meanShare("press"),
  depositShare: meanShare("deposit"),
  timerPerDay: 0, // the scene's plan gives the free food
  dayScatter: 0,
  dayMemory: 0,
  trendPerDay: 0,
  clustered: 6,
  morning: 1,
};

/** The next visit after one that ended at `from`. */
export function nextVisit(
  from: Instant,
  day: SimulatedDay,
  pattern: VisitPattern,
  weatherSeed: number,
  random: RandomSource,
): { visit: BirdVisit; day: SimulatedDay } {
  const within = (low: number, high: number) => after(from, seconds(random.between(low, high)));
  switch (pattern) {
    case "calm":
      return { visit: visitAt(within(220, 400), unhurried, random), day: noSimulatedDay };
    case "lively":
      return { visit: visitAt(within(20, 30), unhurried, random), day: noSimulatedDay };
    case "flock":
      return { visit: visitAt(within(2.3, 2.5), hurried, random), day: noSimulatedDay };
    case "drumming":
      return { visit: drummingAt(within(2.3, 2.5), random), day: noSimulatedDay };
    case "daylight":
      return nextDaylightVisit(from, day, weatherSeed, random);
  }
}

function nextDaylightVisit(from: Instant, day: SimulatedDay, seed: number, random: RandomSource) {
  // A bird that comes while another is there leaves again.
  let landings = day.landings.filter(({ at }) => at > from);
  let endsAt = day.endsAt ?? from;
  for (;;) {
    const [next, ...later] = landings;
    if (next !== undefined) {
      const visit = visitWithActions(next.at, next.actions, unhurried, random);
      return { visit, day: { landings: later, endsAt } };
    }
    const yard = { birds: daylightBirds, place: practiceYard.place, seed, appetite: 1 };
    landings = simulateLandings({ ...yard, from: endsAt }, random).filter(({ at }) => at > from);
    endsAt = after(endsAt, days(1));
  }
}

/** The times of a visit: milliseconds from landing to the first action, between actions, and from the last to leaving. */
interface VisitTiming {
  readonly first: readonly [number, number];
  readonly between: readonly [number, number];
  readonly stays: readonly [number, number];
}
const unhurried: VisitTiming = { first: [600, 2_500], between: [1_000, 1_800], stays: [1_500, 3_000] };
/** Landings of one flock are a little more than five seconds apart: the server takes closer ones as one. */
const hurried: VisitTiming = { first: [500, 700], between: [400, 500], stays: [1_900, 2_100] };
const drums: VisitTiming = { first: [300, 400], between: [300, 400], stays: [1_500, 1_600] };
const drumBeats = 4;

function visitAt(arrivesAt: Instant, timing: VisitTiming, random: RandomSource): BirdVisit {
  const bird = birds[Math.floor(random.uniform() * birds.length)] ?? birds[0];
  const kinds: BirdAction["kind"][] = [];
  if (random.isTrueWith(bird.deposit)) kinds.push("deposit");
  if (random.isTrueWith(bird.press)) kinds.push("press");
  return visitWithActions(arrivesAt, kinds, timing, random);
}

const drummingAt = (arrivesAt: Instant, random: RandomSource): BirdVisit =>
  visitWithActions(arrivesAt, new Array<"press">(drumBeats).fill("press"), drums, random);

function visitWithActions(
  arrivesAt: Instant,
  kinds: readonly BirdAction["kind"][],
  timing: VisitTiming,
  random: RandomSource,
): BirdVisit {
  let at = soonAfter(arrivesAt, timing.first, random);
  const actions: BirdAction[] = [];
  for (const kind of kinds) {
    actions.push({ kind, at });
    at = soonAfter(at, timing.between, random);
  }
  return { arrivesAt, actions, leavesAt: soonAfter(at, timing.stays, random) };
}

const soonAfter = (at: Instant, [low, high]: readonly [number, number], random: RandomSource): Instant =>
  (at + Math.round(random.between(low, high))) as Instant;
