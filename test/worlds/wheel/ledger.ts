import { type Instant, instant } from "../../../server/domain/instant.ts";
import type { WorldTruth } from "../world.ts";
import type { PlantedFault } from "./fault.ts";
import type { Hopper } from "./hopper.ts";
import { isCivilDay, type Place } from "./sun.ts";
import { day } from "./time.ts";
import type { Drop } from "./wheel.ts";

/** What truly happened, kept apart from what the feeder knows. */
export class Ledger {
  bouts = 0;
  portions = 0;
  given = 0; // grams
  poured = 0; // grams, with the first fill
  private pieces = 0;
  private unfed = 0;
  private emptySince: Instant | null = null;
  private meanGrams: number;
  private runs: { readonly at: number; readonly grams: number }[] = [];
  private firstRun = 0; // of the last day, among the runs
  private dayGrams = 0;
  private readonly hopper: Hopper;
  private readonly fault: PlantedFault;
  private readonly place: Place;
  private readonly usualGrams: number;

  constructor(hopper: Hopper, fault: PlantedFault, place: Place, usualGrams: number) {
    this.hopper = hopper;
    this.fault = fault;
    this.place = place;
    this.usualGrams = usualGrams;
    this.meanGrams = usualGrams;
  }

  refill(grams: number): void {
    this.hopper.refill(grams);
    this.poured += grams;
    this.emptySince = null;
  }

  run(at: number, { grams, pieces }: Drop): void {
    this.portions += 1;
    this.given += grams;
    this.pieces += pieces.length;
    const gaveNothing = pieces.length === 0;
    if (gaveNothing && this.fault.since !== null) this.unfed += 1;
    // The last layer comes out with many empty turns between: for want of food only when less than half a portion is left.
    const isOut = !this.hopper.isBridged && this.hopper.available < 0.5 * this.usualGrams;
    if (gaveNothing && isOut) {
      this.emptySince ??= instant(at);
      return; // no portion, so that the mean stays that of portions
    }
    this.runs.push({ at, grams });
    this.dayGrams += grams;
  }

  truth(at: number): WorldTruth {
    this.forgetRunsBefore(at - day);
    const { hopper, fault } = this;
    return {
      at: instant(at),
      grams: hopper.remaining,
      gramsOnScale: hopper.total,
      portions: this.portions,
      pieces: this.pieces,
      portionGrams: this.meanGrams,
      emptySince: this.emptySince,
      faultSince: fault.since === null ? null : instant(fault.since),
      unfed: this.unfed,
      bouts: this.bouts,
      daylight: isCivilDay(at, this.place),
    };
  }

  /** Without a run in the last day the mean stays as it was. */
  private forgetRunsBefore(from: number): void {
    let first = this.runs[this.firstRun];
    while (first !== undefined && first.at < from) {
      this.dayGrams -= first.grams;
      this.firstRun += 1;
      first = this.runs[this.firstRun];
    }
    const count = this.runs.length - this.firstRun;
    if (count > 0) this.meanGrams = Math.max(0, this.dayGrams / count);
    else this.dayGrams = 0;
    if (this.firstRun > 1_000) {
      this.runs = this.runs.slice(this.firstRun);
      this.firstRun = 0;
    }
  }
}
