import type { Instant } from "../instant.ts";

/** What was filled in within one bucket of a history. */
export interface RefillStep {
  readonly bucket: number; // its index
  readonly grams: number | null; // null: an amount of them is not known
}

interface Refill {
  readonly at: Instant;
  readonly grams: number | null;
  /** `level`: only how much is left was entered, which is no refill. */
  readonly source: string;
}

const minuteMs = 60_000;

/** @param lengthMinutes of the buckets, of which the first begins at `from`; refills outside them are left out */
export function refillSteps(from: Instant, lengthMinutes: readonly number[], refills: readonly Refill[]): RefillStep[] {
  const steps = new Map<number, number | null>();
  let end: number = from;
  const ends = lengthMinutes.map((length) => {
    end += length * minuteMs;
    return end;
  });
  for (const { at, grams, source } of refills) {
    if (source === "level" || at < from) continue;
    const bucket = ends.findIndex((end) => at < end);
    if (bucket < 0) continue;
    const before = steps.get(bucket);
    steps.set(bucket, grams === null || before === null ? null : (before ?? 0) + grams);
  }
  return [...steps].sort(([one], [other]) => one - other).map(([bucket, grams]) => ({ bucket, grams }));
}
