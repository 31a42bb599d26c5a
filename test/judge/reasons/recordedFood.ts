import { after, hours, type Instant } from "../../../server/domain/instant.ts";
import type { FeederRecord, RecordedPortion, Weight } from "./feederRecord.ts";

/** What a person reads from a feeder's record about falling food, by plain counting. */

/** Half of what a portion usually counts, and more: no last kernel. */
export function fellWholly(record: FeederRecord, { pieces }: RecordedPortion): boolean {
  return pieces !== null && pieces > 0 && pieces >= usualPieces(record) / 2;
}

/** Of all portions, so that a long fault doesn't become usual. */
const usualPieces = ({ portions }: FeederRecord): number =>
  median(portions.flatMap(({ pieces }) => (pieces !== null && pieces > 0 ? [pieces] : []))) ?? 0;

/** Whether the last ten portions counted as much as those before, or more. */
export function countsAsUsual({ portions }: FeederRecord): boolean {
  const counts = portions.slice(-200).flatMap(({ pieces }) => pieces ?? []);
  const [before, newest] = [counts.slice(0, -10), counts.slice(-10)];
  return before.length >= 10 && mean(newest) >= mean(before);
}

const mean = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0) / values.length;

/** A scale's reading is believed once others confirm it. */
const refillFoundWithin = hours(2);

/** Portions in a row of which nothing was counted, to the newest. From a refill on it may begin anew. */
export function trailingEmpty(
  { portions }: FeederRecord,
  refilledAt: Instant | null,
): { readonly least: number; readonly most: number } {
  let [least, most] = [0, 0];
  for (const { pieces, at } of portions.toReversed()) {
    if (pieces === null) continue;
    if (pieces > 0) break;
    most += 1;
    if (refilledAt === null || at > after(refilledAt, refillFoundWithin)) least += 1;
  }
  return { least, most };
}

/**
 * What the newest portions took from the scale: told where each half of them took at least half of what it should weigh, and at most twice
 * as much, within few hours. Melting snow and a bird that leaves the lid make a scale lighter, too.
 */
export function lostWeight(record: FeederRecord, portionGrams: number, refilledAt: Instant | null): string | null {
  const first = record.portions.at(-lossPortions)?.at;
  if (first === undefined || record.now - first > lossSpanMax) return null;
  const loss = lossOf(record, lossPortions, 0, refilledAt);
  const half = lossOf(record, lossPortions, lossPortions / 2, refilledAt);
  if (loss === null || half === null || loss < Math.max(lossMin, 4 * noise(record))) return null;
  const expected = (lossPortions / 2) * portionGrams;
  const isFood = [half, loss - half].every((part) => part >= 0.5 * expected && part <= 2 * expected);
  return isFood ? `the last ${lossPortions} portions made the hopper ${loss} g lighter` : null;
}

/** So many portions weigh more than a gust or a coarse scale's step. Our choice. */
const lossPortions = 8;
/** A cheap cell drifts by some grams in an hour. Common practice, no source. */
const lossMin = 12; // grams
const lossSpanMax = hours(2);

/**
 * By how much the weights before the last `from` portions lie above those before the last `to`, three of each at the most; null where
 * weights are missing, or it was refilled.
 */
export function lossOf(
  { weights, portions }: FeederRecord,
  from: number,
  to: number,
  refilledAt: Instant | null,
): number | null {
  const first = portions.at(-from)?.at;
  if (first === undefined || (refilledAt !== null && refilledAt > first)) return null;
  const before = weights.filter(({ portions: given }) => given <= portions.length - from).slice(-3);
  const after = weights.filter(({ portions: given }) => given === portions.length - to).slice(-3);
  const [was, is] = [medianWeight(before), medianWeight(after)];
  return was === null || is === null || before.length < 3 ? null : was - is;
}

/** Whether so many portions are enough for this scale, which may resolve several grams, to show them. */
export function canShow(record: FeederRecord, portions: number, portionGrams: number): boolean {
  const steps = record.weights.slice(-50).flatMap(({ grams }, index, newest) => {
    const step = Math.abs(grams - (newest[index - 1]?.grams ?? grams));
    return step > 0 ? [step] : [];
  });
  const coarse = steps.length === 0 ? 0 : Math.min(...steps);
  return portions * portionGrams > 3 * Math.max(coarse, noise(record));
}

/** How far one weight lies from the next while nothing is given: the median of the last fifty. */
function noise({ weights }: FeederRecord): number {
  const newest = weights.slice(-50);
  const steps = newest.flatMap(({ grams, portions }, index) => {
    const before = newest[index - 1];
    return before !== undefined && before.portions === portions ? [Math.abs(grams - before.grams)] : [];
  });
  return median(steps) ?? 0;
}

const medianWeight = (weights: readonly Weight[]): number | null => median(weights.map(({ grams }) => grams));

export function median(values: readonly number[]): number | null {
  const sorted = values.toSorted((a, b) => a - b);
  return sorted[sorted.length >> 1] ?? null;
}
