import { type FoodMix, pour } from "./food.ts";
import type { Random } from "./random.ts";

/**
 * The food in the hopper, by size of its pieces. Large pieces rise while it is shaken ("size segregation": Rosato, Strandburg, Prinz
 * and Swendsen, Phys. Rev. Lett. 58, 1987), so the bottom gives few of them at first, and more towards the end.
 */
export class Hopper {
  readonly capacity: number; // grams
  readonly mix: FoodMix;
  private readonly random: Random;
  private readonly segregation: number; // 0: none; 0.6: a full hopper gives large pieces at 0.4 of their share
  private readonly deadSpace: number; // grams that fill corners from which nothing comes out
  private readonly sizes: number[]; // grams of each size that can come out
  private dead = 0;
  private bridged = 0;
  private filledTo = 1; // grams that could come out after the last refill
  private sum = 0; // of the sizes

  constructor(random: Random, mix: FoodMix, capacity: number) {
    this.random = random;
    this.mix = mix;
    this.capacity = capacity;
    this.sizes = mix.sizes.map(() => 0);
    this.segregation = random.between(0, 0.6);
    this.deadSpace = capacity * random.between(0, 0.02); // common practice, no source: flat corners, a rim at the wheel
  }

  /** Grams that the next turns can get: below a bridge, where there is one. */
  get available(): number {
    return this.sum;
  }

  /** Grams that can still be given, also those above a bridge, which may fall. */
  get remaining(): number {
    return this.sum + this.bridged;
  }

  /** All food in it, also what no turn gets out. */
  get total(): number {
    return this.sum + this.dead + this.bridged;
  }

  get isBridged(): boolean {
    return this.bridged > 0;
  }

  /** 1 after a refill, 0 when empty. */
  get fullness(): number {
    return Math.min(1, this.sum / this.filledTo);
  }

  /** What falls on a bridge stays above it. */
  refill(grams: number): void {
    if (this.isBridged) {
      this.bridged += grams;
      return;
    }
    const toCorners = Math.min(grams, Math.max(0, this.deadSpace - this.dead));
    this.dead += toCorners;
    for (const [size, more] of pour(this.mix, grams - toCorners, this.random).entries()) {
      this.sizes[size] = (this.sizes[size] ?? 0) + more;
    }
    this.sum = this.sizes.reduce((sum, each) => sum + each, 0);
    this.filledTo = Math.max(1, this.sum);
  }

  /** From now on only so much comes down. */
  bridge(gramsBelow: number): void {
    const below = Math.min(1, gramsBelow / Math.max(1, this.sum));
    this.bridged = Math.max(1e-9, this.sum * (1 - below));
    for (let size = 0; size < this.sizes.length; size += 1) this.sizes[size] = (this.sizes[size] ?? 0) * below;
    this.sum *= below;
  }

  /** @returns the grams of the piece that comes out next; 0 where none is left */
  takePiece(): number {
    const size = this.nextSize();
    const left = this.sizes[size] ?? 0;
    const mean = this.mix.sizes[size]?.grams ?? 0;
    if (left <= 0) return 0;
    const wanted = mean * this.random.factor(0.2);
    const piece = left - wanted < 0.4 * mean ? Math.min(left, 1.5 * mean) : wanted;
    this.sizes[size] = left - piece;
    this.sum = Math.max(0, this.sum - piece);
    if (this.sizes[size] < 1e-9) this.forgetRounding(size);
    return piece;
  }

  private forgetRounding(size: number): void {
    this.sizes[size] = 0;
    this.sum = this.sizes.reduce((sum, each) => sum + each, 0);
  }

  /** By how many pieces of each size lie at the outlet. */
  private nextSize(): number {
    const last = this.sizes.length - 1;
    const largeShare = 1 - this.segregation * this.fullness;
    let pieces = 0;
    for (let size = 0; size <= last; size += 1) pieces += this.piecesOf(size, largeShare);
    let rest = this.random.next() * pieces;
    for (let size = 0; size < last; size += 1) {
      rest -= this.piecesOf(size, largeShare);
      if (rest < 0) return size;
    }
    return last;
  }

  private piecesOf(size: number, largeShare: number): number {
    const pieces = (this.sizes[size] ?? 0) / (this.mix.sizes[size]?.grams ?? 1);
    return size === this.sizes.length - 1 ? pieces * largeShare : pieces;
  }
}
