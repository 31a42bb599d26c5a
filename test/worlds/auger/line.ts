import type { Random } from "./random.ts";
import { day, hour, minute, second } from "./time.ts";

/**
 * The radio line and the household's connection behind it. Losses come in bad times and good times (Gilbert, Bell System Technical
 * Journal 39, 1960; Elliott, the same 42, 1963); and now and then nothing goes for minutes to days.
 */
export class Line {
  readonly #traits: LineTraits;
  readonly #random: Random;
  #isBad = false;
  #changesAt: number;
  #outage: { from: number; until: number };

  constructor(random: Random, begin: number) {
    this.#random = random;
    this.#traits = drawTraits(random);
    this.#changesAt = begin + random.exponential(this.#traits.goodSpan);
    this.#outage = this.#nextOutage(begin);
  }

  /** Whether a report sent now arrives, when, and whether the feeder gets the answer. */
  carry(at: number): Carried {
    while (at >= this.#changesAt) {
      this.#isBad = !this.#isBad;
      this.#changesAt += this.#random.exponential(this.#isBad ? this.#traits.badSpan : this.#traits.goodSpan);
    }
    while (at >= this.#outage.until) this.#outage = this.#nextOutage(this.#outage.until);
    const loss = this.#isBad ? this.#traits.badLoss : this.#traits.goodLoss;
    const isLost = this.#random.chance(loss) || at >= this.#outage.from;
    const isAnswered = !this.#random.chance(loss);
    const delay = Math.min(4 * second, 90 * Math.exp(0.8 * this.#random.normal()) * (this.#isBad ? 4 : 1));
    return { arrives: !isLost, isAnswered, at: Math.round(at + 15 + delay) };
  }

  signalDbm(): number {
    return Math.round(this.#traits.signalDbm + 2.5 * this.#random.normal() - (this.#isBad ? 6 : 0));
  }

  #nextOutage(after: number): { from: number; until: number } {
    const from = after + this.#random.exponential(this.#traits.outageEvery);
    // Median 20 minutes, one in twenty beyond 6 hours, a few of days: common practice, no source.
    const span = Math.min(5 * day, 20 * minute * Math.exp(1.8 * this.#random.normal()));
    return { from, until: from + Math.max(2 * minute, span) };
  }
}

export interface Carried {
  readonly arrives: boolean;
  readonly isAnswered: boolean;
  readonly at: number;
}

interface LineTraits {
  readonly goodSpan: number;
  readonly badSpan: number;
  readonly goodLoss: number;
  readonly badLoss: number;
  readonly outageEvery: number;
  readonly signalDbm: number;
}

/** Common practice, no source: wireless networks in gardens differ that much. */
const drawTraits = (random: Random): LineTraits => ({
  goodSpan: random.logBetween(2, 72) * hour,
  badSpan: random.logBetween(3, 90) * minute,
  goodLoss: random.logBetween(0.0003, 0.02),
  badLoss: random.between(0.15, 0.75),
  outageEvery: random.logBetween(5, 120) * day,
  signalDbm: random.between(-86, -52),
});
