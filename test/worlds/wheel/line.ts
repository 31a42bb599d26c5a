import type { Random } from "./random.ts";
import { day, hour, minute, second } from "./time.ts";

/**
 * Mobile data at the edge of its reach. Losses come in bursts (Gilbert-Elliott model with two states: Haßlinger and Hohlfeld, "The
 * Gilbert-Elliott model for packet loss in real time services on the internet", MMB 2008); outages last hours to days; at times the
 * network holds reports up and then delivers them together. How often: common practice, no source.
 */
export interface Passage {
  readonly arrivesAt: number | null; // null: lost
  readonly isAnswered: boolean; // whether the answer reaches the feeder
}

export class Line {
  private readonly random: Random;
  private readonly lossInGood: number;
  private readonly lossInBad: number;
  private readonly answerLoss: number;
  private readonly delay: number;
  private readonly badState: Interval;
  private readonly outage: Interval;
  private readonly stall: Interval;

  constructor(random: Random, begin: number) {
    this.random = random;
    this.lossInGood = random.logBetween(0.000_5, 0.02);
    this.lossInBad = random.between(0.3, 0.9);
    this.answerLoss = random.logBetween(0.001, 0.02);
    this.delay = random.logBetween(0.1 * second, 1.5 * second);
    const goodSpan = random.logBetween(1 * hour, 2 * day);
    const badSpan = random.logBetween(2 * minute, 20 * minute);
    this.badState = new Interval(
      begin,
      () => random.exponential(goodSpan),
      () => random.exponential(badSpan),
    );
    const outageEvery = random.logBetween(5 * day, 60 * day);
    this.outage = new Interval(
      begin,
      () => random.exponential(outageEvery),
      () => Math.min(3 * day, 4 * hour * random.factor(1)),
    );
    const stallEvery = random.logBetween(0.3 * day, 15 * day);
    this.stall = new Interval(
      begin,
      () => random.exponential(stallEvery),
      () => random.between(1, 15) * minute,
    );
  }

  send(now: number): Passage {
    const { random } = this;
    const isBad = this.badState.holdsAt(now);
    if (this.outage.holdsAt(now) || random.chance(isBad ? this.lossInBad : this.lossInGood)) return lost;
    const delay = this.delay * random.factor(0.5);
    if (this.stall.holdsAt(now)) {
      if (random.chance(0.2)) return lost; // the modem's buffer is small
      return { arrivesAt: this.stall.endsAt + random.between(0, 4 * second), isAnswered: false };
    }
    const answerLoss = isBad ? 0.5 * this.lossInBad : this.answerLoss;
    return { arrivesAt: now + Math.min(10 * second, delay), isAnswered: !random.chance(answerLoss) };
  }
}

const lost: Passage = { arrivesAt: null, isAnswered: false };

/** Something that comes and goes. */
class Interval {
  endsAt: number;
  private beginsAt: number;
  private readonly pause: () => number;
  private readonly length: () => number;

  constructor(begin: number, pause: () => number, length: () => number) {
    this.pause = pause;
    this.length = length;
    this.beginsAt = begin + pause();
    this.endsAt = this.beginsAt + length();
  }

  /** Asked in time order. */
  holdsAt(moment: number): boolean {
    while (moment >= this.endsAt) {
      this.beginsAt = this.endsAt + this.pause();
      this.endsAt = this.beginsAt + this.length();
    }
    return moment >= this.beginsAt;
  }
}
