import type { Mixture } from "./food.ts";
import type { PlantedFault } from "./plantedFault.ts";
import type { Random } from "./random.ts";
import { day, hour } from "./time.ts";
import { type Sky, weatherStep } from "./weather.ts";

export interface Drop {
  readonly grams: number;
  readonly pieces: number;
  /** How much of the full run was needed, where something ended it before. */
  readonly runShare: number;
}

export interface HopperSize {
  readonly portionGrams: number;
  readonly dailyGrams: number;
  readonly capacity: number;
}

/** From a pair that comes for a few seeds to a flock that eats a bowl a day. */
function drawSize(random: Random, mixture: Mixture): HopperSize {
  // Below two and a half of the largest pieces a tray can't give portions that are nearly alike.
  const least = Math.max(0.7, 2.5 * mixture.largestPiece);
  const portionGrams = Math.min(60 * mixture.meanPiece, Math.max(least, random.logBetween(0.8, 6)));
  const wanted = random.logBetween(15, 350);
  const portions = Math.min(220, Math.max(8, wanted / portionGrams));
  const dailyGrams = portions * portionGrams;
  return { portionGrams, dailyGrams, capacity: Math.min(9000, Math.max(500, dailyGrams * random.logBetween(4, 25))) };
}

/**
 * The hopper and the shaking tray under it. Food stands in the hopper, slides down to the tray as the tray gives it away, and
 * moves along the tray to its edge, where it falls piece by piece. A thin layer moves worse than a thick one, so that the last of
 * the food trickles; what lies in the corners never comes.
 */
export class Hopper {
  readonly size: HopperSize;
  /** What the books need: all that came and went, in grams. */
  readonly books = { refilled: 0, given: 0, toCorners: 0, carriedOff: 0 };
  isOff = false; // the keeper has it in hand
  private readonly random: Random;
  private readonly mixture: Mixture;
  private readonly fault: PlantedFault;
  private readonly build;
  private above = 0;
  private onTray = 0;
  private corners = 0;
  private crumbs = 0; // on the tray, for ever
  private overEdge = 0; // how much of the next piece's mass is already pushed past the edge
  private nextPiece: number;
  private isHeldUp = false;
  private surge = 1;
  private week = 1;
  private damp = 0.3;

  constructor(random: Random, mixture: Mixture, fault: PlantedFault) {
    this.random = random;
    this.mixture = mixture;
    this.fault = fault;
    this.size = drawSize(random, mixture);
    const { portionGrams, capacity } = this.size;
    const emptyShare = random.logBetween(0.002, 0.025);
    const clearing = random.between(0.35, 0.95); // how likely the next run frees what a piece holds up
    this.build = {
      trayHold: Math.min(90, portionGrams * random.logBetween(3, 12)),
      thin: random.between(0.2, 0.6), // of the usual layer, below which the flow falls off
      cornerGrams: Math.min(90, capacity * random.logBetween(0.001, 0.02)),
      heldUpShare: emptyShare * clearing,
      clearing,
      scatter: random.between(0.08, 0.3), // of one portion's logarithm
      weekly: random.between(0.01, 0.06),
      dampSlows: random.between(0.02, 0.3),
      dampSpan: random.between(10, 50) * hour,
      seeping: random.pick([0, random.between(0.005, 0.06)]), // past a bridge, of the runs
      antsHourly: random.pick([0, random.logBetween(0.004, 0.12)]), // grams that ants carry off in warm hours
      weighsTray: random.chance(0.6),
      moistureMost: random.between(0.005, 0.035), // how much heavier damp food is
    };
    this.nextPiece = mixture.pieceAt(1);
  }

  /** What can still be given, above a bridge too. */
  grams = (): number => this.above + this.onTray;
  fill = (): number => Math.min(1, this.above / this.size.capacity);
  room = (): number => Math.max(0, this.size.capacity - this.above);
  gramsOnScale(): number {
    const tray = this.build.weighsTray ? this.onTray + this.crumbs : 0;
    return tray + (this.isOff ? 0 : this.above + this.corners);
  }
  /** Water that the food has taken up. */
  waterGrams = (): number => this.gramsOnScale() * this.build.moistureMost * this.damp;
  /** Too little lies on the tray for a whole portion. */
  isTrayBare = (): boolean => this.onTray < 0.5 * this.build.thin * this.build.trayHold;
  isEmpty = (): boolean => this.above <= 0 && this.isTrayBare();

