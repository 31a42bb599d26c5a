import type { Random } from "./random.ts";

/** Food and the hopper that holds it. Ranges: common practice, no source. */

export interface Food {
  readonly name: string;
  readonly parts: readonly FoodPart[];
  readonly batchSpread: number; // how far the pieces of one bag differ from those of another
  readonly swelling: number; // how much larger wet pieces get, as a share
}

interface FoodPart {
  readonly pieceGrams: number;
  readonly spread: number;
  readonly share: number; // of the pieces, cumulated
}

export function drawFood(random: Random): Food {
  const [name, low, high] = random.pick(foods);
  const count = random.integer(1, 3);
  const weights = Array.from({ length: count }, () => random.uniform(0.2, 1));
  const sum = weights.reduce((total, weight) => total + weight, 0);
  let share = 0;
  const parts = weights.map((weight) => {
    share += weight / sum;
    return { pieceGrams: random.logUniform(low, high), spread: random.uniform(0.06, 0.35), share };
  });
  return { name, parts, batchSpread: random.uniform(0.01, 0.12), swelling: random.uniform(0, 0.3) };
}

/** Grams of a piece. */
const foods: readonly (readonly [name: string, low: number, high: number])[] = [
  ["split peanuts", 0.25, 0.55],
  ["peanuts and maize", 0.2, 0.8],
  ["small kibble", 0.12, 0.5],
  ["cat kibble", 0.25, 0.9],
  ["dog kibble", 0.5, 1.8],
  ["mixed nuts", 0.4, 1.6],
];

/** What one bag of the food is like. */
export interface Batch {
  readonly pieceFactor: number;
  readonly flow: number; // how willingly it comes, 1 on average
}

export const drawBatch = (food: Food, random: Random): Batch => ({
  pieceFactor: random.logNormal(1, food.batchSpread),
  flow: random.logNormal(1, food.batchSpread * 0.8),
});

export function pieceGrams(food: Food, batch: Batch, damp: number, random: Random): number {
  const drawn = random.uniform();
  const part = food.parts.find(({ share }) => drawn <= share) ?? food.parts[0];
  if (part === undefined) throw new RangeError("expected a food of at least one part, got none");
  return random.logNormal(part.pieceGrams, part.spread) * batch.pieceFactor * (1 + food.swelling * 0.4 * damp);
}

export const meanPieceGrams = (food: Food): number =>
  food.parts.reduce((sum, part, index) => {
    const before = food.parts[index - 1]?.share ?? 0;
    return sum + (part.share - before) * part.pieceGrams * Math.exp(part.spread ** 2 / 2);
  }, 0);

/** What lies in it, in grams. Food in corners never comes out by itself; only the scale carries it. */
export class Hopper {
  readonly capacity: number;
  readonly cornersHold: number;
  usable = 0;
  rest = 0;
  filled = 0; // so far
  given = 0; // so far
  isOff = false; // lifted off, or off the scale
  /** Grams below a bridge; null while there is none. */
  belowBridge: number | null = null;

  constructor(capacity: number, cornersShare: number) {
    this.capacity = capacity;
    this.cornersHold = capacity * cornersShare;
  }

  /** Grams that can come down now. */
  get reachable(): number {
    if (this.isOff) return 0;
    return this.belowBridge === null ? this.usable : Math.min(this.usable, this.belowBridge);
  }

  get onScale(): number {
    return this.isOff ? 0 : this.usable + this.rest;
  }

  get level(): number {
    return (this.usable + this.rest) / this.capacity;
  }

  pour(grams: number): void {
    const toCorners = Math.min(grams, this.cornersHold - this.rest);
    this.rest += toCorners;
    this.usable += grams - toCorners;
    this.filled += grams;
  }

  /** @returns what really came: the last crumbs come with the last piece. */
  take(grams: number): number {
    const reachable = this.reachable;
    const came = grams > reachable - 0.03 ? reachable : grams;
    this.usable = came === this.usable ? 0 : this.usable - came;
    if (this.belowBridge !== null) this.belowBridge = Math.max(0, this.belowBridge - came);
    this.given += came;
    return came;
  }
}

export const drawHopper = (dailyGrams: number, random: Random): Hopper =>
  new Hopper(
    Math.min(9_000, Math.max(250, dailyGrams * random.logUniform(2.5, 30))),
    random.chance(0.3) ? random.uniform(0, 0.005) : random.logUniform(0.005, 0.09),
  );
