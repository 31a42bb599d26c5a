import { hashedRandom, hashedText } from "../../server/domain/seededRandom.ts";

/**
 * Chance by seed. Each part of a site, and each of its days, has a stream of its own name, so that one more draw in one
 * part moves no other. Replay: the same seed, name and index.
 */
export class Random {
  private readonly seed: number;
  private readonly series: number;
  private index = 0;

  constructor(seed: number, name: string, index = 0) {
    this.seed = seed;
    this.series = hashedText(`${name} ${index}`);
  }

  /** Uniform in [0, 1). */
  unit(): number {
    const value = hashedRandom(this.seed, this.series, this.index);
    this.index += 1;
    return value;
  }

  chance(share: number): boolean {
    return this.unit() < share;
  }

  between(low: number, high: number): number {
    return low + (high - low) * this.unit();
  }

  /** Each factor as likely as another: for what is spread over powers of ten. */
  logBetween(low: number, high: number): number {
    return low * (high / low) ** this.unit();
  }

  whole(low: number, high: number): number {
    return low + Math.floor((high - low + 1) * this.unit());
  }

  exponential(mean: number): number {
    return -mean * Math.log(1 - this.unit());
  }

  /** Of mean 0 and spread 1 (Box and Muller 1958). */
  normal(): number {
    return Math.sqrt(-2 * Math.log(1 - this.unit())) * Math.cos(2 * Math.PI * this.unit());
  }

  /** Knuth's products for few, a rounded normal number for many. */
  poisson(mean: number): number {
    if (mean > 40) return Math.max(0, Math.round(mean + Math.sqrt(mean) * this.normal()));
    const limit = Math.exp(-mean);
    let count = 0;
    for (let product = this.unit(); product > limit; product *= this.unit()) count += 1;
    return count;
  }

  /** 0, 1, 2 … with this mean: how often something is repeated that has the same chance to end each time. */
  geometric(mean: number): number {
    if (mean <= 0) return 0;
    return Math.floor(Math.log(1 - this.unit()) / Math.log(mean / (1 + mean)));
  }

  /** Of mean 1 and this relative spread; log-normal. */
  factor(spread: number): number {
    const variance = Math.log(1 + spread * spread);
    return Math.exp(Math.sqrt(variance) * this.normal() - variance / 2);
  }

  pick<Item>(items: readonly Item[]): Item {
    const item = items[Math.floor(this.unit() * items.length)];
    if (item === undefined) throw new RangeError("expected something to pick from, got nothing");
    return item;
  }

  /** Index by weight. @throws RangeError where no weight is above 0. */
  weighted(weights: readonly number[]): number {
    const sum = weights.reduce((total, weight) => total + weight, 0);
    if (!(sum > 0)) throw new RangeError(`expected a weight above 0, got a sum of ${sum}`);
    let left = this.unit() * sum;
    const found = weights.findIndex((weight) => {
      left -= weight;
      return left < 0;
    });
    return found === -1 ? weights.findLastIndex((weight) => weight > 0) : found;
  }
}
