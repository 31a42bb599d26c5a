import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  addVariance,
  type Covariance,
  clampLidLoad,
  expectedReading,
  expectedReadingVariance,
  type LevelEstimate,
  levelPortionCovariance,
  levelVariance,
  lidLoadVariance,
  offsetVariance,
  portionVariance,
  predictByPortion,
  predictByTime,
  resetLevel,
  resetPortion,
  slopeVariance,
  truncateAbove,
  truncateBelow,
  updateByMeasurement,
  updateByOffset,
  updateByReading,
} from "../../../server/domain/hopper/levelFilter.ts";

/**
 * The level filter keeps one triangle and writes every product out. Here is the same filter in plain matrices, from the textbook
 * equations (Welch & Bishop, An Introduction to the Kalman Filter, TR 95-041, equations 1.9 to 1.13), on random estimates:
 *   x⁻ = A x + u,   P⁻ = A P Aᵀ + Q
 *   K = P⁻ Hᵀ (H P⁻ Hᵀ + R)⁻¹,   x = x⁻ + K (z − H x⁻),   P = (I − K H) P⁻
 */
type Matrix = readonly (readonly number[])[];
interface Plain {
  readonly x: readonly number[];
  readonly P: Matrix;
}

const [level, portion, slope, offset, wander, lid] = [0, 1, 2, 3, 4, 5];
const things = [level, portion, slope, offset, wander, lid];
const at = (row: readonly number[], column: number): number => row[column] as number;
const cell = (matrix: Matrix, row: number, column: number): number => at(matrix[row] as readonly number[], column);
const matrix = (of: (row: number, column: number) => number): Matrix => things.map((i) => things.map((j) => of(i, j)));
const sum = (values: readonly number[]): number => values.reduce((total, value) => total + value, 0);
const times = (a: Matrix, b: Matrix): Matrix => matrix((i, j) => sum(things.map((k) => cell(a, i, k) * cell(b, k, j))));
const transposed = (a: Matrix): Matrix => matrix((i, j) => cell(a, j, i));
const plus = (a: Matrix, b: Matrix): Matrix => matrix((i, j) => cell(a, i, j) + cell(b, i, j));
const diagonal = (...values: readonly number[]): Matrix => matrix((i, j) => (i === j ? at(values, i) : 0));
const applied = (a: Matrix, x: readonly number[]): number[] =>
  a.map((row) => sum(things.map((k) => at(row, k) * at(x, k))));

function predicted({ x, P }: Plain, A: Matrix, Q: Matrix, u: readonly number[] = [0, 0, 0, 0, 0, 0]): Plain {
  return { x: applied(A, x).map((value, i) => value + at(u, i)), P: plus(times(times(A, P), transposed(A)), Q) };
}

function measured({ x, P }: Plain, H: readonly number[], z: number, R: number): Plain {
  const PH = applied(P, H);
  const S = sum(things.map((i) => at(H, i) * at(PH, i))) + R;
  const K = PH.map((value) => value / S);
  const innovation = z - sum(things.map((i) => at(H, i) * at(x, i)));
  const IKH = matrix((i, j) => (i === j ? 1 : 0) - at(K, i) * at(H, j));
  return { x: x.map((value, i) => value + at(K, i) * innovation), P: times(IKH, P) };
}

const plainOf = (estimate: LevelEstimate): Plain => ({
  x: [estimate.level, estimate.portion, estimate.slope, estimate.offset, estimate.zeroDrift, estimate.lidLoad],
  P: matrix((i, j) => estimate.covariance[placeOf(i, j)] as number),
});
const placeOf = (i: number, j: number): number => (i >= j ? (i * (i + 1)) / 2 + j : placeOf(j, i));

function beliefOf({ x, P }: Plain): LevelEstimate {
  const covariance = things.flatMap((i) => things.slice(0, i + 1).map((j) => cell(P, i, j)));
  return {
    ...{ level: at(x, level), portion: at(x, portion), slope: at(x, slope) },
    ...{ offset: at(x, offset), zeroDrift: at(x, wander), lidLoad: at(x, lid) },
    covariance: covariance as unknown as Covariance,
  };
}

