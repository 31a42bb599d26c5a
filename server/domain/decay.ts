/** What is left of a value that fades. A trillionth counts as zero: further down numbers lose their digits, and then their sign. */
export function decay(keptShare: number, value: number): number {
  const remaining = keptShare * value;
  return Math.abs(remaining) < 1e-12 ? 0 : remaining;
}
