import { type Bird, type BirdDay, byStage, drawBody, type Mind, stageBefore } from "../bird.ts";
import { createSite, type Flock, type FlockDay, type LearningSite, plainFlock } from "../learningSite.ts";
import { type StageKind, stageKinds } from "../livedDay.ts";
import { Random } from "../random.ts";
import { drawTraits } from "../traits.ts";

/**
 * Birds that choose each day what pays: to work, to live on the work of others, or to wait for what is free. Goal: a
 * site that has learnt and yet acts seldom, at a share that settles where working and taking pay alike (producers and
 * scroungers, Barnard and Sibly 1981, from memory), and that moves when free food or pay moves. Method: each bird has a
 * running mean of what each way has brought it (linear operator, Bush and Mosteller 1955, from memory) and works with a
 * softmax of them, once a skill is there that grows with each act. Rates are our choice. Replay: seed and calls.
 */
export function producersSite(seed: number): LearningSite {
  const random = new Random(seed, "producers");
  const traits = { ...drawTraits(random), theft: random.between(0.3, 0.9), boutsDaily: random.logBetween(6, 40) };
  const count = random.whole(2, 7);
  const members = Array.from({ length: count }, (_, index) => {
    const own = new Random(seed, "producers bird", index);
    const mind = new ChoosingMind(own, index === 0);
    return { bird: { body: drawBody(own, count), mind } satisfies Bird, mind };
  });
  const flock: Flock = {
    ...plainFlock,
    birdsOn: (day: FlockDay) => {
      const working = members.reduce((sum, { mind }) => sum + mind.works(day.stage), 0);
      for (const { mind } of members) mind.othersWork = working - mind.works(day.stage);
      return members.filter(() => !day.random.chance(0.08)).map(({ bird }) => bird);
    },
  };
  return createSite({ seed, kind: "producers", learns: true, traits, flock });
}

class ChoosingMind implements Mind {
  /** How much the others together work. */
  othersWork = 0;
  private readonly skill: Record<StageKind, number> = { ...byStage(() => 0) }; // 0 to 1
  private workValue: number;
  private takeValue = 0.3;
  private readiness: number;
  private readonly practice: number; // share of the missing skill that a paid act brings
  private readonly memory: number; // share by which a day moves a value
  private readonly sharpness: number; // of the choice
  private readonly curiosity: number;
  private readonly ceiling: number;

  constructor(random: Random, isAble: boolean) {
    this.workValue = random.between(0.3, 0.7);
    this.readiness = random.between(0.2, 0.7);
    this.practice = isAble ? random.logBetween(0.03, 0.3) : random.logBetween(0.003, 0.2);
    this.memory = random.logBetween(0.05, 0.4);
    this.sharpness = random.between(2, 8);
    this.curiosity = random.logBetween(isAble ? 0.015 : 0.002, 0.06);
    this.ceiling = random.between(0.6, 0.95);
  }

  comes = (): number => this.readiness;
  notices = (): number => this.readiness ** 2;
  knows = (stage: StageKind): boolean => (stage === "comeForFood" ? this.readiness >= 0.5 : this.skill[stage] >= 0.5);
  beginDay(): void {}

  acts(stage: StageKind): number {
    if (stage === "comeForFood") return 0;
    return this.curiosityFor(stage) + this.ceiling * this.works(stage);
  }

  /** Skill times the choice to use it. */
  works(stage: StageKind): number {
    if (stage === "comeForFood") return 0;
    const gain = this.workValue - this.takeValue * Math.min(1, this.othersWork);
    return (this.skill[stage] * 0.98) / (1 + Math.exp(-this.sharpness * gain));
  }

  endDay(day: BirdDay): void {
    this.readiness += (1 - this.readiness) * (1 - 0.97 ** day.boutsFed);
    if (day.stage === "comeForFood" || day.bouts === 0) return;
    const paid = day.acts.filter((act) => act.paid).length;
    this.skill[day.stage] += (1 - this.skill[day.stage]) * (1 - (1 - this.practice) ** paid);
    for (const stage of stageKinds) if (stage !== day.stage) this.skill[stage] *= 0.995;
    if (day.acts.length > 0) this.workValue += this.memory * (paid / day.acts.length - this.workValue);
    const unearned = Math.max(0, day.boutsFed - paid) / day.bouts;
    this.takeValue += this.memory * (unearned - this.takeValue);
  }

  private curiosityFor(stage: StageKind): number {
    const before = stageBefore[stage];
    if (before === null || before === "comeForFood") return this.curiosity;
    return this.curiosity * (0.05 + this.skill[before]);
  }
}
