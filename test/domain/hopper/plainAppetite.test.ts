import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  type DailyAppetite,
  eatenRelativeVariance,
  initialDailyAppetite,
  logRateAhead,
  startNextDay,
  updateByDay,
  updateByToday,
} from "../../../server/domain/hopper/dailyAppetite.ts";

/**
 * The appetite from day to day, beside the same Kalman filter in plain matrices (Welch & Bishop, TR 95-041, equations 1.9 to 1.13),
 * on random estimates: the state is (base, trend, dayEffect).
 */
type Row = readonly [number, number, number];
type Matrix = readonly [Row, Row, Row];
const [trendKept, effectKept] = [0.98, 0.55];

const row = (of: (column: number) => number): Row => [of(0), of(1), of(2)];
const matrix = (of: (row: number, column: number) => number): Matrix => [
  row((j) => of(0, j)),
  row((j) => of(1, j)),
  row((j) => of(2, j)),
];
const at = (values: Row, index: number): number => values[index] as number;
const cell = (m: Matrix, i: number, j: number): number => at(m[i] as Row, j);
const sum3 = (of: (index: number) => number): number => of(0) + of(1) + of(2);
const times = (a: Matrix, b: Matrix): Matrix => matrix((i, j) => sum3((k) => cell(a, i, k) * cell(b, k, j)));
const transposed = (a: Matrix): Matrix => matrix((i, j) => cell(a, j, i));

const meanOf = ({ base, trend, dayEffect }: DailyAppetite): Row => [base, trend, dayEffect];
const covarianceOf = ({ covariance: [bb, bt, tt, bm, tm, mm] }: DailyAppetite): Matrix => [
  [bb, bt, bm],
  [bt, tt, tm],
  [bm, tm, mm],
];

function expectSame(daily: DailyAppetite, x: Row, P: Matrix): void {
  for (const i of [0, 1, 2]) {
    expect(at(meanOf(daily), i), `mean ${i}`).toBeCloseTo(at(x, i), 9);
    for (const j of [0, 1, 2])
      expect(cell(covarianceOf(daily), i, j), `covariance ${i} ${j}`).toBeCloseTo(cell(P, i, j), 9);
  }
}

/** Even between the two: `fc.double` draws by exponent. */
const number = (min: number, max: number) =>
  fc.noBias(fc.integer({ min: 0, max: 1_000_000 })).map((n) => min + ((max - min) * n) / 1_000_000);
const estimates: fc.Arbitrary<DailyAppetite> = fc
  .record({
    mean: fc.tuple(number(3, 6), number(-0.1, 0.1), number(-0.5, 0.5)),
    cells: fc.array(number(-0.5, 0.5), { minLength: 9, maxLength: 9 }),
    dayEffectVariance: number(0.01, 0.3),
    overdispersion: number(1, 15),
    usualPortions: number(5, 80),
    daysLearnt: fc.integer({ min: 1, max: 60 }),
  })
  .map(({ mean: [base, trend, dayEffect], cells, ...rest }) => {
    const L = matrix((i, j) => cells[3 * i + j] as number);
    const P = times(L, transposed(L));
    const c = (i: number, j: number) => cell(P, i, j) + (i === j ? 0.02 : 0);
    return { base, trend, dayEffect, covariance: [c(0, 0), c(1, 0), c(1, 1), c(2, 0), c(2, 1), c(2, 2)], ...rest };
  });
const always = <Drawn>(property: fc.IProperty<Drawn>) => fc.assert(property, { numRuns: 60 });

/** Variance of ln(eaten) by chance alone, and by what the rest of the day may be like. */
const noise = ({ overdispersion, usualPortions }: DailyAppetite, portions: number, share: number) =>
  overdispersion / Math.max(portions, usualPortions * share, 2) + 0.3 * (1 - share) ** 2;
const residualOf = ({ base, dayEffect }: DailyAppetite, eaten: number) => {
  const expected = Math.exp(base + dayEffect);
  return Math.log((eaten + 0.05 * expected) / (1.05 * expected));
};
const totalOf = (daily: DailyAppetite, R: number) => {
  const P = covarianceOf(daily);
  return cell(P, 0, 0) + 2 * cell(P, 0, 2) + cell(P, 2, 2) + R;
};