/** Both say the same, as far as numbers of this size can. */
function expectSame(estimate: LevelEstimate, plain: Plain): void {
  const entered = plainOf(estimate);
  for (const i of things) {
    expect(at(entered.x, i), `mean ${i}`).toBeCloseTo(at(plain.x, i), 6);
    for (const j of things) expect(cell(entered.P, i, j), `covariance ${i} ${j}`).toBeCloseTo(cell(plain.P, i, j), 6);
  }
}

/** Even between the two: `fc.double` draws by exponent, and covariances of 1e-80 would show no wrong sign. */
const number = (min: number, max: number) =>
  fc.noBias(fc.integer({ min: 0, max: 1_000_000 })).map((n) => min + ((max - min) * n) / 1_000_000);
/** Any covariance is some L Lᵀ; a little on the diagonal keeps it from having no doubt at all. */
const estimates: fc.Arbitrary<LevelEstimate> = fc
  .tuple(
    fc.array(number(-10, 10), { minLength: 6, maxLength: 6 }),
    fc.array(number(-3, 3), { minLength: 36, maxLength: 36 }),
  )
  .map(([x, cells]) => {
    const L = matrix((i, j) => at(cells, 6 * i + j));
    return beliefOf({ x, P: plus(times(L, transposed(L)), diagonal(1, 1, 1, 1, 1, 1)) });
  });
const always = <Drawn>(property: fc.IProperty<Drawn>) => fc.assert(property, { numRuns: 50 });
const variance = number(0.1, 20);
const identity = diagonal(1, 1, 1, 1, 1, 1);

