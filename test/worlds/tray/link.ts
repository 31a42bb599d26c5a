import type { Random } from "./random.ts";
import { day, hour, minute } from "./time.ts";

/** A radio link by Gilbert 1960 and Elliott 1963: good and bad spells, and now and then nothing at all for hours or days. */
export class Link {
  private readonly random: Random;
  private readonly build;
  private isBad = false;
  private turnsAt: number;
  private outageFrom: number;
  private outageUntil: number;

  constructor(random: Random, begin: number) {
    this.random = random;
    this.build = {
      goodSpan: random.logBetween(2 * hour, 3 * day),
      badSpan: random.logBetween(2 * minute, 50 * minute),
      goodLoss: random.logBetween(0.0002, 0.02),
      badLoss: random.between(0.25, 1),
      lostAnswers: random.logBetween(0.0005, 0.02), // the report came, its answer didn't
      outageGap: random.logBetween(12 * day, 200 * day),
      latency: random.logBetween(30, 900),
      signal: random.between(-84, -52),
    };
    this.turnsAt = begin + random.exponential(this.build.goodSpan);
    this.outageFrom = begin + random.exponential(this.build.outageGap);
    this.outageUntil = this.outageFrom + this.outageSpan();
  }

  send(at: number): "lost" | "unanswered" | "answered" {
    const { build, random } = this;
    while (this.outageUntil < at) {
      this.outageFrom = this.outageUntil + random.exponential(build.outageGap);
      this.outageUntil = this.outageFrom + this.outageSpan();
    }
    while (this.turnsAt < at) {
      this.isBad = !this.isBad;
      this.turnsAt += random.exponential(this.isBad ? build.badSpan : build.goodSpan);
    }
    const loss = at >= this.outageFrom ? 1 : this.isBad ? build.badLoss : build.goodLoss;
    if (random.chance(loss)) return "lost";
    return random.chance(build.lostAnswers + (this.isBad ? 0.5 * loss : 0)) ? "unanswered" : "answered";
  }

  latency = (): number => Math.min(9_000, this.build.latency * this.random.logNormal(0.5));
  signalDbm = (): number =>
    Math.round(Math.max(-125, this.build.signal - (this.isBad ? 8 : 0) + this.random.normal(0, 2)));

  private outageSpan = (): number => Math.min(5 * day, 8 * hour * this.random.logNormal(1.1));
}
