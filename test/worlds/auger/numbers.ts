export const clamp = (value: number, low: number, high: number): number => Math.min(high, Math.max(low, value));

/** To the nearest step, without the trace of binary fractions, and without -0, which JSON does not keep. */
export const roundTo = (step: number, value: number): number =>
  Math.round(Math.round(value / step) * step * 10_000) / 10_000 + 0;
