/**
 * A named stream of chance. Each part of the feeder has its own, so that one more draw in one part leaves the others as they were.
 * The generator is sfc32 (Chris Doty-Humphrey's PractRand, public domain; from memory).
 */
export class Stream {
  #a: number;
  #b: number;
  #c: number;
  #d = 1;
  #spareNormal: number | null = null;

  constructor(seed: number, name: string) {
    this.#a = hash(`${name}/a`, seed);
    this.#b = hash(`${name}/b`, Math.floor(seed / 2 ** 32));
    this.#c = hash(name, seed + name.length);
    for (let round = 0; round < 15; round += 1) this.unit();
  }

  /** From 0, below 1. */
  unit(): number {
    const sum = (this.#a + this.#b + this.#d) | 0;
    this.#d = (this.#d + 1) | 0;
    this.#a = this.#b ^ (this.#b >>> 9);
    this.#b = (this.#c + (this.#c << 3)) | 0;
    this.#c = (((this.#c << 21) | (this.#c >>> 11)) + sum) | 0;
    return (sum >>> 0) / 2 ** 32;
  }

  chance(probability: number): boolean {
    return this.unit() < probability;
  }

  uniform(low: number, high: number): number {
    return low + (high - low) * this.unit();
  }

  /** Each factor of the range is equally likely. */
  logUniform(low: number, high: number): number {
    return low * (high / low) ** this.unit();
  }

  whole(low: number, high: number): number {
    return low + Math.floor((high - low + 1) * this.unit());
  }

  pick<Item>(items: readonly Item[]): Item {
    const item = items[Math.floor(this.unit() * items.length)];
    if (item === undefined) throw new RangeError("expected at least one item to pick from");
    return item;
  }

  exponential(mean: number): number {
    return -mean * Math.log(1 - this.unit());
  }

  /** Marsaglia's polar method (Marsaglia and Bray 1964). */
  normal(): number {
    if (this.#spareNormal !== null) {
      const spare = this.#spareNormal;
      this.#spareNormal = null;
      return spare;
    }
    for (;;) {
      const x = 2 * this.unit() - 1;
      const y = 2 * this.unit() - 1;
      const square = x * x + y * y;
      if (square >= 1 || square === 0) continue;
      const scale = Math.sqrt((-2 * Math.log(square)) / square);
      this.#spareNormal = y * scale;
      return x * scale;
    }
  }

  /** Spread around 1 with median 1. */
  factor(spread: number): number {
    return Math.exp(spread * this.normal());
  }

  /** Knuth's product below 30; above, a rounded normal number, which is exact enough for grains. */
  poisson(mean: number): number {
    if (mean <= 0) return 0;
    if (mean > 30) return Math.max(0, Math.round(mean + Math.sqrt(mean) * this.normal()));
    const limit = Math.exp(-mean);
    let count = 0;
    for (let product = this.unit(); product > limit; product *= this.unit()) count += 1;
    return count;
  }

  binomial(count: number, probability: number): number {
    if (probability <= 0) return 0;
    let hits = 0;
    for (let index = 0; index < count; index += 1) if (this.unit() < probability) hits += 1;
    return hits;
  }
}

/** A value that wanders around 0 with the given standard deviation and forgets within `memory` (Uhlenbeck and Ornstein 1930). */
export class Wander {
  readonly #stream: Stream;
  readonly #spread: number;
  readonly #memory: number;
  value: number;
  #at: number;

  constructor(stream: Stream, spread: number, memory: number, at: number) {
    this.#stream = stream;
    this.#spread = spread;
    this.#memory = memory;
    this.value = spread * stream.normal();
    this.#at = at;
  }

  /** Exact for any step. */
  to(at: number): number {
    if (at <= this.#at) return this.value;
    const kept = Math.exp((this.#at - at) / this.#memory);
    this.value = this.value * kept + this.#spread * Math.sqrt(1 - kept * kept) * this.#stream.normal();
    this.#at = at;
    return this.value;
  }
}

/** FNV-1a over the name and the seed, then the finish of MurmurHash3 (both public domain; from memory). */
function hash(name: string, seed: number): number {
  let value = 0x811c9dc5;
  for (let index = 0; index < name.length; index += 1) value = Math.imul(value ^ name.charCodeAt(index), 0x01000193);
  for (let shift = 0; shift < 32; shift += 8) value = Math.imul(value ^ ((seed >>> shift) & 0xff), 0x01000193);
  value = Math.imul(value ^ (value >>> 16), 0x85ebca6b);
  value = Math.imul(value ^ (value >>> 13), 0xc2b2ae35);
  return value ^ (value >>> 16);
}
