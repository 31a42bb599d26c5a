/**
 * The source of chance: Chris Doty-Humphrey's sfc32 (PractRand, from memory). Each part of the world has a stream of its own name, so that one more draw in one
 * part moves no other.
 */
export class Random {
  private a: number;
  private b: number;
  private c: number;
  private counter = 1;
  private spare: number | null = null;

  constructor(seed: number, name: string) {
    this.a = hash(name, seed >>> 0);
    this.b = hash(name, Math.floor(seed / 2 ** 32) ^ 0x5bd1e995);
    this.c = hash(`${name}.`, seed >>> 0);
    for (let index = 0; index < 15; index += 1) this.word();
  }

  word(): number {
    const out = (this.a + this.b + this.counter) | 0;
    this.counter = (this.counter + 1) | 0;
    this.a = this.b ^ (this.b >>> 9);
    this.b = (this.c + (this.c << 3)) | 0;
    this.c = (((this.c << 21) | (this.c >>> 11)) + out) | 0;
    return out >>> 0;
  }

  unit = (): number => this.word() / 2 ** 32;
  chance = (share: number): boolean => this.unit() < share;
  between = (low: number, high: number): number => low + (high - low) * this.unit();
  /** Each factor is as likely as any other: for what is spread over several powers of ten. */
  logBetween = (low: number, high: number): number => low * (high / low) ** this.unit();
  whole = (low: number, high: number): number => low + Math.floor((high - low + 1) * this.unit());
  exponential = (mean: number): number => -mean * Math.log(1 - this.unit());
  sign = (): number => (this.chance(0.5) ? 1 : -1);

  /** Box and Muller 1958. */
  normal(mean = 0, spread = 1): number {
    if (this.spare !== null) {
      const value = this.spare;
      this.spare = null;
      return mean + spread * value;
    }
    const radius = Math.sqrt(-2 * Math.log(1 - this.unit()));
    const angle = 2 * Math.PI * this.unit();
    this.spare = radius * Math.sin(angle);
    return mean + spread * radius * Math.cos(angle);
  }

  /** Of median 1. */
  logNormal = (spread: number): number => Math.exp(this.normal(0, spread));

  /** Knuth's products for few; a rounded normal number for many. */
  poisson(mean: number): number {
    if (mean > 30) return Math.max(0, Math.round(this.normal(mean, Math.sqrt(mean))));
    const limit = Math.exp(-mean);
    let count = 0;
    for (let product = this.unit(); product > limit; product *= this.unit()) count += 1;
    return count;
  }

  pick<Item>(items: readonly Item[]): Item {
    const item = items[Math.floor(this.unit() * items.length)];
    if (item === undefined) throw new RangeError("expected something to pick from, got nothing");
    return item;
  }
}

/** FNV-1a, then the last mixing of MurmurHash3: names that differ in one letter give unlike seeds. */
function hash(name: string, seed: number): number {
  let value = 0x811c9dc5 ^ seed;
  for (let index = 0; index < name.length; index += 1) value = Math.imul(value ^ name.charCodeAt(index), 0x01000193);
  value = Math.imul(value ^ (value >>> 16), 0x85ebca6b);
  value = Math.imul(value ^ (value >>> 13), 0xc2b2ae35);
  return value ^ (value >>> 16);
}
