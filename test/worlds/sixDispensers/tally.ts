import { type Instant, instant } from "../../../server/domain/instant.ts";
import type { WorldTruth } from "../world.ts";
import { day } from "./agenda.ts";
import type { Flock } from "./flock.ts";
import type { Hopper, Taken } from "./hopper.ts";
import type { Malfunction } from "./malfunction.ts";
import type { Sun } from "./place.ts";

interface Counted {
  readonly at: number;
  readonly grams: number;
}

/** What truly happened, counted where it happened. */
export class Tally {
  readonly #hopper: Hopper;
  readonly #malfunction: Malfunction;
  readonly #flock: Flock;
  readonly #sun: Sun;
  hopperIsOff = false;
  #portions = 0;
  #pieces = 0;
  #unfed = 0;
  #emptySince: number | null = null;
  #lastDay: Counted[] = [];
  #lastDayGrams = 0;
  #portionGrams: number;

  constructor(parts: { hopper: Hopper; malfunction: Malfunction; flock: Flock; sun: Sun; portion: number }) {
    this.#hopper = parts.hopper;
    this.#malfunction = parts.malfunction;
    this.#flock = parts.flock;
    this.#sun = parts.sun;
    this.#portionGrams = parts.portion;
  }

  /** @param couldGive whether there was food in reach and the motor could turn */
  ran(at: number, taken: Taken, couldGive: boolean): void {
    this.#portions += 1;
    this.#pieces += taken.pieces;
    if (this.#malfunction.since !== null && taken.pieces === 0) this.#unfed += 1;
    if (taken.pieces === 0 && this.#hopper.givable <= 0 && !this.hopperIsOff) this.#emptySince ??= at;
    if (!couldGive) return;
    this.#lastDay.push({ at, grams: taken.grams });
    this.#lastDayGrams += taken.grams;
  }

  refilled(): void {
    this.#emptySince = null;
  }

  truth(now: number): WorldTruth {
    return {
      at: instant(now),
      grams: this.#hopper.givable,
      gramsOnScale: this.hopperIsOff ? 0 : this.#hopper.grams,
      portions: this.#portions,
      pieces: this.#pieces,
      portionGrams: this.#meanPortion(now),
      emptySince: instantOrNull(this.#emptySince),
      faultSince: instantOrNull(this.#malfunction.since),
      unfed: this.#unfed,
      bouts: this.#flock.bouts,
      daylight: this.#sun.isDaylight(now),
    };
  }

  /** Of the runs that could give food; where the last day had none, what it was before. */
  #meanPortion(now: number): number {
    while (this.#lastDay.length > 0 && (this.#lastDay[0] as Counted).at < now - day) {
      this.#lastDayGrams -= (this.#lastDay.shift() as Counted).grams;
    }
    if (this.#lastDay.length > 0 && this.#lastDayGrams > 0.01)
      this.#portionGrams = this.#lastDayGrams / this.#lastDay.length;
    return this.#portionGrams;
  }
}

const instantOrNull = (at: number | null): Instant | null => (at === null ? null : instant(at));
