import { type Bird, type BirdDay, byStage, drawBody, type Mind, stageBefore } from "./bird.ts";
import { createSite, type LearningSite, plainFlock } from "./learningSite.ts";
import { type StageKind, stageKinds } from "./livedDay.ts";
import { Random } from "./random.ts";
import { drawTraits } from "./traits.ts";

/**
 * Birds that learn all at once. Goal: a day before which there is nothing and after which there is plenty, for each
 * bird its own, as individual acquisition is abrupt and only a group's mean is smooth (Gallistel, Fairhurst and Balsam
 * 2004, PNAS 101:13124). Method: each bird needs a drawn number of bouts with the thing before it; fewer where it knows
 * the stage before. From the next day on it acts at its level, with noise from day to day. The day of change is where
 * `birdsKnowing` rises. Replay: seed and calls.
 */
export function insightSite(seed: number): LearningSite {
  const random = new Random(seed, "insight");
  const traits = drawTraits(random);
  const count = random.pick([1, 1, 2, 2, 3, 4, 6]);
  const birds: readonly Bird[] = Array.from({ length: count }, (_, index) => {
    const own = new Random(seed, "insight bird", index);
    return { body: drawBody(own, count), mind: new InsightMind(drawInsightTraits(own, index === 0), own) };
  });
  const absence = random.pick([0, random.between(0, 0.25)]);
  return createSite({
    seed,
    kind: "insight",
    learns: true,
    traits,
    flock: { ...plainFlock, birdsOn: (day) => birds.filter(() => !day.random.chance(absence)) },
  });
}

export interface InsightTraits {
  readonly boutsNeeded: Readonly<Record<StageKind, number>>;
  readonly level: number; // probability of the act afterwards
  readonly noise: number; // spread of its log-odds from day to day
  readonly operant: number;
  readonly comesBefore: number;
  readonly comesAfter: number;
}

export function drawInsightTraits(random: Random, isQuick: boolean): InsightTraits {
  return {
    boutsNeeded: byStage(() => (isQuick ? random.logBetween(4, 60) : random.logBetween(8, 400))),
    level: random.between(0.35, 0.95),
    noise: random.between(0.2, 1),
    operant: random.pick([0, random.logBetween(0.001, 0.02)]),
    comesBefore: random.between(0.1, 0.45),
    comesAfter: random.between(0.6, 1),
  };
}

/** A bout in a stage that is too far ahead counts only so much. */
const tooFarAhead = 0.05;
/** A paid act, were it by accident, counts as so many bouts. */
const paidActCounts = 4;

export class InsightMind implements Mind {
  private readonly traits: InsightTraits;
  private readonly random: Random;
  private readonly met: Record<StageKind, number> = { ...byStage(() => 0) };
  private readonly known = new Set<StageKind>();
  private disappointment = 0; // 0 to 1: from days without pay
  private mood = 0;

  constructor(traits: InsightTraits, random: Random) {
    this.traits = traits;
    this.random = random;
  }

  comes = (): number => (this.known.has("comeForFood") ? this.traits.comesAfter : this.traits.comesBefore);
  notices = (): number => (this.known.has("comeForFood") ? 0.9 : 0.05);
  knows = (stage: StageKind): boolean => this.known.has(stage);

  acts(stage: StageKind): number {
    const { level, noise, operant } = this.traits;
    if (stage === "comeForFood") return 0;
    if (!this.known.has(stage)) return operant;
    const logOdds = Math.log(level / (1 - level)) + noise * this.mood;
    return Math.max(operant, (1 - 0.8 * this.disappointment) / (1 + Math.exp(-logOdds)));
  }

  beginDay(): void {
    this.mood = this.random.normal();
  }

  endDay(day: BirdDay): void {
    for (const stage of stageKinds) {
      if (stage === "comeForFood" || stage === day.stage) this.meet(stage, day);
    }
    const unpaid = day.acts.length > 2 * day.paysEvery && day.acts.every(({ paid }) => !paid);
    this.disappointment = unpaid ? Math.min(1, this.disappointment + 0.3) : this.disappointment * 0.4;
  }

  private meet(stage: StageKind, day: BirdDay): void {
    const before = stageBefore[stage];
    const weight = before === null || this.known.has(before) ? 1 : tooFarAhead;
    const paid = stage === day.stage ? day.acts.filter((act) => act.paid).length : 0;
    this.met[stage] += weight * ((stage === "comeForFood" ? day.boutsFed : day.bouts) + paidActCounts * paid);
    if (this.met[stage] >= this.traits.boutsNeeded[stage]) this.known.add(stage);
  }
}
