import type { Food } from "./food.ts";
import { clamp } from "./numbers.ts";
import type { Random } from "./random.ts";
import { hour, lagShare } from "./time.ts";

/**
 * The hopper and the screw under it. A screw moves a volume: how well its flights fill depends on the height of the food above it, on
 * how damp the food is, and on chance. What lies at the screw's end waits there for the next turn, so that a small portion is
 * followed by a larger one.
 */
export class Dispenser {
  readonly capacity: number;
  readonly food: Food;
  readonly #traits: DispenserTraits;
  readonly #random: Random;
  #content: number;
  #stuck: number; // lies where nothing gets it out
  #lip = 0.5; // share of a piece at the screw's end
  #dampAir = 65; // percent, over the last day
  #bag = { flow: 1, piece: 1 }; // each bag is a little different
  #isArched = false; // food has bridged, and will break by itself
  #lastTurnAt = 0;
  #throat: number | null = null; // grams below a bridge that stays

  constructor(random: Random, food: Food, capacity: number) {
    this.#random = random;
    this.food = food;
    this.capacity = capacity;
    this.#traits = drawTraits(random, food, capacity);
    this.#stuck = this.#traits.deadGrams;
    this.#content = capacity * random.between(0.75, 1);
  }

  get content(): number {
    return this.#content;
  }
  /** What can still be given. */
  get available(): number {
    return Math.max(0, this.#content - this.#stuck);
  }
  get nominalGrams(): number {
    return this.food.pieceGrams * this.food.piecesPerPortion;
  }
  /** Of a portion now, by the height and the damp of the food. */
  get expectedGrams(): number {
    return this.nominalGrams * this.#filling();
  }

  /** Over the last day or so, which is how long grains take to follow the air (from memory). */
  breathe(humidityPercent: number): void {
    this.#dampAir += (humidityPercent - this.#dampAir) * lagShare(hour, 26 * hour);
  }

  fill(grams: number): void {
    this.#content += grams;
    this.#stuck = this.#traits.deadGrams;
    this.#bag = {
      flow: clamp(1 + 0.04 * this.#random.normal(), 0.88, 1.12),
      piece: clamp(1 + 0.04 * this.#random.normal(), 0.88, 1.12),
    };
  }

  /** A bridge that stays: only what is below it still comes. */
  bridge(throatGrams: number): void {
    this.#throat ??= Math.min(throatGrams, this.available);
  }

  /** @param share of the usual that gets through to the tray */
  turn(at: number, share: number): Fall {
    const isArched = this.#archStays(at);
    const isBridged = this.#throat !== null;
    const reach = Math.min(this.available, this.#throat ?? this.available);
    const isHeld = share === 0 || reach <= 0 || isArched;
    const fall = isHeld ? { pieces: 0, grams: 0 } : this.#letFall(this.#pieces(reach, share), reach);
    const isOut = isHeld ? share > 0 && reach <= 0 : share === 1 && reach < this.nominalGrams;
    return { ...fall, wantsFood: fall.pieces === 0 && isOut && !isBridged };
  }

  #pieces(reach: number, share: number): number {
    const { flowSpread, trickleGrams } = this.#traits;
    const trickle = reach >= trickleGrams ? 1 : 0.15 + 0.85 * (reach / trickleGrams);
    const flow = this.#filling() * trickle * share * clamp(1 + flowSpread * this.#random.normal(), 0.2, 1.8);
    const pieces = this.food.piecesPerPortion * flow + this.#lip;
    // A free screw that was fed moves at least one piece; what it doesn't move is drawn apart, as an empty portion.
    const count = share === 1 && trickle === 1 ? Math.max(1, Math.floor(pieces)) : Math.floor(pieces);
    this.#lip = clamp(pieces - count, 0, 1);
    return count;
  }

  #letFall(count: number, reach: number): { pieces: number; grams: number } {
    const { pieceGrams, pieceSpread } = this.food;
    const mean = pieceGrams * this.#bag.piece;
    let [pieces, grams] = [0, 0];
    for (; pieces < count; pieces += 1) {
      const piece = mean * clamp(1 + pieceSpread * this.#random.normal(), 0.35, 1.8);
      const left = reach - grams;
      if (piece <= left) {
        grams += piece;
        continue;
      }
      if (left >= mean / 2) [grams, pieces] = [grams + left, pieces + 1];
      else if (this.#throat === null) this.#stuck += left; // crumbs
      break;
    }
    this.#content -= grams;
    if (this.#throat !== null) this.#throat = grams >= reach - mean / 2 ? 0 : this.#throat - grams;
    return { pieces, grams };
  }

  #filling(): number {
    const { headSlope, dampSlope } = this.#traits;
    const head = 1 + headSlope * (this.available / this.capacity - 0.5);
    return head * (1 - dampSlope * this.#damp()) * this.#bag.flow;
  }

  #damp = (): number => clamp((this.#dampAir - 60) / 40, 0, 1);

  /** Whether this turn gives nothing, though the hopper has food and the screw is free. */
  #archStays(at: number): boolean {
    const { emptyRate, inRuns, runLength } = this.#traits;
    const random = this.#random;
    const rested = at - this.#lastTurnAt;
    this.#lastTurnAt = at;
    if (this.#isArched) {
      // Each turn shakes it; and food settles over some hours.
      this.#isArched = !random.chance(1 / runLength) && !random.chance(lagShare(rested, 8 * hour));
      return this.#isArched;
    }
    const rate = emptyRate * (0.75 + 0.5 * this.#damp()); // damp food bridges more easily
    if (random.chance((rate * inRuns) / runLength)) this.#isArched = true;
    return this.#isArched || random.chance(rate * (1 - inRuns));
  }
}

export interface Fall {
  readonly pieces: number;
  readonly grams: number;
  readonly wantsFood: boolean; // nothing came because the hopper has nothing more to give
}

interface DispenserTraits {
  readonly deadGrams: number;
  readonly trickleGrams: number;
  readonly headSlope: number;
  readonly dampSlope: number;
  readonly flowSpread: number;
  readonly emptyRate: number;
  readonly inRuns: number;
  readonly runLength: number;
}

function drawTraits(random: Random, food: Food, capacity: number): DispenserTraits {
  const portion = food.pieceGrams * food.piecesPerPortion;
  return {
    deadGrams: capacity * random.between(0.02, 0.08), // common practice, no source
    trickleGrams: portion * random.between(2, 10), // common practice, no source
    // Bulk density and filling of a screw follow the fill level of the hopper, and vary by 10 to 15 % with damp and lot (articles of the
    // trade on the calibration of dosing screws); here somewhat wider, since hoppers of home-built feeders are steep and narrow.
    headSlope: random.between(0.02, 0.3),
    dampSlope: random.between(0.03, 0.22),
    flowSpread: random.between(0.08, 0.3),
    // Within 0.3 to 3 % also after the factor for damp, 0.75 to 1.25.
    emptyRate: random.logBetween(0.004, 0.024),
    inRuns: random.between(0.2, 0.6),
    runLength: random.between(2, 5),
  };
}
