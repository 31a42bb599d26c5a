import type { Chance } from "./chance.ts";
import type { Food } from "./food.ts";
import type { Planted } from "./planted.ts";
import type { Sky } from "./weather.ts";

/** The hopper above the gate: what lies in it, what never comes out, and whether the food holds itself up. */
export class Silo {
  readonly capacity: number;
  readonly food: Food;
  readonly rest: number; // grams in corners, which nothing gets out
  readonly #chance: Chance;
  readonly #planted: Planted;
  readonly #lastLayer: number; // grams, from where on it comes thinly
  readonly #archRate: number;
  readonly #breaks: number; // chance that the shaking of a run breaks an arch
  readonly #dampArches: number;
  #content = 0;
  #isArched = false;
  #throat: number | null = null; // grams below the planted bridge

  constructor(chance: Chance, food: Food, capacity: number, planted: Planted) {
    this.#chance = chance;
    this.#planted = planted;
    this.food = food;
    this.capacity = capacity;
    this.rest = capacity * chance.factorBetween(0.002, 0.04); // a funnel too flat; common practice, no source
    this.#lastLayer = capacity * chance.factorBetween(0.004, 0.05);
    this.#archRate = food.arches * chance.factorBetween(0.0002, 0.004); // per cell of the belt
    this.#breaks = chance.between(0.25, 0.8);
    this.#dampArches = chance.between(0, 3);
  }

  get content(): number {
    return this.#content;
  }
  /** Also what lies above a bridge. */
  get givable(): number {
    return Math.max(0, this.#content - this.rest);
  }
  get isBridged(): boolean {
    return this.#planted.is("foodBridged");
  }

  pour(grams: number): number {
    const poured = Math.max(0, Math.min(grams, this.capacity - this.#content));
    this.#content += poured;
    return poured;
  }

  /** A bridge that no shaking breaks. */
  bridge(throatGrams: number): void {
    this.#throat = Math.min(this.givable, throatGrams);
  }

  /** The motor starts: its shaking may break an arch. */
  shake(): void {
    if (this.#isArched && this.#chance.happens(this.#breaks)) this.#isArched = false;
  }

  /** What comes through the gate into one cell of the belt. @returns grams */
  draw(wanted: number, sky: Sky): number {
    const chance = this.#chance;
    const damp = 1 + this.#dampArches * sky.damp * sky.damp;
    if (!this.#isArched && chance.happens(this.#archRate * damp)) this.#isArched = true;
    if (this.#isArched) return 0;
    const reach = Math.min(1, this.givable / this.#lastLayer);
    const comes = reach < 1 && !chance.happens(0.15 + 0.85 * reach) ? 0 : wanted * Math.max(0.3, reach) ** 0.5;
    const taken = Math.min(comes, this.#throat ?? this.givable, this.givable);
    this.#content -= taken;
    if (this.#throat !== null) this.#throat -= taken;
    return taken;
  }

  /** What didn't fit on the belt after all. */
  giveBack(grams: number): void {
    this.#content += grams;
    if (this.#throat !== null) this.#throat += grams;
  }
}
