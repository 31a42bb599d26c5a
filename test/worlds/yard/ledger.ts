import { days, type Instant, minutes } from "../../../server/domain/instant.ts";
import { lightAt } from "../../../server/domain/sun.ts";
import type { ReleasedPortion } from "../../../server/practice/model/tray.ts";
import type { PlotObserver, TrueState } from "../../simulator/moment.ts";
import type { Plot } from "../../simulator/plot.ts";
import type { WorldTruth } from "../world.ts";

/** The simulator's landings of one bout are at most so far apart. */
const boutPause = minutes(2);

/** What truly happened so far, as a world's truth counts it. In this hopper no corner keeps food: all that the scale carries can be given. */
export class YardLedger implements PlotObserver {
  readonly #plot: Plot;
  #pieces = 0;
  #unfed = 0;
  #bouts = 0;
  #landedAt: Instant | null = null;
  #recent: { readonly at: Instant; readonly grams: number }[] = [];
  #portionGrams: number;

  constructor(plot: Plot) {
    this.#plot = plot;
    this.#portionGrams = plot.food.portionGrams;
  }

  landed(at: Instant): void {
    if (this.#landedAt === null || at - this.#landedAt > boutPause) this.#bouts += 1;
    this.#landedAt = at;
  }

  ran(at: Instant, { pieces, fellGrams }: ReleasedPortion): void {
    this.#pieces += pieces;
    if (pieces === 0 && this.#faultSince(at) !== null) this.#unfed += 1;
    this.#recent.push({ at, grams: fellGrams });
  }

  truth(at: Instant, { grams, portions, emptySince }: TrueState): WorldTruth {
    return {
      at,
      grams,
      gramsOnScale: grams,
      portions,
      pieces: this.#pieces,
      portionGrams: this.#meanOfLastDay(at),
      emptySince,
      faultSince: this.#faultSince(at),
      unfed: this.#unfed,
      bouts: this.#bouts,
      daylight: lightAt(this.#plot.place, at) === "day",
    };
  }

  #faultSince(at: Instant): Instant | null {
    const { fault } = this.#plot;
    return fault !== null && at >= fault.at ? fault.at : null;
  }

  /** Without any run in it, as it was before. */
  #meanOfLastDay(at: Instant): number {
    this.#recent = this.#recent.filter((run) => run.at >= at - days(1));
    if (this.#recent.length > 0)
      this.#portionGrams = this.#recent.reduce((sum, { grams }) => sum + grams, 0) / this.#recent.length;
    return this.#portionGrams;
  }
}
