/**
 * Uniform in [0, 1), always the same for the same seed and place in a series, so that any part of a series can be made by itself. Two
 * rounds of a 32-bit mixing function.
 */
export const hashedRandom = (seed: number, series: number, index: number): number =>
  hashBits((hashBits((seed ^ Math.imul(series, 0x85ebca6b)) >>> 0) + Math.imul(index, 0x9e3779b9)) >>> 0) / 2 ** 32;

/**
 * A 32-bit finalizer: each input bit changes about half of the output bits. Constants from memory; test/practice/world.test.ts
 * checks the spread.
 */
export function hashBits(bits: number): number {
  let mixed = bits;
  mixed = Math.imul(mixed ^ (mixed >>> 16), 0x21f0aaad);
  mixed = Math.imul(mixed ^ (mixed >>> 15), 0x735a2d97);
  return (mixed ^ (mixed >>> 15)) >>> 0;
}

/** 32 bits from a text, always the same. */
export function hashedText(text: string): number {
  let bits = 0;
  for (const letter of text) bits = hashBits((bits ^ (letter.codePointAt(0) ?? 0)) >>> 0);
  return bits;
}
