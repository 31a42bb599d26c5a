import type { Agenda } from "./agenda.ts";
import type { Random } from "./random.ts";
import type { Daylight } from "./sun.ts";
import { hour, second } from "./time.ts";

/** Why a portion is given, and the event that it pays. */
export interface Order {
  readonly cause: "timer" | "press" | "deposit";
  readonly paysFor: number | null;
}

/**
 * The rules by which the feeder gives portions: one for a press, unless one was given just now; one for each accepted cap; and some
 * by the clock. Never two within three seconds.
 */
export class FeedingProgram {
  readonly timersPerDay: number;
  readonly #pressInterval: number;
  readonly #timerShares: readonly number[]; // of the day's light
  readonly #agenda: Agenda;
  readonly #run: (at: number, order: Order) => Outcome;
  #owed: Order[] = [];
  #freeAt = 0;
  #lastRunAt = 0;

  constructor(random: Random, agenda: Agenda, paid: boolean, run: (at: number, order: Order) => Outcome) {
    this.#agenda = agenda;
    this.#run = run;
    const some = random.chance(0.5) ? random.whole(1, 8) : 0;
    const many = random.whole(4, 24);
    this.timersPerDay = paid ? some : many;
    this.#pressInterval = random.chance(0.5) ? intervalMin : random.logBetween(3, 15) * second;
    this.#timerShares = Array.from(
      { length: this.timersPerDay },
      (_, index) => (index + random.between(0.2, 0.8)) / this.timersPerDay,
    );
  }

  planDay({ sunrise, sunset }: Daylight): void {
    const [from, to] = [sunrise + hour / 2, sunset - hour / 2];
    for (const share of this.#timerShares) {
      this.#agenda.add(Math.round(from + share * (to - from)), (at) =>
        this.#order(at, { cause: "timer", paysFor: null }),
      );
    }
  }

  /** @returns null where this press gets nothing */
  press(at: number, seq: number): Outcome | null {
    if (at < this.#freeAt || this.#owed.length > 0 || at < this.#lastRunAt + this.#pressInterval) return null;
    return this.#give(at, { cause: "press", paysFor: seq });
  }

  deposit(at: number, seq: number): void {
    this.#order(at, { cause: "deposit", paysFor: seq });
  }

  /** What was owed at a power cut isn't given later. */
  restart(at: number): void {
    this.#owed = [];
    this.#freeAt = at;
  }

  #order(at: number, order: Order): void {
    this.#owed.push(order);
    if (this.#owed.length === 1) this.#giveOwed(at);
  }

  #giveOwed(at: number): void {
    if (at < this.#freeAt) {
      this.#agenda.add(this.#freeAt, (later) => this.#giveOwed(later));
      return;
    }
    const [order, ...others] = this.#owed;
    if (order === undefined) return;
    this.#owed = others;
    this.#give(at, order);
    if (others.length > 0) this.#agenda.add(this.#freeAt, (later) => this.#giveOwed(later));
  }

  #give(at: number, order: Order): Outcome {
    const outcome = this.#run(at, order);
    this.#lastRunAt = at;
    this.#freeAt = Math.max(at + intervalMin, at + outcome.milliseconds + 200);
    return outcome;
  }
}

export interface Outcome {
  readonly milliseconds: number;
  readonly pieces: number;
}

const intervalMin = 3 * second;
