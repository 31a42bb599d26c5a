import { logNormalTail } from "../../server/domain/normalTail.ts";

/** What judging needs of statistics: run lengths of a cumulative sum, exact and approximate, and limits of a rate. */

// --- run lengths of the one-sided normal cumulative sum ------------------------------------------------------------------

/**
 * Average run length of S = max(0, S + x - reference) until S > limit, x normal with mean `shift` and deviation 1, from S = 0:
 * Page's integral equation (Page 1954), solved by Nyström's method on Gauss-Legendre nodes.
 */
export function exactRunLength(reference: number, limit: number, shift: number, nodes = 120): number {
  const { points, weights } = gaussLegendre(nodes, 0, limit);
  const chanceBelow = (x: number) => Math.exp(logNormalTail(-x));
  const density = (x: number) => Math.exp(-0.5 * x * x) / Math.sqrt(2 * Math.PI);
  // L(s) = 1 + L(0)·P(S falls to 0) + ∫ L(y)·f(y - s + reference - shift) dy, at s = 0 and at every node.
  const starts = [0, ...points];
  const matrix = starts.map((s, row) =>
    starts.map((y, column) => {
      const same = row === column ? 1 : 0;
      const drift = reference - shift;
      if (column === 0) return same - chanceBelow(drift - s);
      return same - (weights[column - 1] ?? 0) * density(y - s + drift);
    }),
  );
  return solve(matrix, new Array<number>(starts.length).fill(1))[0] ?? Number.NaN;
}

/** Siegmund 1985: the same by a Brownian motion whose limit is 1.166 further away, for the overshoot of both ends. */
export function siegmundRunLength(reference: number, limit: number, shift: number): number {
  const drift = shift - reference;
  const far = limit + 1.166;
  if (drift === 0) return far * far;
  return (Math.exp(-2 * drift * far) + 2 * drift * far - 1) / (2 * drift * drift);
}

/** Two one-sided sums side by side alarm as often as both together. */
export const twoSidedRunLength = (up: number, down: number): number => 1 / (1 / up + 1 / down);

function gaussLegendre(count: number, from: number, to: number): { points: number[]; weights: number[] } {
  const points: number[] = [];
  const weights: number[] = [];
  for (let i = 1; i <= count; i += 1) {
    let x = Math.cos((Math.PI * (i - 0.25)) / (count + 0.5));
    let slope = 1;
    for (let step = 0; step < 50; step += 1) {
      let [before, now] = [1, x];
      for (let k = 2; k <= count; k += 1) [before, now] = [now, ((2 * k - 1) * x * now - (k - 1) * before) / k];
      slope = (count * (x * now - before)) / (x * x - 1);
      const step = now / slope;
      x -= step;
      if (Math.abs(step) < 1e-15) break;
    }
    points.push(from + ((to - from) * (1 - x)) / 2);
    weights.push((to - from) / ((1 - x * x) * slope * slope));
  }
  return { points, weights };
}

/** Gaussian elimination with pivots. Both arguments are used up. */
function solve(matrix: number[][], right: number[]): number[] {
  const size = right.length;
  const at = (row: number, column: number) => matrix[row]?.[column] ?? Number.NaN;
  for (let column = 0; column < size; column += 1) {
    let best = column;
    for (let row = column + 1; row < size; row += 1)
      if (Math.abs(at(row, column)) > Math.abs(at(best, column))) best = row;
    [matrix[column], matrix[best]] = [matrix[best] ?? [], matrix[column] ?? []];
    [right[column], right[best]] = [right[best] ?? Number.NaN, right[column] ?? Number.NaN];
    const pivot = matrix[column] ?? [];
    for (let row = column + 1; row < size; row += 1) {
      const factor = at(row, column) / at(column, column);
      const line = matrix[row] ?? [];
      for (let k = column; k < size; k += 1) line[k] = (line[k] ?? Number.NaN) - factor * (pivot[k] ?? Number.NaN);
      right[row] = (right[row] ?? Number.NaN) - factor * (right[column] ?? Number.NaN);
    }
  }
  const found = new Array<number>(size).fill(0);
  for (let row = size - 1; row >= 0; row -= 1) {
    let rest = right[row] ?? Number.NaN;
    for (let column = row + 1; column < size; column += 1) rest -= at(row, column) * (found[column] ?? 0);
    found[row] = rest / at(row, row);
  }
  return found;
}

// --- rates and shares ----------------------------------------------------------------------------------------------------

/**
 * Exact limits of a Poisson mean of which `count` was seen (Garwood 1936): the means under which so many or more, and so many or
 * fewer, have the probability (1 - sure) / 2. Solved by bisection, since that is the definition.
 */
export function poissonLimits(count: number, sure = 0.95): { readonly low: number; readonly high: number } {
  const tail = (1 - sure) / 2;
  const most = count + 10 * Math.sqrt(count + 1) + 20;
  const low = count === 0 ? 0 : bisect((mean) => 1 - poissonAtMost(count - 1, mean) - tail, 0, most);
  const high = bisect((mean) => tail - poissonAtMost(count, mean), 0, most);
  return { low, high };
}

/**
 * Summed from the likeliest count outwards, each term as a share of that one: from zero upwards it would begin at exp(-mean),
 * which is 0 for a thousand.
 */
export function poissonAtMost(count: number, mean: number): number {
  if (mean <= 0) return 1;
  const likeliest = Math.min(count, Math.floor(mean));
  let logTerm = -mean;
  for (let k = 1; k <= likeliest; k += 1) logTerm += Math.log(mean / k);
  let sum = 1;
  for (let k = likeliest, share = 1; k > 0 && share > 1e-18; k -= 1) {
    share *= k / mean;
    sum += share;
  }
  for (let k = likeliest + 1, share = 1; k <= count && share > 1e-18; k += 1) {
    share *= mean / k;
    sum += share;
  }
  return Math.min(1, Math.exp(logTerm + Math.log(sum)));
}

function bisect(rising: (x: number) => number, from: number, to: number): number {
  let [low, high] = [from, to];
  for (let step = 0; step < 200 && high - low > 1e-12 * Math.max(1, high); step += 1) {
    const middle = (low + high) / 2;
    if (rising(middle) < 0) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/** Limits of a share by Wilson 1927, 95 %. */
export function proportionLimits(hits: number, of: number): { readonly low: number; readonly high: number } {
  if (of === 0) return { low: 0, high: 1 };
  const z = 1.959964;
  const share = hits / of;
  const middle = (share + (z * z) / (2 * of)) / (1 + (z * z) / of);
  const reach = (z / (1 + (z * z) / of)) * Math.sqrt((share * (1 - share)) / of + (z * z) / (4 * of * of));
  return { low: Math.max(0, middle - reach), high: Math.min(1, middle + reach) };
}

/** The value below which `share` of them lie; NaN of none. */
export function quantile(values: readonly number[], share: number): number {
  if (values.length === 0) return Number.NaN;
  const sorted = [...values].sort((a, b) => a - b);
  const place = share * (sorted.length - 1);
  const [below, above] = [sorted[Math.floor(place)] ?? Number.NaN, sorted[Math.ceil(place)] ?? Number.NaN];
  return below + (above - below) * (place - Math.floor(place));
}

export const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;
