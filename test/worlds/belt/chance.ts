/**
 * Chance by name: each part of the feeder draws from a stream of its own, so that a draw more in one part changes no other.
 * The generator is xoshiro128** (Blackman and Vigna 2021), started by SplitMix32; both from memory.
 */
export class Chance {
  readonly #state = new Uint32Array(4);
  #otherGauss: number | null = null;

  constructor(seed: number, name: string) {
    let mixed = 0x9e3779b9 ^ (seed >>> 0) ^ Math.imul(Math.floor(seed / 2 ** 32), 0x85ebca6b);
    for (let index = 0; index < name.length; index += 1)
      mixed = Math.imul(mixed ^ name.charCodeAt(index), 0x01000193) ^ (mixed >>> 15);
    for (let index = 0; index < 4; index += 1) {
      mixed = (mixed + 0x9e3779b9) | 0;
      let word = Math.imul(mixed ^ (mixed >>> 16), 0x21f0aaad);
      word = Math.imul(word ^ (word >>> 15), 0x735a2d97);
      this.#state[index] = word ^ (word >>> 15);
    }
    for (let round = 0; round < 8; round += 1) this.word();
  }

  /** 32 bits. */
  word(): number {
    const state = this.#state;
    const [a = 0, b = 0, c = 0, d = 0] = state;
    const result = Math.imul(rotate(Math.imul(b, 5), 7), 9) >>> 0;
    const shifted = b << 9;
    const [c2, d2] = [c ^ a, d ^ b];
    state[1] = b ^ c2;
    state[0] = a ^ d2;
    state[2] = c2 ^ shifted;
    state[3] = rotate(d2, 11);
    return result;
  }

  /** From 0, below 1. */
  share(): number {
    return this.word() / 2 ** 32;
  }

  happens(probability: number): boolean {
    return this.share() < probability;
  }

  between(low: number, high: number): number {
    return low + (high - low) * this.share();
  }

  /** Equally likely on a logarithmic scale: for what differs by factors. */
  factorBetween(low: number, high: number): number {
    return low * (high / low) ** this.share();
  }

  whole(low: number, high: number): number {
    return low + Math.floor((high - low + 1) * this.share());
  }

  pick<Item>(items: readonly Item[]): Item {
    const picked = items[Math.floor(items.length * this.share())];
    if (picked === undefined) throw new RangeError("expected items to pick from, got none");
    return picked;
  }

  /** The span until something that comes once in `mean`, at any moment alike. */
  wait(mean: number): number {
    return -mean * Math.log(1 - this.share());
  }

  /** Box and Muller 1958. */
  gauss(): number {
    const kept = this.#otherGauss;
    if (kept !== null) {
      this.#otherGauss = null;
      return kept;
    }
    const radius = Math.sqrt(-2 * Math.log(1 - this.share()));
    const angle = 2 * Math.PI * this.share();
    this.#otherGauss = radius * Math.sin(angle);
    return radius * Math.cos(angle);
  }

  /** A factor around 1 with median 1. */
  spread(sigma: number): number {
    return Math.exp(sigma * this.gauss());
  }

  /** Counts of rare things; above 40 the normal law is near enough. */
  poisson(mean: number): number {
    if (mean <= 0) return 0;
    if (mean > 40) return Math.max(0, Math.round(mean + Math.sqrt(mean) * this.gauss()));
    let [count, left] = [0, Math.exp(mean) * this.share()];
    while (left > 1 && count < 200) {
      left *= this.share();
      count += 1;
    }
    return count;
  }

  /** How many of `count` things happen. */
  ofMany(count: number, probability: number): number {
    if (count > 60) {
      const mean = count * probability;
      return Math.min(count, Math.max(0, Math.round(mean + Math.sqrt(mean * (1 - probability)) * this.gauss())));
    }
    let happened = 0;
    for (let index = 0; index < count; index += 1) if (this.happens(probability)) happened += 1;
    return happened;
  }

  /** Rounds up as often as the fraction says. */
  rounded(value: number): number {
    const whole = Math.floor(value);
    return whole + (this.happens(value - whole) ? 1 : 0);
  }
}

const rotate = (word: number, by: number): number => (word << by) | (word >>> (32 - by));

/** A value that comes back to 0 within `memory`, with a standard deviation of 1 (an Ornstein-Uhlenbeck process, exact for any step). */
export class Drifting {
  readonly #chance: Chance;
  readonly #memory: number;
  #value: number;
  #at: number;

  constructor(chance: Chance, memory: number, begin: number) {
    this.#chance = chance;
    this.#memory = memory;
    this.#at = begin;
    this.#value = chance.gauss();
  }

  /** Asked in time order. */
  valueAt(at: number): number {
    if (at > this.#at) {
      const kept = Math.exp((this.#at - at) / this.#memory);
      this.#value = kept * this.#value + Math.sqrt(1 - kept * kept) * this.#chance.gauss();
      this.#at = at;
    }
    return this.#value;
  }
}
