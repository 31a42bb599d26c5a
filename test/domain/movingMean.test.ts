import { describe, expect, it } from "vitest";
import { movingMean } from "../../server/domain/movingMean.ts";

describe("a moving mean", () => {
  it("goes through the handbook's column (check value nist-ewma: NIST/SEMATECH e-Handbook 6.3.2.4, quoted)", () => {
    const data = [
      52, 47, 53, 49.3, 50.1, 47, 51, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
    ];
    const printed = [
      50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
      50.73, 51.23, 51.94, 51.99,
    ];
    let mean = 50;
    data.forEach((value, index) => {
      mean = movingMean(mean, value, 0.3);
      expect(Math.abs(mean - (printed[index] ?? Number.NaN))).toBeLessThan(0.0051); // the column is printed to 0.01
    });
  });

  it("scatters as the handbook's limits say: s·√(λ/(2-λ)·(1-(1-λ)^2i)) (check value ewma-limits-tv)", () => {
    const [weight, deviation] = [0.3, 2.0539];
    // The mean of i independent values is a sum with these weights: put a one in each place and add the squares.
    for (const [steps, upper] of [
      [1, 51.8485],
      [2, 52.2564],
      [5, 52.5516],
    ] as const) {
      let squares = 0;
      for (let place = 0; place < steps; place += 1) {
        let mean = 0;
        for (let step = 0; step < steps; step += 1) mean = movingMean(mean, step === place ? 1 : 0, weight);
        squares += mean * mean;
      }
      expect(50 + 3 * deviation * Math.sqrt(squares)).toBeCloseTo(upper, 4);
    }
  });
});
