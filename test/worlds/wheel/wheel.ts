import type { PlantedFault } from "./fault.ts";
import type { Hopper } from "./hopper.ts";
import type { Random } from "./random.ts";
import type { Sky } from "./weather.ts";

/**
 * The pocket wheel below the hopper. Each turn by one pocket drops what the pocket took up: 60 to 100 % of its room, now and then
 * nothing, since food arches over the opening, or a piece wedges and comes free with the next turn.
 */
export interface Drop {
  readonly grams: number;
  readonly pieces: readonly number[]; // the mass of each; the same list is used again for the next drop
  readonly torque: number; // 1: as usual
}

/** Empty portions of a healthy wheel, as long as there is food beyond the last layer: the range that the tests hold it to. */
export const emptyRange = { low: 0.005, high: 0.04, highWhenDampOrLow: 0.12 } as const;

export class Wheel {
  readonly pocketGrams: number; // a full pocket
  readonly pocketsPerPortion: number;
  private readonly random: Random;
  private readonly hopper: Hopper;
  private readonly fault: PlantedFault;
  private readonly pockets: number;
  private readonly emptyRate: number;
  private readonly emptyAgain: number; // an arch holds on for the next turn
  private readonly wedgeShare: number; // of the empty portions
  private readonly dampFactor: number;
  private readonly fillShape: number;
  private readonly lastLayer: number; // grams
  private readonly lastLayerShape: number;
  private position = 0;
  private wasArched = false;
  private wasWedged = false;
  private blocked: readonly boolean[] | null = null; // by pocket, from the fault on
  private readonly pieces: number[] = [];

  constructor(random: Random, hopper: Hopper, fault: PlantedFault) {
    this.random = random;
    this.hopper = hopper;
    this.fault = fault;
    const largest = hopper.mix.sizes.at(-1)?.grams ?? 0;
    this.pocketGrams = Math.max(1.8 * largest, random.logBetween(0.8, 6)); // common practice, no source: a mouthful for a crow
    this.pocketsPerPortion = random.chance(0.65) ? 1 : 2;
    this.pockets = random.whole(4, 12);
    this.emptyRate = random.logBetween(emptyRange.low, emptyRange.high);
    this.emptyAgain = random.between(0, 0.3);
    this.wedgeShare = random.between(0.05, 0.4);
    this.dampFactor = random.between(0, 1.5);
    this.fillShape = random.between(0.4, 2);
    this.lastLayer = Math.min(0.15 * hopper.capacity, this.pocketGrams * random.logBetween(5, 40));
    this.lastLayerShape = random.between(0.3, 0.8);
  }

  /** Mean of a healthy portion, from a hopper that is neither damp nor low. */
  get usualPortionGrams(): number {
    const fill = 0.6 + 0.4 / (1 + this.fillShape);
    return this.pocketGrams * fill * this.pocketsPerPortion * (1 - this.emptyRate);
  }

  /** One portion, on a motor that turns. */
  turn(sky: Sky): Drop {
    const { hopper, pieces } = this;
    pieces.length = 0;
    const before = hopper.total;
    const cold = 1 + 0.004 * Math.max(0, -sky.air); // grease stiffens
    const torque = cold * this.random.factor(0.08);
    if (this.isArched(sky)) {
      for (let pocket = 0; pocket < this.pocketsPerPortion; pocket += 1) this.advance();
      return { grams: 0, pieces, torque: this.wasWedged ? torque * this.random.between(1.6, 3.5) : torque };
    }
    for (let pocket = 0; pocket < this.pocketsPerPortion; pocket += 1) this.emptyPocket(this.advance());
    return { grams: before - hopper.total, pieces, torque };
  }

  /** A Markov chain whose long mean is the rate of empty portions. */
  private isArched(sky: Sky): boolean {
    const rate = this.emptyRateNow(sky);
    const again = Math.max(rate, this.emptyAgain); // a wedged piece comes free with the next turn
    const first = (rate * (1 - again * (1 - this.wedgeShare))) / (1 - rate);
    this.wasArched = this.random.chance(this.wasWedged ? 0 : this.wasArched ? again : first);
    this.wasWedged = this.wasArched && this.random.chance(this.wedgeShare);
    return this.wasArched;
  }

  private emptyRateNow(sky: Sky): number {
    const damp = 1 + this.dampFactor * sky.damp;
    const low = 1 + 1.2 * Math.max(0, 1 - this.hopper.fullness / 0.25);
    return Math.min(0.9 * emptyRange.highWhenDampOrLow, this.emptyRate * damp * low);
  }

  private advance(): number {
    this.position = (this.position + 1) % this.pockets;
    return this.position;
  }

  private emptyPocket(pocket: number): void {
    const { random, hopper, pieces } = this;
    if (this.isBlocked(pocket)) {
      if (random.chance(0.1) && hopper.available > 0) pieces.push(hopper.takePiece()); // a crumb beside the block
      return;
    }
    let room = this.pocketGrams * (0.6 + 0.4 * random.next() ** this.fillShape);
    if (hopper.available < this.lastLayer) {
      const reach = (hopper.available / this.lastLayer) ** this.lastLayerShape;
      if (!random.chance(Math.max(0.12, reach))) return;
      room *= random.between(0.3, 1);
    }
    while (room > 0 && hopper.available > 0) {
      const piece = hopper.takePiece();
      if (piece === 0) break;
      pieces.push(piece);
      room -= piece;
      // Another piece goes in only where about half of it would still fit.
      if (room < piece * random.next()) break;
    }
  }

  /** Frozen or swollen food in some pockets: six to nine of ten are lost, but not all. */
  private isBlocked(pocket: number): boolean {
    if (this.fault.active !== "trayPartlyJammed") return false;
    if (this.blocked === null) {
      const open = Math.min(this.pockets - 2, Math.max(1, Math.round(this.pockets * this.random.between(0.1, 0.4))));
      const first = this.random.whole(0, this.pockets - 1);
      this.blocked = Array.from(
        { length: this.pockets },
        (_, at) => (at - first + this.pockets) % this.pockets >= open,
      );
    }
    return this.blocked[pocket] ?? false;
  }
}
