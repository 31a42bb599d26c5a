import type { WorldFault } from "../world.ts";
import { day } from "./agenda.ts";
import type { Chance } from "./chance.ts";

/** The fault of the story, which begins once and stays. How it shows is drawn from a stream of its own, so that nothing before it changes. */
export class Planted {
  since: number | null = null;
  readonly shows: Showing;
  #kind: WorldFault | null = null;

  constructor(chance: Chance) {
    this.shows = drawShowing(chance);
  }

  begin(kind: WorldFault, now: number): void {
    this.#kind = kind;
    this.since = now;
  }

  is(kind: WorldFault): boolean {
    return this.#kind === kind;
  }

  /** Nothing can come, whatever lies in the hopper. */
  get stopsAll(): boolean {
    return this.is("trayJammed") || this.is("motorStalled") || this.is("motorWireOff");
  }

  /** Of what reaches the chute's sensor, the share that still gets through the dirt. */
  clearness(now: number): number {
    if (this.is("chuteBlind")) return 0;
    if (!this.is("chuteDirty") || this.since === null) return 1;
    return Math.max(0, 1 - (now - this.since) / this.shows.dirtSpan) ** 1.5;
  }
}

/** Ranges: common practice, no source. */
interface Showing {
  readonly throatPortions: number; // that still come from below a bridge
  readonly jamLoad: number; // by the usual current
  readonly gripLeft: number; // share of its way that a slipping belt still makes
  readonly dirtSpan: number;
  readonly scaleFlickers: boolean;
  readonly scaleLeftOut: boolean; // else null
  readonly burstEvery: number;
  readonly burstPresses: number;
  readonly stuckShare: number; // which thermometer, by its place among all
}

const drawShowing = (chance: Chance): Showing => ({
  throatPortions: chance.between(0.5, 6),
  jamLoad: chance.between(1.3, 2.6),
  gripLeft: chance.between(0.08, 0.3),
  dirtSpan: chance.between(4.5, 7) * day,
  scaleFlickers: chance.happens(0.5),
  scaleLeftOut: chance.happens(0.5),
  burstEvery: chance.factorBetween(0.01, 0.2) * day,
  burstPresses: chance.factorBetween(3, 50),
  stuckShare: chance.share(),
});
