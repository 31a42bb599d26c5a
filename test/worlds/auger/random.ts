/**
 * The world's own source of chance: xoshiro128** 1.1 (Blackman and Vigna, "Scrambled Linear Pseudorandom Number Generators",
 * ACM Transactions on Mathematical Software 47(4), 2021). Each part of the world draws from its own named stream, so that a planted
 * fault changes nothing that was drawn before it.
 */
export class Random {
  #a: number;
  #b: number;
  #c: number;
  #d: number;
  #spare: number | null = null;

  constructor(a: number, b: number, c: number, d: number) {
    this.#a = a | 0;
    this.#b = b | 0;
    this.#c = c | 0;
    this.#d = d | 0;
  }

  /** The stream of this name under this seed. */
  static named(seed: number, name: string): Random {
    let word = mixed(Math.floor(seed / 2 ** 32) ^ Math.imul(seed | 0, 0x9e3779b1));
    for (let index = 0; index < name.length; index += 1) word = mixed(word ^ name.charCodeAt(index));
    const words = [1, 2, 3, 4].map((each) => mixed(word + Math.imul(each, 0x9e3779b9)));
    const [a = 1, b = 2, c = 3, d = 4] = words;
    return new Random(a, b, c, d);
  }

  /** A whole number from 0 to 2^32 - 1. */
  word(): number {
    const scrambled = Math.imul(this.#b, 5);
    const result = Math.imul((scrambled << 7) | (scrambled >>> 25), 9) >>> 0;
    const shifted = this.#b << 9;
    this.#c ^= this.#a;
    this.#d ^= this.#b;
    this.#b ^= this.#c;
    this.#a ^= this.#d;
    this.#c ^= shifted;
    this.#d = (this.#d << 11) | (this.#d >>> 21);
    return result;
  }

  /** From 0, and below 1. */
  uniform(): number {
    return this.word() * 2 ** -32;
  }

  between(low: number, high: number): number {
    return low + (high - low) * this.uniform();
  }

  /** Each factor between the two is equally likely: for what is known to its order of magnitude only. */
  logBetween(low: number, high: number): number {
    return low * (high / low) ** this.uniform();
  }

  whole(low: number, high: number): number {
    return low + Math.floor((high - low + 1) * this.uniform());
  }

  chance(probability: number): boolean {
    return this.uniform() < probability;
  }

  pick<Item>(items: readonly Item[]): Item {
    return items[this.whole(0, items.length - 1)] as Item;
  }

  /** Standard normal by the polar method (Marsaglia and Bray, SIAM Review 6(3), 1964). */
  normal(): number {
    if (this.#spare !== null) {
      const spare = this.#spare;
      this.#spare = null;
      return spare;
    }
    let u: number;
    let v: number;
    let square: number;
    do {
      u = 2 * this.uniform() - 1;
      v = 2 * this.uniform() - 1;
      square = u * u + v * v;
    } while (square >= 1 || square === 0);
    const factor = Math.sqrt((-2 * Math.log(square)) / square);
    this.#spare = v * factor;
    return u * factor;
  }

  exponential(mean: number): number {
    return -mean * Math.log(1 - this.uniform());
  }

  /** By Knuth's product of uniforms, in parts so that no part underflows: a sum of Poisson counts is a Poisson count. */
  poisson(mean: number): number {
    let count = 0;
    for (let left = mean; left > 0; left -= 20) count += this.#smallPoisson(Math.min(20, left));
    return count;
  }

  #smallPoisson(mean: number): number {
    const limit = Math.exp(-mean);
    let count = 0;
    for (let product = this.uniform(); product > limit; product *= this.uniform()) count += 1;
    return count;
  }
}

/** The finalizer of MurmurHash3 (Appleby, public domain): neighbouring seeds give unrelated streams. */
function mixed(word: number): number {
  let hash = word | 0;
  hash = Math.imul(hash ^ (hash >>> 16), 0x85ebca6b);
  hash = Math.imul(hash ^ (hash >>> 13), 0xc2b2ae35);
  return hash ^ (hash >>> 16);
}
