/**
 * Random numbers that a seed repeats. Each part of the world draws from a stream of its own, by its label, so that a change in one part
 * leaves the draws of the others as they were.
 */
export class Random {
  readonly #words = new Uint32Array(4);
  readonly #seed: number;
  readonly #label: string;

  constructor(seed: number, label: string) {
    this.#seed = seed;
    this.#label = label;
    for (let index = 0; index < 4; index += 1) this.#words[index] = hashOf(`${seed}/${label}/${index}`);
    for (let count = 0; count < 12; count += 1) this.#next();
  }

  branch(label: string): Random {
    return new Random(this.#seed, `${this.#label}.${label}`);
  }

  uniform(low = 0, high = 1): number {
    return low + (high - low) * this.#next();
  }

  /** For what spans orders of magnitude. */
  logUniform(low: number, high: number): number {
    return Math.exp(this.uniform(Math.log(low), Math.log(high)));
  }

  /** The ends are included. */
  integer(low: number, high: number): number {
    return Math.min(high, Math.floor(this.uniform(low, high + 1)));
  }

  chance(share: number): boolean {
    return this.#next() < share;
  }

  /** Box and Muller, 1958 (from memory). */
  normal(mean = 0, deviation = 1): number {
    const radius = Math.sqrt(-2 * Math.log(1 - this.#next()));
    return mean + deviation * radius * Math.cos(2 * Math.PI * this.#next());
  }

  logNormal(median: number, spread: number): number {
    return median * Math.exp(this.normal(0, spread));
  }

  exponential(mean: number): number {
    return -mean * Math.log(1 - this.#next());
  }

  /** By the product of uniforms (Knuth, volume 2, from memory); above 30 by its normal limit. */
  poisson(mean: number): number {
    if (mean > 30) return Math.max(0, Math.round(this.normal(mean, Math.sqrt(mean))));
    const floor = Math.exp(-mean);
    let count = 0;
    for (let product = this.#next(); product > floor; product *= this.#next()) count += 1;
    return count;
  }

  pick<Item>(items: readonly Item[]): Item {
    const item = items[this.integer(0, items.length - 1)];
    if (item === undefined) throw new RangeError("expected items to pick from, got none");
    return item;
  }

  /** By weights of any sum above 0. */
  weighted<Item extends string>(weights: Readonly<Record<Item, number>>): Item {
    const entries = Object.entries(weights) as [Item, number][];
    const sum = entries.reduce((total, [, weight]) => total + weight, 0);
    let drawn = this.uniform(0, sum);
    for (const [item, weight] of entries) {
      drawn -= weight;
      if (drawn < 0) return item;
    }
    throw new RangeError(`expected weights above 0, got a sum of ${sum}`);
  }

  /** sfc32 of PractRand by C. Doty-Humphrey (from memory). */
  #next(): number {
    const [a = 0, b = 0, c = 0, counter = 0] = this.#words;
    const sum = (a + b + counter) | 0;
    this.#words[3] = counter + 1;
    this.#words[0] = b ^ (b >>> 9);
    this.#words[1] = c + (c << 3);
    this.#words[2] = ((c << 21) | (c >>> 11)) + sum;
    return (sum >>> 0) / 4_294_967_296;
  }
}

/** FNV-1a, then the finalizer of MurmurHash3 (both from memory). */
function hashOf(text: string): number {
  let hash = 2_166_136_261;
  for (const character of text) hash = Math.imul(hash ^ (character.codePointAt(0) ?? 0), 16_777_619);
  hash = Math.imul(hash ^ (hash >>> 16), 0x85ebca6b);
  hash = Math.imul(hash ^ (hash >>> 13), 0xc2b2ae35);
  return (hash ^ (hash >>> 16)) >>> 0;
}
