import { student975 } from "../intervals.ts";

/**
 * Generalized linear models by iteratively reweighted least squares (McCullagh & Nelder 1989, 2.5): counts over an exposure with a logarithmic
 * link, and successes of trials with a logit link. Birds vary more from day to day than these laws have it, so the covariance is multiplied by
 * Pearson's dispersion where that exceeds 1 (quasi-likelihood, the same book, 4.5 and 6.2).
 */
export interface RegressionRow {
  readonly x: readonly number[]; // with the 1 of the intercept
  readonly y: number; // count, or successes
  readonly size: number; // exposure, or trials; above 0
}

export interface Regression {
  readonly coefficients: readonly number[];
  /** Of the coefficients, with the dispersion. */
  readonly covariance: readonly (readonly number[])[];
  readonly dispersion: number; // at least 1
  readonly freedom: number;
}

export type Family = "counts" | "shares";

/**
 * @param penalty on the square of each coefficient but the first: 1 / its variance before anything was seen. A little of it keeps what the rows
 *   can't tell apart near zero.
 * @returns null where there are no more rows than coefficients, or the rows leave one of them open
 */
export function fitRegression(family: Family, rows: readonly RegressionRow[], penalty = 0): Regression | null {
  const size = rows[0]?.x.length ?? 0;
  if (size === 0 || rows.length <= size) return null;
  let coefficients = startAt(family, rows, size);
  for (let round = 0; round < roundsMax; round += 1) {
    const { gradient, information } = score(family, rows, coefficients, penalty);
    const inverse = inverseOf(information);
    if (inverse === null) return null;
    const step = inverse.map((row) => bounded(dot(row, gradient)));
    coefficients = coefficients.map((value, k) => value + (step[k] ?? 0));
    if (Math.max(...step.map(Math.abs)) < 1e-10) break;
  }
  const { information } = score(family, rows, coefficients, penalty);
  const inverse = inverseOf(information);
  if (inverse === null) return null;
  const freedom = rows.length - size;
  const dispersion = Math.max(1, pearson(family, rows, coefficients) / freedom);
  return {
    coefficients,
    covariance: inverse.map((row) => row.map((value) => value * dispersion)),
    dispersion,
    freedom,
  };
}

/** Value and variance of the linear predictor at x. */
export const predictLinear = ({ coefficients, covariance }: Regression, x: readonly number[]) => ({
  value: dot(coefficients, x),
  variance: dot(
    covariance.map((row) => dot(row, x)),
    x,
  ),
});

/** By how much a step of 1 in that column multiplies the rate of a regression of counts, with its 95 % limits: Student's, since the dispersion is estimated. */
export function rateRatio({ coefficients, covariance, freedom }: Regression, column: number) {
  const change = coefficients[column] ?? 0;
  const reach = student975(freedom) * Math.sqrt(covariance[column]?.[column] ?? 0);
  return { ratio: Math.exp(change), limits: { low: Math.exp(change - reach), high: Math.exp(change + reach) } };
}

const roundsMax = 50;
const bounded = (step: number): number => Math.max(-5, Math.min(5, step));

function startAt(family: Family, rows: readonly RegressionRow[], size: number): readonly number[] {
  const y = rows.reduce((sum, row) => sum + row.y, 0) + 0.5;
  const of = rows.reduce((sum, row) => sum + row.size, 0) + 1;
  const first = family === "counts" ? Math.log(y / of) : Math.log(y / Math.max(0.5, of - y));
  return Array.from({ length: size }, (_, k) => (k === 0 ? first : 0));
}

/** Mean and variance of y at x. */
function momentsOf(family: Family, { x, size }: RegressionRow, coefficients: readonly number[]) {
  const linear = Math.max(-30, Math.min(30, dot(x, coefficients)));
  if (family === "counts") {
    const mean = size * Math.exp(linear);
    return { mean, variance: mean };
  }
  const share = 1 / (1 + Math.exp(-linear));
  return { mean: size * share, variance: size * share * (1 - share) };
}

function score(family: Family, rows: readonly RegressionRow[], coefficients: readonly number[], penalty: number) {
  const penaltyOf = (k: number) => (k === 0 ? 0 : penalty);
  const gradient = coefficients.map((value, k) => -penaltyOf(k) * value);
  const information = coefficients.map((_, k) => coefficients.map((__, l) => (k === l ? penaltyOf(k) : 0)));
  for (const row of rows) {
    const { mean, variance } = momentsOf(family, row, coefficients);
    for (const [k, x] of row.x.entries()) {
      gradient[k] = (gradient[k] ?? 0) + x * (row.y - mean);
      const line = information[k] as number[];
      for (const [l, other] of row.x.entries()) line[l] = (line[l] ?? 0) + x * other * variance;
    }
  }
  return { gradient, information };
}

const pearson = (family: Family, rows: readonly RegressionRow[], coefficients: readonly number[]): number =>
  rows.reduce((sum, row) => {
    const { mean, variance } = momentsOf(family, row, coefficients);
    return sum + (row.y - mean) ** 2 / Math.max(1e-9, variance);
  }, 0);

const dot = (a: readonly number[], b: readonly number[]): number =>
  a.reduce((sum, value, k) => sum + value * (b[k] ?? 0), 0);

/** By Gauss and Jordan, with the largest pivot; null where there is none. */
function inverseOf(matrix: readonly (readonly number[])[]): number[][] | null {
  const size = matrix.length;
  const rows = matrix.map((row, k) => [...row, ...row.map((_, l) => (k === l ? 1 : 0))]);
  const scale = Math.max(...matrix.map((row, k) => Math.abs(row[k] ?? 0)));
  for (let column = 0; column < size; column += 1) {
    const pivotRow = rows.slice(column).sort((a, b) => Math.abs(b[column] ?? 0) - Math.abs(a[column] ?? 0))[0];
    const pivot = pivotRow?.[column] ?? 0;
    if (pivotRow === undefined || Math.abs(pivot) <= 1e-12 * scale) return null;
    rows.splice(rows.indexOf(pivotRow), 1);
    const normalized = pivotRow.map((value) => value / pivot);
    rows.splice(column, 0, normalized);
    for (const [k, row] of rows.entries()) {
      const factor = row[column] ?? 0;
      if (k !== column && factor !== 0) rows[k] = row.map((value, l) => value - factor * (normalized[l] ?? 0));
    }
  }
  return rows.map((row) => row.slice(size));
}