  refill(grams: number, at: number): void {
    const lost = Math.min(grams, Math.max(0, this.build.cornerGrams - this.corners));
    this.corners += lost;
    this.above += grams - lost;
    this.books.refilled += grams;
    this.books.toCorners += lost;
    this.surge = this.random.between(0.9, 1.2);
    this.slideDown(at, 0);
  }

  step(sky: Sky, at: number): void {
    const wet = Math.min(1, Math.max(0, (sky.humidity - 45) / 50));
    this.damp += (weatherStep / this.build.dampSpan) * (wet - this.damp);
    const pull = weatherStep / (7 * day);
    this.week *= Math.exp(-pull * Math.log(this.week) + this.random.normal(0, this.build.weekly * Math.sqrt(2 * pull)));
    if (this.build.antsHourly > 0 && sky.air > 16 && sky.air < 40 && sky.rain === 0) {
      const taken = Math.min(this.above, (this.build.antsHourly * weatherStep) / hour);
      this.above -= taken;
      this.books.carriedOff += taken;
    }
    this.slideDown(at, 0);
  }

  sweepTray(): void {
    this.crumbs = 0;
    this.isHeldUp = false;
  }

  /** @param endsRun told of each piece; true: the run ends with it */
  run(strength: number, at: number, endsRun: (grams: number) => boolean): Drop {
    const pushed = this.pushed(strength);
    const before = this.overEdge;
    this.overEdge += pushed;
    let [grams, pieces, runShare] = [0, 0, 1];
    while (this.onTray > 0 && this.overEdge >= Math.min(this.nextPiece, this.onTray)) {
      const piece = Math.min(this.nextPiece, this.onTray);
      this.overEdge -= piece;
      this.onTray -= piece;
      grams += piece;
      pieces += 1;
      this.nextPiece = this.mixture.pieceAt(this.fill());
      if (endsRun(piece)) {
        runShare = Math.min(1, Math.max(0.1, (grams - before) / pushed));
        this.overEdge = 0;
        break;
      }
    }
    this.books.given += grams;
    this.slideDown(at, this.build.seeping);
    this.leaveCrumbs();
    return { grams, pieces, runShare };
  }

  private pushed(strength: number): number {
    const { build, random, size } = this;
    if (strength <= 0 || this.onTray <= 0) return 0;
    if (!this.isHeldUp) this.isHeldUp = random.chance(build.heldUpShare * (0.6 + this.damp));
    if (this.isHeldUp) {
      // A long piece across the edge; what gathers behind it comes with the run after.
      if (random.chance(build.clearing)) {
        this.isHeldUp = false;
        this.surge = random.between(1, 1.7);
      }
      return 0;
    }
    const layer = Math.min(1, this.onTray / (build.thin * build.trayHold));
    const pushed =
      size.portionGrams *
      strength *
      layer *
      this.week *
      this.surge *
      (1 - build.dampSlows * (this.damp - 0.4)) *
      random.logNormal(build.scatter);
    this.surge = 1;
    return pushed;
  }

  /** @param seeping how likely a few grains come past a bridge */
  private slideDown(at: number, seeping: number): void {
    if (this.isOff || this.above <= 0) return;
    const wanted = this.build.trayHold * this.random.between(0.93, 1.05) - this.onTray;
    if (wanted <= 0) return;
    const bridged = this.fault.is("foodBridged", at);
    if (bridged && !this.random.chance(seeping)) return;
    const moved = Math.min(this.above, bridged ? Math.min(wanted, this.nextPiece * 4) : wanted);
    this.above -= moved;
    this.onTray += moved;
  }

  /** The last grains stay on the tray, too few to push each other. */
  private leaveCrumbs(): void {
    if (this.above > 0 || this.onTray > 0.8 * this.mixture.meanPiece) return;
    this.crumbs += this.onTray;
    this.books.toCorners += this.onTray;
    this.onTray = 0;
  }
}
