import { type Bird, type BirdDay, byStage, drawBody, type Mind, stageBefore } from "./bird.ts";
import { createSite, type LearningSite, plainFlock } from "./learningSite.ts";
import { type StageKind, stageKinds } from "./livedDay.ts";
import { Random } from "./random.ts";
import { drawTraits } from "./traits.ts";

/**
 * Birds that learn by and by. Goal: smooth curves, each with a pace of its own, of which only the sum is seen; curves
 * that bend back where pay is late, lean or missing. Method: the rule of Rescorla and Wagner (1972, from memory): an
 * act's strength moves by a share of what the food surprises; free food makes the place itself a sign of food, which
 * then surprises less (contingency). A late portion is worth 1 / (1 + k D) (Mazur 1987). Strength fades with days away.
 * Ranges of the rates are our choice. Replay: seed and calls.
 */
export function associativeSite(seed: number): LearningSite {
  const random = new Random(seed, "associative");
  const traits = drawTraits(random);
  const count = random.whole(1, 8);
  const comes = random.between(0.1, 0.7);
  const birds: readonly Bird[] = Array.from({ length: count }, (_, index) => {
    const own = new Random(seed, "associative bird", index);
    return { body: drawBody(own, count), mind: new AssociativeMind(drawAssociativeTraits(own, index === 0), comes) };
  });
  const absence = random.pick([0, random.between(0, 0.3)]);
  return createSite({
    seed,
    kind: "associative",
    learns: true,
    traits,
    flock: { ...plainFlock, birdsOn: (day) => birds.filter(() => !day.random.chance(absence)) },
  });
}

interface AssociativeTraits {
  readonly speed: number; // share of the surprise that one paid act moves
  readonly unpaidPart: number; // how much slower an unpaid one moves it back
  readonly delayPerSecond: number; // k of Mazur
  readonly ceiling: number; // of the probability
  readonly halfStrength: number; // strength at which half of the ceiling is reached
  readonly operant: Readonly<Record<StageKind, number>>; // probability before anything is learnt
  readonly carryOver: number; // strength that the next stage gets from the one before
  readonly forgettingDays: number; // to 1/e, while it is away
  readonly contextPart: number; // how much the place's own strength stands against the act's
}

/** @param isAble at least one bird of a site can learn within weeks */
function drawAssociativeTraits(random: Random, isAble: boolean): AssociativeTraits {
  const curious = random.logBetween(isAble ? 0.015 : 0.002, 0.08);
  return {
    speed: isAble ? random.logBetween(0.02, 0.25) : random.logBetween(0.002, 0.2),
    unpaidPart: random.logBetween(0.05, 0.5),
    delayPerSecond: isAble ? random.between(0.01, 0.05) : random.logBetween(0.01, 0.3),
    ceiling: random.between(0.3, 0.98),
    halfStrength: random.between(0.2, 0.45),
    operant: { comeForFood: 0, pressForFood: curious, nudgeCap: curious, dropCap: curious / 6, fetchCap: curious / 40 },
    carryOver: random.between(0.15, 0.5),
    forgettingDays: random.logBetween(15, 250),
    contextPart: random.between(0, 0.5),
  };
}

class AssociativeMind implements Mind {
  private readonly traits: AssociativeTraits;
  private readonly strength: Record<StageKind, number>;
  private context = 0;
  private lastDay: number | null = null;

  constructor(traits: AssociativeTraits, comes: number) {
    this.traits = traits;
    this.strength = { ...byStage(() => 0), comeForFood: comes };
  }

  comes = (): number => this.strength.comeForFood;
  notices = (): number => this.strength.comeForFood ** 2;
  knows = (stage: StageKind): boolean =>
    stage === "comeForFood" ? this.comes() >= 0.5 : this.acts(stage) >= 0.5 * this.traits.ceiling;

  acts(stage: StageKind): number {
    const { operant, ceiling, halfStrength, carryOver } = this.traits;
    if (stage === "comeForFood") return 0;
    const before = stageBefore[stage];
    const carried = before === null || before === "comeForFood" ? 0 : carryOver * this.strength[before];
    const cubed = Math.max(0, this.strength[stage], carried) ** 3;
    return operant[stage] + (ceiling - operant[stage]) * (cubed / (cubed + halfStrength ** 3));
  }

  beginDay(dayNumber: number): void {
    const away = this.lastDay === null ? 0 : dayNumber - this.lastDay - 1;
    const kept = Math.exp(-away / this.traits.forgettingDays);
    for (const stage of stageKinds) this.strength[stage] *= kept;
    this.lastDay = dayNumber;
  }

  endDay(day: BirdDay): void {
    this.learnToCome(day);
    if (day.stage === "comeForFood") return;
    const { speed, unpaidPart, delayPerSecond, contextPart } = this.traits;
    const worth = 1 - Math.exp(-day.gramsEach / 0.5); // a few crumbs teach less; the form is our choice
    for (const { paid, delaySeconds, isFirst } of day.acts) {
      const gained = paid ? worth / (1 + delayPerSecond * delaySeconds) - contextPart * this.context : 0;
      // Acts in close succession teach less than spaced ones (from memory); where few are paid, a missing portion
      // surprises less.
      const pace = speed * (isFirst ? 1 : 0.3) * (paid ? 1 : unpaidPart / day.paysEvery);
      this.strength[day.stage] = Math.max(0, this.strength[day.stage] + pace * (gained - this.strength[day.stage]));
    }
  }

  /** Food found makes it come, an empty dish less so; food that isn't earned makes the place a sign of food. */
  private learnToCome({ bouts, boutsFed, acts }: BirdDay): void {
    const { speed } = this.traits;
    const empty = (1 - 0.1 * Math.min(1, speed)) ** (bouts - boutsFed);
    const full = (1 - Math.min(1, speed)) ** boutsFed;
    this.strength.comeForFood = Math.max(0.03, (1 - (1 - this.strength.comeForFood) * full) * empty);
    const unearned = Math.max(0, boutsFed - acts.filter(({ paid }) => paid).length);
    this.context = Math.min(1, 1 - (1 - this.context) * (1 - 0.1 * Math.min(1, speed)) ** unearned) * 0.98;
  }
}