describe("the level filter, beside plain matrices", () => {
  it("takes a portion from the level, with its spread and the mean portion's wander", () => {
    always(
      fc.property(estimates, variance, variance, (estimate, spread, wanders) => {
        const A = matrix((i, j) => (i === j ? 1 : i === level && j === portion ? -1 : 0));
        const plain = predicted(plainOf(estimate), A, diagonal(spread, wanders, 0, 0, 0, 0));
        expectSame(predictByPortion(estimate, spread, wanders), plain);
      }),
    );
  });

  it("lets the wandering zero and the lid fade with time", () => {
    always(
      fc.property(estimates, number(0.1, 1), number(0.1, 1), variance, number(-5, 5), (estimate, w, l, q, fell) => {
        const passing = {
          ...{ levelDrop: fell, levelVariance: q, zeroDriftKept: w, zeroDriftVariance: 2 * q },
          ...{ lidLoadKept: l, lidLoadVariance: 3 * q },
        };
        const Q = diagonal(q, 0, 0, 0, 2 * q, 3 * q);
        const plain = predicted(plainOf(estimate), diagonal(1, 1, 1, 1, w, l), Q, [-fell, 0, 0, 0, 0, 0]);
        expectSame(predictByTime(estimate, passing), plain);
      }),
    );
  });

  it("corrects all six things by the scale's weights, at any temperature", () => {
    always(
      fc.property(estimates, number(-20, 20), number(-30, 30), variance, (estimate, z, warmer, noise) => {
        const H = [1, 0, warmer, 1, 1, 1];
        const { x, P } = plainOf(estimate);
        expect(expectedReading(estimate, warmer)).toBeCloseTo(sum(things.map((i) => at(H, i) * at(x, i))), 8);
        const spread = sum(applied(P, H).map((value, i) => at(H, i) * value));
        expect(expectedReadingVariance(estimate, warmer)).toBeCloseTo(spread, 6);
        expectSame(updateByReading(estimate, z, warmer, noise), measured({ x, P }, H, z, noise));
      }),
    );
  });

  it("corrects them by a level that somebody saw, and by what is known of the zero", () => {
    always(
      fc.property(estimates, number(-20, 20), variance, (estimate, z, noise) => {
        expectSame(updateByMeasurement(estimate, z, noise), measured(plainOf(estimate), [1, 0, 0, 0, 0, 0], z, noise));
        expectSame(updateByOffset(estimate, noise), measured(plainOf(estimate), [0, 0, 0, 1, 0, 0], 0, noise));
      }),
    );
  });

  it("takes a lid below nothing for a lid seen to be bare, so that 0.36 of its variance is left", () => {
    always(
      fc.property(estimates, number(0.01, 10), (drawn, below) => {
        const estimate = { ...drawn, lidLoad: -below };
        const before = lidLoadVariance(estimate);
        const noise = (before * 0.36 * before) / (before - 0.36 * before); // leaves 0.36 of the variance
        const H = [0, 0, 0, 0, 0, 1];
        // Seen where it must be seen for the estimate to come to nothing.
        const z = estimate.lidLoad - (estimate.lidLoad * (before + noise)) / before;
        const bare = clampLidLoad(estimate);
        expectSame(bare, measured(plainOf(estimate), H, z, noise));
        expect(bare.lidLoad).toBeCloseTo(0, 8);
        expect(lidLoadVariance(bare)).toBeCloseTo(0.36 * before, 6);
        const laden = { ...drawn, lidLoad: below };
        expect(clampLidLoad(laden)).toBe(laden);
      }),
    );
  });

  it("adds a doubt to what it is of, and to nothing else", () => {
    always(
      fc.property(estimates, variance, (estimate, more) => {
        const Q = diagonal(more, 2 * more, 0, 0, 3 * more, 4 * more);
        const doubts = { level: more, portion: 2 * more, zeroDrift: 3 * more, lidLoad: 4 * more };
        expectSame(addVariance(estimate, doubts), predicted(plainOf(estimate), identity, Q));
        expect(addVariance(estimate, {})).toEqual(estimate);
      }),
    );
  });

  it("makes what is entered again independent of all else, which keeps its variance", () => {
    const without = (P: Matrix, thing: number, own: number) =>
      matrix((i, j) => (i === thing && j === thing ? own : i === thing || j === thing ? 0 : cell(P, i, j)));
    always(
      fc.property(estimates, number(0, 900), variance, (estimate, entered, own) => {
        const { x, P } = plainOf(estimate);
        const withOne = (thing: number) => x.map((value, i) => (i === thing ? entered : value));
        expectSame(resetLevel(estimate, entered, own), { x: withOne(level), P: without(P, level, own) });
        expectSame(resetPortion(estimate, entered, own), { x: withOne(portion), P: without(P, portion, own) });
      }),
    );
  });

  it("names the variances and the one covariance that others ask for", () => {
    always(
      fc.property(estimates, (estimate) => {
        const { P } = plainOf(estimate);
        expect([levelVariance(estimate), portionVariance(estimate), slopeVariance(estimate)]).toEqual(
          [level, portion, slope].map((i) => cell(P, i, i)),
        );
        expect([offsetVariance(estimate), lidLoadVariance(estimate)]).toEqual([offset, lid].map((i) => cell(P, i, i)));
        expect(levelPortionCovariance(estimate)).toBe(cell(P, level, portion));
      }),
    );
  });

  it("cuts the level off at what is certain, as by adding up the normal distribution beyond it", () => {
    always(
      fc.property(estimates, number(-2, 2), (estimate, deviations) => {
        const deviation = Math.sqrt(levelVariance(estimate));
        const bound = estimate.level + deviations * deviation;
        for (const above of [true, false]) {
          const cut = above ? truncateBelow(estimate, bound) : truncateAbove(estimate, bound);
          const steps = Array.from({ length: 16_001 }, (_, n) => estimate.level + ((n - 8_000) / 1_000) * deviation);
          const left = steps.filter((value) => (above ? value >= bound : value <= bound));
          const weights = left.map((value) => Math.exp(-0.5 * ((value - estimate.level) / deviation) ** 2));
          const mean = sum(left.map((value, n) => value * at(weights, n))) / sum(weights);
          const spread = sum(left.map((value, n) => (value - mean) ** 2 * at(weights, n))) / sum(weights);
          expect(cut.level).toBeGreaterThan(mean - 0.01 * deviation);
          expect(cut.level).toBeLessThan(mean + 0.01 * deviation);
          // Never less than a hundredth of the variance is left, nor all of it.
          expect(levelVariance(cut) / levelVariance(estimate)).toBeCloseTo(spread / levelVariance(estimate), 2);
        }
      }),
    );
  });
});