function corrected(daily: DailyAppetite, residual: number, R: number): { readonly x: Row; readonly P: Matrix } {
  const P = covarianceOf(daily);
  const H: Row = [1, 0, 1];
  const PH = row((i) => sum3((j) => cell(P, i, j) * at(H, j)));
  const S = sum3((i) => at(H, i) * at(PH, i)) + R;
  const limited = Math.min(Math.max(residual, -3 * Math.sqrt(S)), 3 * Math.sqrt(S));
  return {
    x: row((i) => at(meanOf(daily), i) + (at(PH, i) * limited) / S),
    P: matrix((i, j) => cell(P, i, j) - (at(PH, i) * at(PH, j)) / S),
  };
}

describe("the appetite from day to day, beside plain matrices", () => {
  it("goes on by its trend, which fades, while half of the day's own effect is gone", () => {
    always(
      fc.property(estimates, (daily) => {
        const A: Matrix = [
          [1, 1, 0],
          [0, trendKept, 0],
          [0, 0, effectKept],
        ];
        const Q: Row = [0.03 ** 2, (1 - trendKept ** 2) * 0.014 ** 2, (1 - effectKept ** 2) * daily.dayEffectVariance];
        const P = times(times(A, covarianceOf(daily)), transposed(A));
        const x = row((i) => sum3((j) => cell(A, i, j) * at(meanOf(daily), j)));
        expectSame(
          startNextDay(daily),
          x,
          matrix((i, j) => cell(P, i, j) + (i === j ? at(Q, i) : 0)),
        );
      }),
    );
  });

  it("is corrected by what was eaten, as a logarithm, within three standard deviations", () => {
    let limited = 0;
    always(
      fc.property(
        estimates,
        number(0, 900),
        fc.integer({ min: 0, max: 90 }),
        number(0.1, 1),
        (daily, eaten, portions, share) => {
          const R = noise(daily, portions, share);
          const residual = residualOf(daily, eaten);
          if (Math.abs(residual) > 3 * Math.sqrt(totalOf(daily, R))) limited += 1;
          const { x, P } = corrected(daily, residual, R);
          expectSame(updateByToday(daily, eaten, { portions, observedShare: share }), x, P);
        },
      ),
    );
    expect(limited, "the property must reach the case it guards").toBeGreaterThan(0);
  });

  it("scatters more, or less, by one factor after a whole day (West & Harrison 1997, 4.5)", () => {
    always(
      fc.property(
        estimates,
        number(0, 900),
        fc.integer({ min: 1, max: 90 }),
        number(0.3, 1),
        (daily, eaten, portions, share) => {
          const R = noise(daily, portions, share);
          const residual = residualOf(daily, eaten);
          const surprise = Math.min(residual ** 2 / totalOf(daily, R), 6) - 1;
          const factor = Math.max(1 + surprise / (0.5 * daily.daysLearnt + 5), 0.5);
          const { x, P } = corrected(daily, residual, R);
          const scales: Row = [Math.sqrt(factor), 1, Math.sqrt(factor)];
          const updated = updateByDay(daily, eaten, { portions, observedShare: share });
          expectSame(
            updated,
            x,
            matrix((i, j) => at(scales, i) * at(scales, j) * cell(P, i, j)),
          );
          expect(updated.dayEffectVariance).toBeCloseTo(
            Math.min(Math.max(factor * daily.dayEffectVariance, 0.01), 0.3),
            12,
          );
          expect(updated.overdispersion).toBeCloseTo(Math.min(Math.max(factor * daily.overdispersion, 1), 15), 12);
          const gain = 1 / Math.min(daily.daysLearnt + 1, 5);
          expect(updated.usualPortions).toBeCloseTo(
            daily.usualPortions + gain * (portions / share - daily.usualPortions),
            9,
          );
          expect(updated.daysLearnt).toBe(Math.min(daily.daysLearnt + 1, 60));
        },
      ),
    );
  });

  it("begins at what was eaten on the first day, of whose own effect nothing is known", () => {
    const first = initialDailyAppetite(200, { portions: 40, observedShare: 0.8 });
    expect(first).toMatchObject({
      base: Math.log(200),
      trend: 0,
      dayEffect: 0,
      usualPortions: 50,
      daysLearnt: 1,
      overdispersion: 5,
    });
    const scatter = 5 / 40 + 0.3 * 0.2 ** 2;
    expect(first.covariance.map((value) => Math.round(1e9 * value))).toEqual(
      [0.12 + scatter, 0, 0.014 ** 2, -0.12, 0, 0.12].map((value) => Math.round(1e9 * value)),
    );
  });

  it("counts a day without a bird as bad, not as infinitely bad", () => {
    const daily = initialDailyAppetite(200, { portions: 40, observedShare: 1 });
    const after = updateByToday(daily, 0, { portions: 0, observedShare: 1 });
    expect(after.base).toBeGreaterThan(Math.log(200) - 3);
    expect(updateByToday(daily, -50, { portions: 0, observedShare: 1 })).toEqual(after);
  });

  it("is as many days ahead what it becomes by passing them", () => {
    always(
      fc.property(estimates, fc.integer({ min: 0, max: 20 }), (daily, ahead) => {
        let later = daily;
        for (let day = 0; day < ahead; day += 1) later = startNextDay(later);
        expect(logRateAhead(daily, ahead)).toBeCloseTo(later.base + later.dayEffect, 9);
      }),
    );
  });

  /** Exactly: half of today, the days after it, half of the last; each day's new effect and drift reaches all days after it. */
  function exactVariance({ covariance: [bb, bt, tt, bm, tm, mm], dayEffectVariance }: DailyAppetite, days: number) {
    const weights = Array.from({ length: days + 1 }, (_, k) => (k === 0 || k === days ? 0.5 : 1) / days);
    const mean = (of: (k: number) => number, from = 0) =>
      weights.reduce((sum, weight, k) => (k < from ? sum : sum + weight * of(k)), 0);
    const trend = mean((k) => (1 - trendKept ** k) / (1 - trendKept));
    const effect = mean((k) => effectKept ** k);
    let variance = bb + trend ** 2 * tt + effect ** 2 * mm + 2 * (trend * bt + effect * bm + trend * effect * tm);
    for (let born = 1; born <= days; born += 1) {
      variance += mean((k) => effectKept ** (k - born), born) ** 2 * (1 - effectKept ** 2) * dayEffectVariance;
      variance += mean(() => 1, born) ** 2 * 0.03 ** 2;
    }
    return variance;
  }
  const withCovariance = (...covariance: DailyAppetite["covariance"]): DailyAppetite => ({
    ...initialDailyAppetite(200, { portions: 40, observedShare: 1 }),
    covariance,
  });

  it("has a variance of what is eaten in n days that is that of their sum, or a little more", () => {
    const daily = withCovariance(0.02, 0, 0.014 ** 2, 0, 0, 0.05);
    for (const days of [1, 2, 3, 5, 10, 20]) {
      const ratio = eatenRelativeVariance(daily, days) / exactVariance(daily, days);
      expect(ratio, `${days} days`).toBeGreaterThan(1);
      expect(ratio, `${days} days`).toBeLessThan(days === 1 ? 1.37 : 1.2);
    }
  });

  it("has that of the days to come alone where today's estimate is certain", () => {
    for (const days of [2, 5, 10, 20]) {
      const certain = withCovariance(0, 0, 0, 0, 0, 0);
      expect(Math.abs(eatenRelativeVariance(certain, days) / exactVariance(certain, days) - 1)).toBeLessThan(0.1);
    }
  });

  it("has that of today's estimate with its covariances: a flock that was overrated together with its trend, and against the day's effect", () => {
    const added = (daily: DailyAppetite, days: number) =>
      eatenRelativeVariance(daily, days) - eatenRelativeVariance(withCovariance(0, 0, 0, 0, 0, 0), days);
    const exact = (daily: DailyAppetite, days: number) =>
      exactVariance(daily, days) - exactVariance(withCovariance(0, 0, 0, 0, 0, 0), days);
    for (const daily of [
      withCovariance(0.04, 0.002, 0.0002, 0, 0, 0.01),
      withCovariance(0.04, -0.002, 0.0002, 0, 0, 0.01),
      withCovariance(0.04, 0, 0.0002, -0.015, 0, 0.04),
      withCovariance(0.04, 0, 0.0002, 0, 0.001, 0.04),
    ])
      for (const days of [5, 10]) expect(Math.abs(added(daily, days) / exact(daily, days) - 1)).toBeLessThan(0.15);
  });
});
