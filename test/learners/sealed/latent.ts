import { type Bird, type BirdDay, byStage, drawBody, type Mind, stageBefore } from "../bird.ts";
import { createSite, type LearningSite, plainFlock } from "../learningSite.ts";
import { type StageKind, stageKinds } from "../livedDay.ts";
import { Random } from "../random.ts";
import { drawTraits } from "../traits.ts";

/**
 * Birds that learn without showing it. Goal: acts that come and go with need, so that weather and free food look like
 * learning and forgetting, beside a knowledge that really grows. Method: knowledge grows by small steps with each bout
 * at the thing (latent learning, Tolman and Honzik 1930, from memory); a bird uses it as far as it needs to: more in
 * frost, less where much is free. After a stage change it begins low and comes back faster than it was learnt (savings,
 * from memory). One bird in three never gets there. Rates are our choice. Replay: seed and calls.
 */
export function latentSite(seed: number): LearningSite {
  const random = new Random(seed, "latent");
  const traits = drawTraits(random);
  const count = random.whole(1, 6);
  const birds: readonly Bird[] = Array.from({ length: count }, (_, index) => {
    const own = new Random(seed, "latent bird", index);
    return { body: drawBody(own, count), mind: new LatentMind(own, index === 0 || own.chance(0.67)) };
  });
  const absence = random.between(0, 0.2);
  return createSite({
    seed,
    kind: "latent",
    learns: true,
    traits,
    flock: { ...plainFlock, birdsOn: (day) => birds.filter(() => !day.random.chance(absence)) },
  });
}

class LatentMind implements Mind {
  private readonly knowledge: Record<StageKind, number> = { ...byStage(() => 0) }; // 0 to 1
  private readonly use: Record<StageKind, number> = { ...byStage(() => 0) }; // how far it has come back into use, 0 to 1
  private readonly pace: number; // share of the missing knowledge that one bout brings
  private readonly needSlope: number; // of log-odds, for each degree below 5
  private readonly freeSlope: number; // the same, for each free gram
  private readonly level: number;
  private readonly operant: number;
  private readiness: number;
  private need = 0;

  constructor(random: Random, isAble: boolean) {
    this.pace = isAble ? random.logBetween(0.003, 0.05) : 0;
    this.needSlope = random.between(0.03, 0.2);
    this.freeSlope = random.between(0, 0.06);
    this.level = random.between(0.5, 0.9);
    this.operant = random.logBetween(0.001, 0.02);
    this.readiness = random.between(0.2, 0.8);
  }

  comes = (): number => this.readiness;
  notices = (): number => this.readiness;
  knows = (stage: StageKind): boolean =>
    stage === "comeForFood" ? this.readiness >= 0.5 : this.knowledge[stage] >= 0.5;
  beginDay(): void {}

  acts(stage: StageKind): number {
    if (stage === "comeForFood") return 0;
    const shown = 1 / (1 + Math.exp(-Math.log(this.level / (1 - this.level)) - this.need));
    const ripe = 1 / (1 + Math.exp(-14 * (this.knowledge[stage] - 0.5)));
    return Math.max(this.operant, shown * ripe * this.use[stage]);
  }

  endDay(day: BirdDay): void {
    const free = day.freePortions * day.gramsEach;
    // The cold of yesterday is the hunger of today.
    this.need = Math.max(-2.5, Math.min(2, this.needSlope * (5 - day.airCelsius) - this.freeSlope * free));
    this.readiness += (1 - this.readiness) * (1 - 0.98 ** day.boutsFed);
    for (const stage of stageKinds) this.use[stage] *= stage === day.stage ? 1 : 0.8;
    if (day.stage === "comeForFood") return;
    const before = stageBefore[day.stage];
    const ready = before === null || before === "comeForFood" ? 1 : 0.1 + 0.9 * this.knowledge[before];
    const steps = day.bouts + 3 * day.acts.filter(({ paid }) => paid).length;
    this.knowledge[day.stage] += (1 - this.knowledge[day.stage]) * (1 - (1 - this.pace * ready) ** steps);
    this.use[day.stage] += 0.35 * (1 - this.use[day.stage]);
  }
}
