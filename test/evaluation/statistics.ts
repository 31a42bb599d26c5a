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

// --- rates and shares: the server's own functions, with the names that the evaluations use --------------------------------

export {
  poissonAtMost,
  poissonLimits,
  quantile,
  shareLimits as proportionLimits,
} from "../../server/domain/intervals.ts";

export const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;
