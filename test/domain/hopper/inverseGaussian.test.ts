import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { firstPassageProbability, firstPassageQuantile } from "../../../server/domain/hopper/inverseGaussian.ts";

const first = { distance: 600, drift: 40, spread: 25 };
const second = { distance: 200, drift: 50, spread: 40 };

describe("the time to empty", () => {
  it("has the quantiles of the inverse Gaussian (checks ig-1 and ig-2: Tweedie 1957, Chhikara & Folks 1989; computed with scipy)", () => {
    const quantiles = { 0.05: 11.375603, 0.1: 12.054672, 0.5: 14.807599, 0.9: 18.19247, 0.95: 19.28068 };
    for (const [chance, days] of Object.entries(quantiles)) {
      expect(firstPassageQuantile(first, Number(chance))).toBeCloseTo(days, 5);
    }
    expect(firstPassageQuantile(second, 0.05)).toBeCloseTo(1.973684, 5);
    expect(firstPassageQuantile(second, 0.5)).toBeCloseTo(3.706797, 5);
    expect(firstPassageQuantile(second, 0.95)).toBeCloseTo(7.026014, 5);
    expect(firstPassageProbability(second, 3)).toBeCloseTo(0.2939597, 5);
  });

  it("keeps the far tail that 1/2·(1 + erf) loses (check ig-trap-erf-tail: 0.0829283 and 0.3344646 would be wrong)", () => {
    expect(firstPassageProbability(first, 12)).toBeCloseTo(0.0950999, 6);
    expect(firstPassageProbability(first, 14)).toBeCloseTo(0.3636369, 6);
  });

  it("doesn't overflow where birds eat as evenly as a clock", () => {
    expect(firstPassageProbability({ distance: 600, drift: 40, spread: 0.01 }, 14.9)).toBe(0);
    expect(firstPassageProbability({ distance: 600, drift: 40, spread: 0.01 }, 15.1)).toBe(1);
  });

  it("never falls as time goes on, and its quantile is its inverse (property)", () => {
    const positive = (min: number, max: number) => fc.double({ min, max, noNaN: true });
    fc.assert(
      fc.property(
        positive(1, 5_000),
        positive(0.1, 500),
        positive(0.1, 500),
        positive(0.01, 0.99),
        (distance, drift, spread, chance) => {
          const passage = { distance, drift, spread };
          const days = firstPassageQuantile(passage, chance);
          expect(firstPassageProbability(passage, days)).toBeCloseTo(chance, 3);
          expect(firstPassageProbability(passage, days * 1.01)).toBeGreaterThanOrEqual(
            firstPassageProbability(passage, days),
          );
        },
      ),
    );
  });
});
