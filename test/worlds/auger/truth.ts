import { instant } from "../../../server/domain/instant.ts";
import type { WorldTruth } from "../world.ts";
import type { Dispenser, Fall } from "./dispenser.ts";
import type { PlantedFault } from "./planted.ts";
import { type Daylight, daylightOf } from "./sun.ts";
import { day } from "./time.ts";

/**
 * What truly happened so far. Food above a bridge that stays, or behind a jam, still counts as food that can be given: a knock would
 * bring it down. Only the corners where no food ever comes out by itself don't.
 */
export class TruthBook {
  readonly #dispenser: Dispenser;
  readonly #fault: PlantedFault;
  #portions = 0;
  #pieces = 0;
  #bouts = 0;
  #unfed = 0;
  #emptySince: number | null = null;
  #given = 0;
  #filled = 0;
  #recent: Run[] = []; // of the last day
  #recentFrom = 0;
  #recentGrams = 0;
  #lastMean: number;
  #light: Daylight & { readonly end: number } = { sunrise: 0, sunset: 0, end: 0 };

  constructor(dispenser: Dispenser, fault: PlantedFault) {
    this.#dispenser = dispenser;
    this.#fault = fault;
    this.#lastMean = dispenser.expectedGrams;
  }

  get givenGrams(): number {
    return this.#given;
  }
  get filledGrams(): number {
    return this.#filled;
  }
  get pieces(): number {
    return this.#pieces;
  }

  addComing(): void {
    this.#bouts += 1;
  }

  addRun(at: number, { pieces, grams, wantsFood }: Fall): void {
    this.#portions += 1;
    this.#pieces += pieces;
    this.#given += grams;
    this.#recent.push({ at, grams });
    this.#recentGrams += grams;
    if (pieces === 0 && at >= this.#fault.since) this.#unfed += 1;
    if (wantsFood) this.#emptySince ??= at;
  }

  addFood(grams: number): void {
    this.#filled += grams;
    this.#emptySince = null;
  }

  at(time: number): WorldTruth {
    const { since } = this.#fault;
    return {
      at: instant(time),
      grams: this.#dispenser.available,
      gramsOnScale: this.#dispenser.content,
      portions: this.#portions,
      pieces: this.#pieces,
      portionGrams: this.#portionGrams(time),
      emptySince: this.#emptySince === null ? null : instant(this.#emptySince),
      faultSince: time >= since ? instant(since) : null,
      unfed: this.#unfed,
      bouts: this.#bouts,
      daylight: this.#isLight(time),
    };
  }

  /** The mean of the last day's runs; without any, as it was before. */
  #portionGrams(time: number): number {
    const recent = this.#recent;
    for (let run = recent[this.#recentFrom]; run !== undefined && run.at < time - day; run = recent[this.#recentFrom]) {
      this.#recentGrams -= run.grams;
      this.#recentFrom += 1;
    }
    const runs = recent.length - this.#recentFrom;
    if (runs === 0)
      this.#recentGrams = 0; // no rounding left over
    else this.#lastMean = Math.max(0, this.#recentGrams / runs);
    if (this.#recentFrom > 5_000) {
      this.#recent = recent.slice(this.#recentFrom);
      this.#recentFrom = 0;
    }
    return this.#lastMean;
  }

  #isLight(time: number): boolean {
    if (time >= this.#light.end) this.#light = { ...daylightOf(time), end: Math.floor(time / day) * day + day };
    return time >= this.#light.sunrise && time <= this.#light.sunset;
  }
}

interface Run {
  readonly at: number;
  readonly grams: number;
}
