/**
 * Whether a day's count is unusual compared with the days before. Birds don't follow a plain Poisson law: they come in groups and
 * by the weather, so that days vary more than by chance alone. The count of one more day is predicted by a negative binomial law with mean m = (X + 1/2)/n (X in n days, Jeffreys' prior) and variance (m + s·m²)(1 + 1/n), where s is how
 * much the days vary beyond chance. With s = 0 this is the exact predictive law of a Poisson count under a gamma prior (Gelman et
 * al., Bayesian Data Analysis, 3rd ed. 2013, section 2.6, from memory); the rest matches its first two moments.
 */
export interface UsualWeek {
  readonly days: number; // that could be compared
  readonly median: number;
  readonly mean: number;
  readonly variance: number; // of one more day
}

/** Fewer days are no comparison. Common practice, no source. */
export const daysNeeded = 4;

/** @returns null where too few days are known. */
export function usualWeekOf(counts: readonly number[]): UsualWeek | null {
  const days = counts.length;
  if (days < daysNeeded) return null;
  const sum = counts.reduce((total, count) => total + count, 0);
  const mean = (sum + 0.5) / days;
  const squares = counts.reduce((total, count) => total + (count - sum / days) ** 2, 0);
  const beyondChance = Math.max(0, squares / (days - 1) - mean) / (mean * mean);
  const scatter = (scatterDays * scatterAtFirst + (days - 1) * beyondChance) / (scatterDays + days - 1);
  return { days, median: medianOf(counts), mean, variance: (mean + scatter * mean * mean) * (1 + 1 / days) };
}

/** Days vary by a third beyond chance, as in hopper/dailyAppetite.ts, with the weight of as many days. */
const scatterAtFirst = 0.12;
const scatterDays = 8;

/**
 * `fewer` and `more` only where so unusual a count, in either direction, has a probability of less than `level`: a keeper who reads
 * "fewer" each week by chance stops reading. Never against the median, which is the number that the keeper sees.
 */
export function compareCount(week: UsualWeek, count: number, level: number): "fewer" | "usual" | "more" {
  const lower = probabilityOfAtMost(count, week);
  const upper = count === 0 ? 1 : 1 - probabilityOfAtMost(count - 1, week);
  if (lower < level / 2 && count < week.median) return "fewer";
  return upper < level / 2 && count > week.median ? "more" : "usual";
}

/** P(Y <= count) of the negative binomial law with this mean and variance; the variance exceeds the mean. */
export function probabilityOfAtMost(count: number, { mean, variance }: Pick<UsualWeek, "mean" | "variance">): number {
  const p = mean / variance;
  const size = (mean * p) / (1 - p);
  // In logarithms: for a busy day the probability of no bird at all is too small for a plain number.
  let log = size * Math.log(p);
  let sum = Math.exp(log);
  for (let k = 0; k < count; k++) {
    log += Math.log((k + size) / (k + 1)) + Math.log1p(-p);
    sum += Math.exp(log);
    if (sum >= 1) return 1;
  }
  return sum;
}

/** The value in the middle; of two in the middle their mean. NaN of nothing. */
export function medianOf(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const middle = Math.floor(sorted.length / 2);
  const [before = Number.NaN, at = Number.NaN] = [sorted[middle - 1], sorted[middle]];
  return sorted.length % 2 === 1 ? at : (before + at) / 2;
}
