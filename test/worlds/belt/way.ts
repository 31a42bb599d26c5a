import { day, hour, minute, second } from "./agenda.ts";
import type { Chance } from "./chance.ts";

/** What becomes of one report. */
export interface Passage {
  readonly arrivals: readonly number[]; // none: lost; two: sent again though it had arrived
  readonly isAnswered: boolean;
}

/** A state that comes and goes by chance. */
class Spells {
  #isOn = false;
  #changesAt: number;
  readonly #between: () => number;
  readonly #lasting: () => number;

  constructor(begin: number, between: () => number, lasting: () => number) {
    this.#between = between;
    this.#lasting = lasting;
    this.#changesAt = begin + between();
  }

  /** Asked in time order. */
  isOnAt(now: number): boolean {
    while (now >= this.#changesAt) {
      this.#isOn = !this.#isOn;
      this.#changesAt += this.#isOn ? this.#lasting() : this.#between();
    }
    return this.#isOn;
  }
}

/**
 * The house's wireless network at the end of the garden: two states of loss (Gilbert 1960), outages, a router that starts anew each
 * night in some houses, and a program that sends again when no answer came. How often: common practice, no source.
 */
export class Way {
  readonly #chance: Chance;
  readonly #lossGood: number;
  readonly #lossPoor: number;
  readonly #answerLoss: number;
  readonly #resends: boolean;
  readonly #delay: number;
  readonly #routerAt: number | null; // of the UTC day
  readonly #poor: Spells;
  readonly #outage: Spells;

  constructor(chance: Chance, begin: number) {
    this.#chance = chance;
    this.#lossGood = chance.factorBetween(0.000_3, 0.03);
    this.#lossPoor = chance.between(0.15, 0.8);
    this.#answerLoss = chance.factorBetween(0.000_5, 0.015);
    this.#resends = chance.happens(0.5);
    this.#delay = chance.factorBetween(30, 2_500);
    this.#routerAt = chance.happens(0.3) ? chance.between(0, 5) * hour : null;
    const [poorEvery, poorLasts] = [chance.factorBetween(2, 80) * hour, chance.factorBetween(1, 50) * minute];
    this.#poor = new Spells(
      begin,
      () => chance.wait(poorEvery),
      () => chance.wait(poorLasts),
    );
    const outageEvery = chance.factorBetween(6, 90) * day;
    this.#outage = new Spells(
      begin,
      () => chance.wait(outageEvery),
      () => Math.min(2.5 * day, 1.5 * hour * chance.spread(1.1)),
    );
  }

  send(now: number): Passage {
    const isPoor = this.#poor.isOnAt(now);
    const sinceRouter = this.#routerAt === null ? day : (((now - this.#routerAt) % day) + day) % day;
    if (this.#outage.isOnAt(now) || sinceRouter < 2 * minute) return { arrivals: [], isAnswered: false };
    const loss = isPoor ? this.#lossPoor : this.#lossGood;
    const arrivals: number[] = [];
    let [isAnswered, sentAt] = [false, now];
    for (let attempt = 0; attempt < (this.#resends ? 2 : 1) && !isAnswered; attempt += 1) {
      if (!this.#chance.happens(loss)) {
        arrivals.push(sentAt + Math.min(8 * second, this.#delay * this.#chance.spread(0.5)));
        isAnswered = !this.#chance.happens(isPoor ? 0.4 * loss : this.#answerLoss);
      }
      sentAt += this.#chance.between(8.5, 14) * second;
    }
    return { arrivals, isAnswered };
  }
}
