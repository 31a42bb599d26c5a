import { second } from "./agenda.ts";
import { type Heap, noFood } from "./belt.ts";
import type { Chance } from "./chance.ts";
import type { Turning } from "./drive.ts";
import type { Parts } from "./parts.ts";
import type { Rules } from "./rules.ts";

/** One portion as it was: what fell, what the motor did for it, and what the counter made of it. */
export interface Dispensed {
  readonly heap: Heap;
  readonly turning: Turning;
  readonly counted: number;
  readonly ms: number; // until the motor stood, with the retries that belong to the same portion
}

/** Runs the belt for a portion. */
export class Dispensing {
  readonly #parts: Parts;
  readonly #rules: Rules;
  readonly #chance: Chance;
  readonly #enough: number; // pieces

  constructor(parts: Parts, rules: Rules) {
    this.#parts = parts;
    this.#rules = rules;
    this.#chance = parts.chance("dispensing");
    const pieces = parts.belt.portionGrams / parts.silo.food.piece;
    this.#enough = Math.max(1, Math.round(0.7 * pieces));
  }

  /** A portion; where the program does so, its retries belong to it. */
  portion(now: number): Dispensed {
    const { retries, retriesApart } = this.#rules;
    let made = this.#once(now);
    for (let left = retriesApart ? 0 : retries; left > 0 && made.counted === 0; left -= 1) {
      if (made.turning.isProtected) break;
      const more = this.#once(now);
      made = joined(made, more);
    }
    return made;
  }

  /** A step or two to see whether the belt turns. */
  jog(): Heap {
    const { belt, weather, agenda, hands } = this.#parts;
    if (hands.isHopperOff) return noFood;
    return belt.run({ steps: 1, isEnough: () => false }, weather.at(agenda.now));
  }

  #once(now: number): Dispensed {
    const { belt, drive, weather, supply, silo, counter, hands } = this.#parts;
    const sky = weather.at(now);
    const ordered = belt.portionSteps * (this.#rules.countsUntilEnough ? 3 : 1);
    let [pieces, steps] = [0, 0];
    let counted = 0;
    const stepMs = 400; // roughly: pieces of one step fall over so long
    const isEnough = (fallen: number): boolean => {
      steps += 1;
      pieces += fallen;
      if (!this.#rules.countsUntilEnough) return false;
      counted += counter.count({ pieces: fallen, ms: stepMs }, now);
      return counted >= this.#enough;
    };
    const most = drive.stepsFor(ordered, sky, supply.ratio);
    const heap = hands.isHopperOff ? noFood : belt.run({ steps: most, isEnough }, sky);
    const made = hands.isHopperOff ? most : steps;
    const load = Math.min(
      1.3,
      (belt.load.grams + heap.grams) / (belt.portionGrams * 1.5) + 0.2 * Math.min(1, silo.givable),
    );
    const turning = drive.turn(this.#rules.countsUntilEnough ? made : ordered, made, load, sky, now);
    if (!this.#rules.countsUntilEnough) counted = counter.count({ pieces, ms: turning.ms }, now);
    return { heap, turning, counted, ms: turning.ms + this.#chance.between(20, 250) };
  }
}

function joined(one: Dispensed, other: Dispensed): Dispensed {
  const ms = one.turning.ms + other.turning.ms;
  const part = one.turning.ms / Math.max(1, ms);
  const mean = part * one.turning.meanMilliamps + (1 - part) * other.turning.meanMilliamps;
  return {
    heap: { grams: one.heap.grams + other.heap.grams, pieces: one.heap.pieces + other.heap.pieces },
    turning: {
      ...other.turning,
      ms,
      meanMilliamps: Math.round(mean),
      peakMilliamps: Math.max(one.turning.peakMilliamps, other.turning.peakMilliamps),
    },
    counted: one.counted + other.counted,
    ms: one.ms + other.ms + 0.5 * second,
  };
}
