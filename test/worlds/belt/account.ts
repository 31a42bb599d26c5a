import { type Instant, instant } from "../../../server/domain/instant.ts";
import type { WorldTruth } from "../world.ts";
import { day } from "./agenda.ts";
import type { Belt, Heap } from "./belt.ts";
import type { Cell } from "./cell.ts";
import { isLight, type Place } from "./place.ts";
import type { Planted } from "./planted.ts";
import type { Silo } from "./silo.ts";

interface AccountParts {
  readonly silo: Silo;
  readonly belt: Belt;
  readonly cell: Cell;
  readonly planted: Planted;
  readonly place: Place;
}

/** What truly happened, of which the feeder knows only a part. */
export class Account {
  bouts = 0;
  givenGrams = 0;
  pouredGrams = 0;
  lastFedAt = Number.NEGATIVE_INFINITY;
  readonly #parts: AccountParts;
  #runs = 0;
  #pieces = 0;
  #unfed = 0;
  #emptySince: Instant | null = null;
  #ofDay: { readonly at: number; readonly grams: number }[] = [];
  #dayGrams = 0;
  #portionGrams: number;

  constructor(parts: AccountParts) {
    this.#parts = parts;
    this.#portionGrams = parts.belt.portionGrams;
  }

  get runs(): number {
    return this.#runs;
  }

  pour(grams: number): number {
    const poured = this.#parts.silo.pour(grams);
    this.pouredGrams += poured;
    if (poured > 0) this.#emptySince = null;
    return poured;
  }

  /** One portion, however often the motor started for it. */
  run(at: number, { grams, pieces }: Heap, isHopperOff: boolean): void {
    this.#runs += 1;
    this.fell(at, { grams, pieces });
    const { planted, silo, belt } = this.#parts;
    if (pieces === 0 && planted.since !== null) this.#unfed += 1;
    const left = silo.givable + belt.load.grams;
    const isStopped = planted.stopsAll || silo.isBridged || isHopperOff;
    if (pieces === 0 && !isStopped && left < 0.5 * belt.portionGrams) {
      this.#emptySince ??= instant(at);
      return; // no portion, so that the mean stays that of portions
    }
    this.#ofDay.push({ at, grams });
    this.#dayGrams += grams;
  }

  /** Also without a portion: from the edge, or when the belt is tried out. */
  fell(at: number, { grams, pieces }: Heap): void {
    this.#pieces += pieces;
    this.givenGrams += grams;
    if (pieces > 0) this.lastFedAt = at;
  }

  truth(at: number): WorldTruth {
    const { silo, belt, cell, planted, place } = this.#parts;
    const onBelt = belt.load.grams;
    return {
      at: instant(at),
      grams: silo.givable + onBelt,
      gramsOnScale: silo.content + (cell.bearsAll ? onBelt : 0),
      portions: this.#runs,
      pieces: this.#pieces,
      portionGrams: this.#mean(at),
      emptySince: this.#emptySince,
      faultSince: planted.since === null ? null : instant(planted.since),
      unfed: this.#unfed,
      bouts: this.bouts,
      daylight: isLight(at, place),
    };
  }

  /** On a day without a portion it stays as it was. */
  #mean(at: number): number {
    const old = this.#ofDay.findIndex((run) => run.at > at - day);
    const count = old < 0 ? this.#ofDay.length : old;
    for (const { grams } of this.#ofDay.splice(0, count)) this.#dayGrams -= grams;
    if (this.#ofDay.length > 0) this.#portionGrams = Math.max(0, this.#dayGrams) / this.#ofDay.length;
    return this.#portionGrams;
  }
}
