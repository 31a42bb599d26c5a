import { type Bird, type BirdDay, drawBody, type Mind } from "./bird.ts";
import type { Episode } from "./faults.ts";
import { drawInsightTraits, InsightMind } from "./insight.ts";
import { createSite, type Flock, type FlockDay, type LearningSite, plainFlock } from "./learningSite.ts";
import type { StageKind } from "./livedDay.ts";
import { Random } from "./random.ts";
import { drawTraits } from "./traits.ts";

/**
 * Birds that learn and later lose it. Goal: a known day of loss, for each of its causes: `unpaid` (food doesn't fall
 * for days and the server does not know), `scare` (they stay away for weeks, and come back shy of the feeder),
 * `betterFood` (a rich place elsewhere: fewer come, and they don't work). Method: birds that learn abruptly, but sooner
 * (insight.ts); some days after half of them know an act, the cause begins. The day of loss is where `birdsKnowing`
 * falls to 0. Replay: seed and calls.
 */
export function losesSite(seed: number): LearningSite {
  const random = new Random(seed, "loses");
  const traits = drawTraits(random);
  const count = random.whole(1, 5);
  const loss = new Loss(random);
  const birds: readonly Bird[] = Array.from({ length: count }, (_, index) => {
    const own = new Random(seed, "loses bird", index);
    const quick = drawInsightTraits(own, true);
    return { body: drawBody(own, count), mind: new LosingMind(new InsightMind(quick, own), loss) };
  });
  return createSite({ seed, kind: "loses", learns: true, traits, flock: new LosingFlock(birds, loss) });
}

/** What makes the birds stop, and how it goes on from then. */
class Loss {
  readonly cause: "unpaid" | "scare" | "betterFood";
  readonly daysAfterKnowing: number;
  readonly deepest: number; // of the act's probability that is left
  readonly comingLeft: number;
  readonly dailyShare: number; // of what is left to lose, that goes each day
  readonly awayDays: number; // how long numbers stay low
  beganAt: number | null = null; // since 1970

  constructor(random: Random) {
    this.cause = random.pick(["unpaid", "scare", "betterFood"] as const);
    this.daysAfterKnowing = random.whole(12, 45);
    this.deepest = random.between(0, 0.1);
    this.comingLeft = this.cause === "unpaid" ? random.between(0.5, 1) : random.between(0.1, 0.6);
    this.dailyShare = this.cause === "unpaid" ? random.between(0.3, 0.6) : random.between(0.6, 1);
    this.awayDays = random.whole(7, 40);
  }

  daysSince = (dayNumber: number): number => (this.beganAt === null ? -1 : dayNumber - this.beganAt);
}

class LosingFlock implements Flock {
  private readonly birds: readonly Bird[];
  private readonly loss: Loss;
  private knewAt: number | null = null;

  constructor(birds: readonly Bird[], loss: Loss) {
    this.birds = birds;
    this.loss = loss;
  }

  birdsOn({ dayNumber, stage }: FlockDay): readonly Bird[] {
    const knowing = this.birds.filter(({ mind }) => mind.knows(stage)).length;
    if (this.knewAt === null && stage !== "comeForFood" && 2 * knowing >= this.birds.length) this.knewAt = dayNumber;
    if (this.knewAt !== null && dayNumber >= this.knewAt + this.loss.daysAfterKnowing) this.loss.beganAt ??= dayNumber;
    return this.birds;
  }

  coming({ dayNumber }: FlockDay): number {
    const days = this.loss.daysSince(dayNumber);
    if (days < 0) return 1;
    const { comingLeft, awayDays } = this.loss;
    return comingLeft + (1 - comingLeft) * (1 - Math.exp(-Math.max(0, days - awayDays) / 10));
  }

  /** Food that isn't delivered for two weeks; nobody at the server knows. */
  faults(day: FlockDay): readonly Episode[] {
    const days = this.loss.daysSince(day.dayNumber);
    if (this.loss.cause !== "unpaid" || days < 0 || days >= 14) return [];
    return [{ kind: "jammed", from: day.from, to: day.to, knownFrom: null, left: 0 }];
  }

  endDay = plainFlock.endDay;
}

class LosingMind implements Mind {
  private readonly inner: InsightMind;
  private readonly loss: Loss;
  private kept = 1;
  private hasLost = false;

  constructor(inner: InsightMind, loss: Loss) {
    this.inner = inner;
    this.loss = loss;
  }

  comes = (): number => this.inner.comes();
  notices = (): number => this.inner.notices() * this.kept;
  acts = (stage: StageKind): number => this.inner.acts(stage) * this.kept;
  knows = (stage: StageKind): boolean => this.inner.knows(stage) && (!this.hasLost || stage === "comeForFood");

  beginDay(dayNumber: number): void {
    this.inner.beginDay();
    const days = this.loss.daysSince(dayNumber);
    if (days < 0) return;
    this.hasLost = true;
    const { deepest, dailyShare, cause } = this.loss;
    // What isn't paid goes from the day after on; what frightens works at once.
    const steps = cause === "unpaid" ? days : days + 1;
    this.kept = deepest + (1 - deepest) * (1 - dailyShare) ** steps;
  }

  endDay = (day: BirdDay): void => this.inner.endDay(day);
}
