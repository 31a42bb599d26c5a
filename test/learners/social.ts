import { type Bird, type BirdDay, byStage, drawBody, type Mind, stageBefore } from "./bird.ts";
import { createSite, type Flock, type FlockDay, type LearningSite, plainFlock } from "./learningSite.ts";
import { type StageKind, stageKinds } from "./livedDay.ts";
import { Random } from "./random.ts";
import { drawTraits } from "./traits.ts";

/**
 * A flock in which one finds out and the others copy. Goal: a long nothing, then a fast spread; birds that never act
 * since others do it for them; numbers that jump; knowledge that leaves with a bird. Method: a bird finds out by itself
 * with a small chance a day, and by others with a chance for each paid act that it has seen (the form of diffusion
 * analysis, from memory); higher birds take food that others earn. Birds leave, newcomers and fledglings come in,
 * naive. Rates are our choice. Replay: seed and calls.
 */
export function socialSite(seed: number): LearningSite {
  const random = new Random(seed, "social");
  const traits = {
    ...drawTraits(random),
    theft: random.between(0.2, 0.8),
    moodSpread: random.between(0.4, 0.9),
    boutsDaily: random.logBetween(5, 50),
  };
  const flock = new SocialFlock(seed, drawSocialTraits(random), random.whole(3, 8));
  return createSite({ seed, kind: "social", learns: true, traits, flock });
}

interface SocialTraits {
  readonly innovationDaily: number; // of the inventive one: the chance to find a stage out, on a day with bouts
  readonly copying: number; // for each paid act seen
  readonly waitsForOthers: number; // how much less it acts where others do
  readonly leavesDaily: number;
  readonly arrivesDaily: number;
  readonly fledglings: number;
  readonly absence: number;
  readonly comesAtFirst: number;
}

const drawSocialTraits = (random: Random): SocialTraits => ({
  innovationDaily: 1 / random.logBetween(5, 45),
  copying: random.logBetween(0.002, 0.06),
  waitsForOthers: random.between(0, 0.7),
  leavesDaily: random.logBetween(0.001, 0.015),
  arrivesDaily: random.logBetween(0.001, 0.03),
  fledglings: random.whole(0, 4),
  absence: random.between(0.05, 0.4),
  comesAtFirst: random.between(0.15, 0.6),
});

/** Most that a feeder's surroundings hold; our choice. */
const flockMax = 12;

class SocialFlock implements Flock {
  coming = plainFlock.coming;
  faults = plainFlock.faults;
  private readonly seed: number;
  private readonly traits: SocialTraits;
  private readonly founders: number;
  private members: { readonly bird: Bird; readonly mind: SocialMind }[] = [];
  private born = 0;
  private fledgedYear: number | null = null;

  constructor(seed: number, traits: SocialTraits, founders: number) {
    this.seed = seed;
    this.traits = traits;
    this.founders = founders;
    for (let index = 0; index < founders; index += 1) this.add(index === 0);
  }

  birdsOn(day: FlockDay): readonly Bird[] {
    this.fledge(day);
    const about = this.members.filter(() => !day.random.chance(this.traits.absence));
    for (const { mind } of about)
      mind.knowersBeside = about.filter((one) => one.mind !== mind && one.mind.knows(day.stage)).length;
    return about.map(({ bird }) => bird);
  }

  endDay({ random }: FlockDay): void {
    const { leavesDaily, arrivesDaily } = this.traits;
    // An inventive bird stays while it is the only one: a flock without any would be a site that never learns.
    const [inventor] = this.members;
    const stays = (one: SocialFlock["members"][number]) =>
      this.members.length === 1 || (one === inventor && !this.hasHeirs());
    this.members = this.members.filter((one) => !random.chance(leavesDaily) || stays(one));
    if (random.chance(arrivesDaily) && this.members.length < flockMax) this.add(random.chance(0.3));
  }

  /** Each year, in early summer. */
  private fledge({ yearShare, dayNumber }: FlockDay): void {
    const year = Math.floor(dayNumber / 365.25);
    if (yearShare < 0.46 || yearShare > 0.55 || this.fledgedYear === year) return;
    this.fledgedYear = year;
    for (let left = this.traits.fledglings; left > 0 && this.members.length < flockMax; left -= 1) this.add(false);
  }

  private hasHeirs = (): boolean => this.members.slice(1).some(({ mind }) => mind.isInventive);

  private add(isInventive: boolean): void {
    const random = new Random(this.seed, "social bird", this.born);
    this.born += 1;
    const mind = new SocialMind(this.traits, isInventive, random);
    this.members.push({ bird: { body: drawBody(random, this.founders), mind }, mind });
  }
}

/** From the day on which it has found out, a bird needs some days of practice. */
const practiceDays = 4;

class SocialMind implements Mind {
  readonly isInventive: boolean;
  /** Others about today that know the stage. */
  knowersBeside = 0;
  private readonly traits: SocialTraits;
  private readonly random: Random;
  private readonly practice: Record<StageKind, number> = { ...byStage(() => 0) }; // days since it knows, at most practiceDays
  private readonly level: number;
  private readonly operant: number;
  private readiness: number;

  constructor(traits: SocialTraits, isInventive: boolean, random: Random) {
    this.traits = traits;
    this.isInventive = isInventive;
    this.random = random;
    this.level = random.between(0.4, 0.95);
    this.operant = random.logBetween(0.0005, 0.02);
    this.readiness = traits.comesAtFirst * random.between(0.5, 1);
  }

  comes = (): number => this.readiness;
  notices = (): number => (this.knows("comeForFood") ? 0.8 : 0.05);
  knows = (stage: StageKind): boolean => (stage === "comeForFood" ? this.readiness >= 0.5 : this.practice[stage] > 0);
  beginDay(): void {}

  acts(stage: StageKind): number {
    if (stage === "comeForFood") return 0;
    const waits = this.knowersBeside > 0 ? 1 - this.traits.waitsForOthers : 1;
    return Math.max(this.operant, this.level * (this.practice[stage] / practiceDays) * waits);
  }

  endDay(day: BirdDay): void {
    // Where others feed, a bird comes sooner: each fed bout counts, each of another's paid acts a little.
    this.readiness += (1 - this.readiness) * (1 - 0.97 ** (day.boutsFed + 0.2 * day.paidActsSeen));
    for (const stage of stageKinds) {
      if (this.practice[stage] > 0) this.practice[stage] = Math.min(practiceDays, this.practice[stage] + 1);
    }
    if (day.stage === "comeForFood" || day.bouts === 0 || this.practice[day.stage] > 0) return;
    if (this.findsOut(day)) this.practice[day.stage] = 1;
  }

  private findsOut(day: BirdDay): boolean {
    const before = stageBefore[day.stage];
    const isReady = before === null || this.knows(before) ? 1 : 0.05;
    const { innovationDaily, copying } = this.traits;
    const alone = (this.isInventive ? innovationDaily : innovationDaily / 20) * isReady;
    const paid = day.acts.filter((act) => act.paid).length;
    const none = (1 - alone) * (1 - copying * Math.max(0.3, isReady)) ** day.paidActsSeen * 0.9 ** paid;
    return this.random.chance(1 - none);
  }
}
