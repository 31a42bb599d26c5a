import { type Bird, drawBody, type Mind } from "./bird.ts";
import { createSite, type FlockDay, type LearningSite, plainFlock } from "./learningSite.ts";
import type { StageKind } from "./livedDay.ts";
import { Random } from "./random.ts";
import { drawChance, drawTraits } from "./traits.ts";

/**
 * Birds that come, eat and never understand. Goal: every way in which such a site can look as if they did: a button
 * that wings brush, wind, caps that fall in, a curious juvenile that presses for two days, numbers that rise with frost
 * and season. Method: no mind changes on any day; acts by accident in 0 to 15 % of bouts. Replay: seed and calls.
 */
export function neverLearnsSite(seed: number): LearningSite {
  const random = new Random(seed, "neverLearns");
  const traits = { ...drawTraits(random), ...drawChance(random, 0.15) };
  const count = random.whole(1, 8);
  const juvenile = drawJuvenile(random);
  const members = Array.from({ length: count }, (_, index): { readonly bird: Bird; readonly mind: UnchangingMind } => {
    const own = new Random(seed, "neverLearns bird", index);
    const mind = new UnchangingMind(own.between(0.3, 1), index === 0 ? juvenile : null);
    return { bird: { body: drawBody(own, count), mind }, mind };
  });
  const numbers = drawNumbersByDay(random);
  return createSite({
    seed,
    kind: "neverLearns",
    learns: false,
    traits,
    flock: {
      ...plainFlock,
      birdsOn: (day) => {
        for (const { mind } of members) mind.dayIndex = day.dayIndex;
        return members.map(({ bird }) => bird);
      },
      coming: (day) => numbers(day),
    },
  });
}

/** Two days of many presses or nudges, at some time; null: on most sites none. Nobody carries caps about by whim. */
interface Juvenile {
  readonly from: number; // day index
  readonly to: number;
  readonly acts: number;
}

const drawJuvenile = (random: Random): Juvenile | null => {
  const from = random.whole(1, 60);
  const juvenile = { from, to: from + random.whole(1, 2), acts: random.between(0.2, 0.8) };
  return random.chance(0.5) ? juvenile : null;
};

/**
 * A slow drift of numbers that has nothing to do with the feeder, up or down by up to three times in two months, or a
 * step.
 */
function drawNumbersByDay(random: Random): (day: FlockDay) => number {
  const size = random.between(-1.1, 1.1);
  const [stepDay, isStep] = [random.whole(5, 60), random.chance(0.4)];
  return ({ dayIndex }) => Math.exp(isStep ? (dayIndex >= stepDay ? size : 0) : size * Math.min(1, dayIndex / 60));
}

class UnchangingMind implements Mind {
  dayIndex = 0;
  private readonly readiness: number;
  private readonly juvenile: Juvenile | null;

  constructor(readiness: number, juvenile: Juvenile | null) {
    this.readiness = readiness;
    this.juvenile = juvenile;
  }

  comes = (): number => this.readiness;
  notices = (): number => 0;
  knows = (): boolean => false;
  beginDay(): void {}
  endDay(): void {}

  acts(stage: StageKind): number {
    const { juvenile } = this;
    if (juvenile === null || (stage !== "pressForFood" && stage !== "nudgeCap")) return 0;
    return this.dayIndex >= juvenile.from && this.dayIndex < juvenile.to ? juvenile.acts : 0;
  }
}
