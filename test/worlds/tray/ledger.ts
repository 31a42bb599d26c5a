import { type Instant, instant } from "../../../server/domain/instant.ts";
import type { WorldTruth } from "../world.ts";
import type { Drop, Hopper } from "./hopper.ts";
import type { PlantedFault } from "./plantedFault.ts";
import { isDaylight } from "./sun.ts";
import { day } from "./time.ts";

/** What truly happened so far. */
export class Ledger {
  private readonly hopper: Hopper;
  private readonly fault: PlantedFault;
  private portions = 0;
  private pieces = 0;
  private unfed = 0;
  private emptySince: Instant | null = null;
  private lastDay: { readonly at: number; readonly grams: number }[] = [];
  private lastDayGrams = 0;
  private portionGrams: number;

  constructor(hopper: Hopper, fault: PlantedFault) {
    this.hopper = hopper;
    this.fault = fault;
    this.portionGrams = hopper.size.portionGrams;
  }

  /** @param canGive false where the drive moved nothing */
  enterRun(at: number, drop: Drop, canGive: boolean): void {
    this.portions += 1;
    this.pieces += drop.pieces;
    const isUnfed = drop.pieces === 0;
    if (isUnfed && this.fault.since(at) !== null) this.unfed += 1;
    if (isUnfed && this.hopper.isEmpty()) this.emptySince ??= instant(at);
    // A run that could give nothing, or only the last grains, says nothing of a portion's mass.
    if (!canGive || this.hopper.isTrayBare()) return;
    this.lastDay.push({ at, grams: drop.grams });
    this.lastDayGrams += drop.grams;
  }

  enterRefill(): void {
    this.emptySince = null;
  }

  truth(at: number, bouts: number): WorldTruth {
    const since = this.fault.since(at);
    return {
      at: instant(at),
      grams: this.hopper.grams(),
      gramsOnScale: this.hopper.gramsOnScale(),
      portions: this.portions,
      pieces: this.pieces,
      portionGrams: this.portionMean(at),
      emptySince: this.emptySince,
      faultSince: since === null ? null : instant(since),
      unfed: this.unfed,
      bouts,
      daylight: isDaylight(at),
    };
  }

  private portionMean(at: number): number {
    let old = 0;
    for (; old < this.lastDay.length; old += 1) {
      const run = this.lastDay[old];
      if (run === undefined || run.at > at - day) break;
      this.lastDayGrams -= run.grams;
    }
    if (old > 0) this.lastDay.splice(0, old);
    // Through a day without a portion it stays as it was.
    if (this.lastDay.length > 0) this.portionGrams = Math.max(0, this.lastDayGrams) / this.lastDay.length;
    return this.portionGrams;
  }
}
