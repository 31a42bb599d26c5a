import type { Stream } from "./stream.ts";

/** One kind of grain in the mix. */
export interface Grain {
  readonly food:
    | "peanutHalves"
    | "peanutWhole"
    | "catKibble"
    | "dogKibble"
    | "sunflowerHearts"
    | "driedMealworms"
    | "maize"
    | "other";
  readonly grams: number; // of one piece
  readonly size: number; // mm
  readonly unlike: number; // how much pieces differ: standard deviation over mean
}

/** Weights and sizes of pieces: from memory. */
const grains: readonly Grain[] = [
  { food: "peanutHalves", grams: 0.38, size: 9, unlike: 0.3 },
  { food: "peanutWhole", grams: 0.75, size: 12, unlike: 0.25 },
  { food: "catKibble", grams: 0.3, size: 9, unlike: 0.15 },
  { food: "dogKibble", grams: 0.9, size: 13, unlike: 0.2 },
  { food: "sunflowerHearts", grams: 0.045, size: 6, unlike: 0.25 },
  { food: "driedMealworms", grams: 0.035, size: 14, unlike: 0.4 },
  { food: "maize", grams: 0.32, size: 9, unlike: 0.15 },
  { food: "other", grams: 0.12, size: 7, unlike: 0.5 }, // chopped nuts
  { food: "other", grams: 0.04, size: 5, unlike: 0.15 }, // wheat
];

export interface Mix {
  readonly grains: readonly Grain[];
  readonly shares: readonly number[]; // by mass, as it is poured in
  readonly sifts: number; // how strongly small grains come down first
}

export function drawMix(stream: Stream): Mix {
  const count = stream.pick([1, 1, 2, 2, 3, 4]);
  const chosen: Grain[] = [];
  while (chosen.length < count) {
    const grain = stream.pick(grains);
    if (!chosen.includes(grain)) chosen.push(grain);
  }
  const weights = chosen.map(() => stream.logUniform(0.15, 1));
  const sum = weights.reduce((total, weight) => total + weight, 0);
  return { grains: chosen, shares: weights.map((weight) => weight / sum), sifts: stream.uniform(0, 1.2) };
}

export const meanPiece = ({ grains, shares }: Mix): number =>
  grains.reduce((sum, grain, index) => sum + grain.grams * (shares[index] ?? 0), 0);

/** What came out of the hopper in one run. */
export interface Taken {
  readonly grams: number;
  readonly pieces: number;
  readonly counts: readonly number[]; // by grain of the mix
}

const nothing: Taken = { grams: 0, pieces: 0, counts: [] };

/**
 * The food, by kind of grain. Books are kept: what was poured in is what was given, thrown away or is still there.
 * Small grains run down between large ones, so that the mix at the outlet isn't the mix in the hopper (sifting segregation;
 * Rosato and others 1987).
 */
export class Hopper {
  readonly #stream: Stream;
  readonly mix: Mix;
  readonly capacity: number; // grams
  readonly #rest: number; // lies in corners: nothing but a hand gets it out
  readonly #masses: number[];
  readonly #tail: number; // below so many grams it trickles
  #settled = 0; // the end of a filling that came to lie where nothing moves it, until the next is poured on it
  #belowBridge: number | null = null; // grams that can still come while a bridge holds the rest up
  poured = 0;
  given = 0;
  thrown = 0;

  constructor(stream: Stream, mix: Mix, capacity: number, tail: number) {
    this.#stream = stream;
    this.mix = mix;
    this.capacity = capacity;
    this.#rest = capacity * stream.logUniform(0.002, 0.04);
    this.#masses = mix.grains.map(() => 0);
    this.#tail = tail;
  }

  get grams(): number {
    return this.#masses.reduce((sum, mass) => sum + mass, 0);
  }

  /** Also what lies above a bridge, which may fall. */
  get givable(): number {
    return Math.max(0, this.grams - this.#rest - this.#settled);
  }

  /** How full it is over the outlet: 0..1. */
  get fullness(): number {
    return this.grams / this.capacity;
  }

  /** How freely the food comes: 1 until the end, then less and less. */
  get freedom(): number {
    return Math.max(0.03, Math.min(1, this.#reachable / this.#tail));
  }

  get #reachable(): number {
    return this.#belowBridge === null ? this.givable : Math.min(this.#belowBridge, this.givable);
  }

  pour(grams: number): void {
    this.#masses.forEach((mass, index) => {
      this.#masses[index] = mass + grams * (this.mix.shares[index] ?? 0);
    });
    this.poured += grams;
    this.#settled = 0;
  }

  /** The keeper turns the hopper over. */
  throwAway(): void {
    this.thrown += this.grams;
    this.#masses.fill(0);
    this.#settled = 0;
  }

  /** @param below grams under the bridge, which still come. */
  bridge(below: number): void {
    this.#belowBridge = below;
  }

  get isBridged(): boolean {
    return this.#belowBridge !== null;
  }

  /** @param target grams that the mechanism would take from a hopper with plenty. */
  take(target: number): Taken {
    const reachable = this.#reachable;
    if (target <= 0 || reachable <= 0) return nothing;
    const weights = this.#outletWeights();
    const sum = weights.reduce((total, weight) => total + weight, 0);
    const counts: number[] = [];
    let [left, pieces] = [reachable, 0];
    weights.forEach((weight, index) => {
      const grain = this.mix.grains[index] as Grain;
      const wished = Math.floor((target * weight) / sum / grain.grams + this.#stream.unit());
      const mass = this.#masses[index] ?? 0;
      const count = Math.min(wished, Math.floor(Math.min(left, mass) / grain.grams));
      const each = 1 + (grain.unlike * this.#stream.normal()) / Math.sqrt(Math.max(1, count));
      const grams = Math.min(left, mass, count * grain.grams * Math.max(0.3, each));
      this.#masses[index] = mass - grams;
      left -= grams;
      pieces += count;
      counts.push(count);
    });
    const grams = reachable - left;
    this.given += grams;
    if (this.#belowBridge !== null) this.#belowBridge = Math.max(0, this.#belowBridge - grams);
    this.#settle(grams);
    return { grams, pieces, counts };
  }

  #outletWeights(): readonly number[] {
    const { grains: kinds, sifts } = this.mix;
    const mean = kinds.reduce((sum, grain) => sum + grain.size, 0) / kinds.length;
    const full = this.fullness - 0.5;
    return this.#masses.map(
      (mass, index) => mass * Math.exp((sifts * full * (mean - (kinds[index] as Grain).size)) / mean),
    );
  }

  /** A run that brings nothing near the end has often left the last pieces where none gets at them. */
  #settle(taken: number): void {
    const { givable } = this;
    const lightest = Math.min(...this.mix.grains.map(({ grams }) => grams));
    const isOver =
      givable < lightest || (taken === 0 && this.freedom < 0.5 && !this.isBridged && this.#stream.chance(0.1));
    if (isOver) this.#settled += givable;
  }
}
