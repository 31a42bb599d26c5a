import type { Random } from "./random.ts";
import { dayMs, hourMs, minuteMs } from "./sky.ts";

/**
 * The line to the server: two states with losses of their own (Gilbert, 1960, and Elliott, 1963, from memory), and outages of hours.
 * Ranges: common practice, no source.
 */
export interface LinePart {
  readonly lossGood: number;
  readonly lossBad: number;
  readonly goodMs: number;
  readonly badMs: number;
  readonly outagesPerDay: number;
  readonly outageMs: number;
  readonly answersLost: number; // share of the losses in which the report itself arrives
  readonly latencyMs: number;
  readonly late: number; // share of the reports
  readonly doubled: number;
  readonly sendsAgain: boolean; // at once, not only with the next report
}

export const drawLine = (random: Random): LinePart => ({
  lossGood: random.chance(0.3) ? 0 : random.logUniform(0.0002, 0.02),
  lossBad: random.uniform(0.15, 0.95),
  goodMs: random.logUniform(4, 200) * hourMs,
  badMs: random.logUniform(3, 120) * minuteMs,
  outagesPerDay: random.chance(0.4) ? 0 : random.logUniform(0.01, 0.2),
  outageMs: random.logUniform(0.5, 8) * hourMs,
  answersLost: random.uniform(0.05, 0.5),
  latencyMs: random.logUniform(30, 900),
  late: random.chance(0.4) ? 0 : random.logUniform(0.001, 0.05),
  doubled: random.chance(0.5) ? 0 : random.logUniform(0.0001, 0.006),
  sendsAgain: random.chance(0.6),
});

export interface Fate {
  readonly kind: "lost" | "answerLost" | "answered";
  readonly latencyMs: number;
  readonly doubledAfterMs: number | null;
}

export class Line {
  readonly part: LinePart;
  readonly #random: Random;
  #isBad = false;
  #changesAt: number;
  #outageFrom: number;
  #outageTo = 0;

  constructor(part: LinePart, random: Random, begin: number) {
    this.part = part;
    this.#random = random;
    this.#changesAt = begin + random.exponential(part.goodMs);
    this.#outageFrom = this.#nextOutage(begin);
  }

  isOut(at: number): boolean {
    while (at > this.#outageFrom) {
      this.#outageTo = this.#outageFrom + Math.min(36 * hourMs, this.#random.logNormal(this.part.outageMs, 0.8));
      this.#outageFrom = this.#nextOutage(this.#outageTo);
    }
    return at < this.#outageTo;
  }

  /** @param latestMs how late a report may come at most */
  fate(at: number, latestMs: number): Fate {
    const isOut = this.isOut(at);
    const isLost = this.#random.chance(this.#loss(at)) || isOut;
    const usual = this.#random.logNormal(this.part.latencyMs, 0.6);
    const late = this.#random.chance(this.part.late) ? this.#random.exponential(6_000) : 0;
    const latencyMs = Math.round(Math.min(latestMs, usual + late));
    const doubled = this.#random.chance(this.part.doubled) ? Math.round(this.#random.uniform(20, 4_000)) : null;
    if (!isLost) return { kind: "answered", latencyMs, doubledAfterMs: doubled };
    const arrives = !isOut && this.#random.chance(this.part.answersLost);
    return { kind: arrives ? "answerLost" : "lost", latencyMs, doubledAfterMs: arrives ? doubled : null };
  }

  #loss(at: number): number {
    while (at > this.#changesAt) {
      this.#isBad = !this.#isBad;
      this.#changesAt += this.#random.exponential(this.#isBad ? this.part.badMs : this.part.goodMs);
    }
    return this.#isBad ? this.part.lossBad : this.part.lossGood;
  }

  #nextOutage(from: number): number {
    const { outagesPerDay } = this.part;
    return outagesPerDay === 0 ? Number.POSITIVE_INFINITY : from + this.#random.exponential(dayMs / outagesPerDay);
  }
}
