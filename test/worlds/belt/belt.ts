import type { Chance } from "./chance.ts";
import type { Planted } from "./planted.ts";
import type { Silo } from "./silo.ts";
import type { Sky } from "./weather.ts";

/** So much food. */
export interface Heap {
  readonly grams: number;
  readonly pieces: number;
}
export const noFood: Heap = { grams: 0, pieces: 0 };

/** How a run ends: after so many steps, or as soon as enough has been counted. */
export interface BeltOrder {
  readonly steps: number;
  readonly isEnough: (pieces: number) => boolean; // asked after each step, with what fell in it
}

/**
 * A belt under the hopper's gate. Food lies on it as high as the gate lets it, and falls over the edge at its end: what falls now came
 * through the gate some portions ago. Some of the last piece's neighbours hang at the edge until the next step or a gust.
 */
export class Belt {
  readonly portionGrams: number; // as built, on average
  readonly portionSteps: number;
  readonly #chance: Chance;
  readonly #silo: Silo;
  readonly #planted: Planted;
  readonly #unevenness: number;
  readonly #evenAfter: number; // 0 to 1: how much of one cell's error the next one shares
  readonly #hangs: number;
  readonly #slipsWet: number;
  readonly #slipsCold: number;
  readonly #headPart: number; // how much a full hopper presses more onto the belt
  #cells: Heap[];
  #edge: Heap = noFood;
  #error = 0;

  constructor(chance: Chance, silo: Silo, planted: Planted) {
    this.#chance = chance;
    this.#silo = silo;
    this.#planted = planted;
    // Common practice, no source: a mouthful or some for a crow, and several pieces, or too many portions would be empty by chance.
    this.portionGrams = Math.max(chance.between(2.5, 5) * silo.food.piece, chance.factorBetween(0.8, 9));
    this.portionSteps = chance.whole(2, 5);
    this.#cells = Array.from({ length: chance.whole(2, 24) }, () => noFood);
    this.#unevenness = chance.between(0.06, 0.3);
    this.#evenAfter = chance.between(0, 0.7);
    this.#hangs = chance.between(0, 0.35);
    this.#slipsWet = chance.happens(0.5) ? 0 : chance.between(0, 0.12);
    this.#slipsCold = chance.happens(0.5) ? 0 : chance.between(0, 0.1);
    this.#headPart = chance.between(0, 0.18);
  }

  /** On the belt and at its edge. */
  get load(): Heap {
    return this.#cells.reduce(plus, this.#edge);
  }

  get isBare(): boolean {
    return this.load.pieces === 0;
  }

  /** After the first fill a keeper lets it run until food comes: what lies on it is there before the story. */
  prime(sky: Sky): void {
    this.#cells = this.#cells.map(() => this.#fill(sky));
  }

  /** @returns what fell */
  run({ steps, isEnough }: BeltOrder, sky: Sky): Heap {
    this.#silo.shake();
    // A belt that slips makes a part of a portion's way, however long the motor goes on.
    const slack = Math.min(1, this.portionSteps / steps);
    let fallen = noFood;
    for (let step = 0; step < steps; step += 1) {
      const falls = this.#step(sky, slack);
      fallen = plus(fallen, falls);
      if (isEnough(falls.pieces)) break;
    }
    return fallen;
  }

  /** What hangs at the edge falls by itself. */
  fallLate(): Heap {
    if (this.#edge.pieces === 0) return noFood;
    const { falls, stays } = this.#part(this.#edge, 0.5);
    this.#edge = stays;
    return falls;
  }

  #step(sky: Sky, slack: number): Heap {
    if (this.#planted.stopsAll || !this.#chance.happens(this.#grip(sky, slack))) return noFood;
    const front = this.#cells.shift() ?? noFood;
    this.#cells.push(this.#fill(sky));
    const { falls, stays } = this.#part(plus(this.#edge, front), 1 - this.#hangs * this.#chance.share());
    this.#edge = stays;
    return falls;
  }

  #grip(sky: Sky, slack: number): number {
    const wet = this.#slipsWet * sky.damp;
    const cold = this.#slipsCold * Math.min(1, Math.max(0, -sky.air / 15));
    const grip = Math.max(0.75, 1 - wet - cold);
    return this.#planted.is("trayPartlyJammed") ? grip * slack * this.#planted.shows.gripLeft : grip;
  }

  #fill(sky: Sky): Heap {
    const silo = this.#silo;
    const chance = this.#chance;
    const { piece, unlike } = silo.food;
    const own = Math.sqrt(1 - this.#evenAfter ** 2) * chance.gauss();
    this.#error = this.#evenAfter * this.#error + own;
    const level = 1 + this.#headPart * (silo.content / silo.capacity - 0.5);
    const wanted = (this.portionGrams / this.portionSteps) * level * Math.exp(this.#unevenness * this.#error);
    const there = silo.draw(wanted, sky);
    if (there <= 0) return noFood;
    const pieces = chance.rounded(there / piece);
    if (pieces === 0) {
      silo.giveBack(there);
      return silo.givable < piece ? this.#takeLast(sky) : noFood;
    }
    const unlikeMean = Math.min(0.7, unlike / Math.sqrt(pieces));
    const grams = pieces * piece * Math.max(0.3, 1 + unlikeMean * chance.gauss());
    const missing = grams - there;
    const more = missing > 0 ? silo.draw(missing, sky) : 0;
    if (missing < 0) silo.giveBack(-missing);
    return { grams: missing > 0 ? there + more : grams, pieces };
  }

  /** Less than a whole piece is left: it comes as a crumb. */
  #takeLast(sky: Sky): Heap {
    const grams = this.#silo.draw(this.#silo.givable, sky);
    return grams > 0 ? { grams, pieces: 1 } : noFood;
  }

  #part(heap: Heap, share: number): { readonly falls: Heap; readonly stays: Heap } {
    const pieces = this.#chance.ofMany(heap.pieces, share);
    if (pieces === heap.pieces) return { falls: heap, stays: noFood };
    const grams = (heap.grams * pieces) / heap.pieces;
    return { falls: { grams, pieces }, stays: { grams: heap.grams - grams, pieces: heap.pieces - pieces } };
  }
}

const plus = (one: Heap, other: Heap): Heap => ({ grams: one.grams + other.grams, pieces: one.pieces + other.pieces });
