import { instant } from "../../../server/domain/instant.ts";
import type { WorldTruth } from "../world.ts";
import type { Fall } from "./dispenser.ts";
import type { Fault } from "./fault.ts";
import type { Hopper } from "./food.ts";
import { dayMs, isDaylight, type Place } from "./sky.ts";

/** The truth beside the lines. */
export class Books {
  runs = 0;
  pieces = 0;
  bouts = 0;
  readonly #hopper: Hopper;
  readonly #fault: Fault;
  readonly #place: Place;
  readonly #lastDay: { readonly at: number; readonly grams: number }[] = [];
  #lastDayGrams = 0;
  #portionGrams: number;
  #unfed = 0;
  #emptySince: number | null = null;

  /** @param portionGrams of a usual portion, until the first has been given */
  constructor(hopper: Hopper, fault: Fault, place: Place, portionGrams: number) {
    this.#hopper = hopper;
    this.#fault = fault;
    this.#place = place;
    this.#portionGrams = portionGrams;
  }

  recordRun(at: number, { grams, pieces }: Fall): void {
    this.runs += 1;
    this.pieces += pieces;
    this.#lastDay.push({ at, grams });
    this.#lastDayGrams += grams;
    if (grams > 0) return;
    if (this.#fault.since(at) !== null) this.#unfed += 1;
    if (this.#hopper.usable <= 0) this.#emptySince ??= at;
  }

  recordRefill(): void {
    this.#emptySince = null;
  }

  truth(at: number): WorldTruth {
    const since = this.#fault.since(at);
    return {
      at: instant(at),
      grams: this.#hopper.usable,
      gramsOnScale: this.#hopper.onScale,
      portions: this.runs,
      pieces: this.pieces,
      portionGrams: this.#meanOfDay(at),
      emptySince: this.#emptySince === null ? null : instant(this.#emptySince),
      faultSince: since === null ? null : instant(since),
      unfed: this.#unfed,
      bouts: this.bouts,
      daylight: isDaylight(this.#place, at),
    };
  }

  /** Of all runs of the last day, those that gave nothing among them; the last known where none was. */
  #meanOfDay(at: number): number {
    for (let first = this.#lastDay[0]; first !== undefined && first.at <= at - dayMs; first = this.#lastDay[0]) {
      this.#lastDayGrams -= first.grams;
      this.#lastDay.shift();
    }
    if (this.#lastDay.length > 0) this.#portionGrams = Math.max(0, this.#lastDayGrams) / this.#lastDay.length;
    return this.#portionGrams;
  }
}
