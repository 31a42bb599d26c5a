import { describe, expect, it } from "vitest";
import {
  meanLimits,
  poissonLimits,
  quantile,
  ruleOfThree,
  shareAtMost,
  shareLimits,
  student975,
} from "../../server/domain/intervals.ts";

describe("the limits of a share", () => {
  // Check value ci-binomial (Wilson 1927; computed with scipy).
  it.each([
    [18, 20, 0.698966, 0.972134],
    [19, 20, 0.763869, 0.991119],
    [54, 60, 0.798505, 0.953357],
    [60, 60, 0.939828, 1],
  ])("are Wilson's: %d of %d", (hits, of, low, high) => {
    expect(shareLimits(hits, of).low).toBeCloseTo(low, 5);
    expect(shareLimits(hits, of).high).toBeCloseTo(high, 5);
  });

  it("say nothing where nothing was seen", () => {
    expect(shareLimits(0, 0)).toEqual({ low: 0, high: 1 });
    expect(shareAtMost(0, 0)).toBe(1);
  });

  it("are three by n where none was seen (Hanley & Lippman-Hand 1983: none in 14 may be 21 %, from memory)", () => {
    expect(ruleOfThree(14)).toBeCloseTo(0.214, 3);
    // The exact limit is 1 − 0.05^(1/n): the rule is above it, and by less than a tenth from thirty on.
    for (const of of [10, 30, 60, 100]) {
      const exact = 1 - 0.05 ** (1 / of);
      expect(ruleOfThree(of)).toBeGreaterThan(exact);
      if (of >= 30) expect(ruleOfThree(of)).toBeLessThan(1.1 * exact);
    }
    expect(shareAtMost(0, 60)).toBe(0.05);
    expect(ruleOfThree(2)).toBe(1);
  });

  it("are Wilson's as soon as one was seen", () => {
    expect(shareAtMost(6, 60)).toBeCloseTo(1 - 0.798505, 5); // the mirror image of 54 in 60
  });
});

describe("the limits of a rate", () => {
  it("are Garwood's (check value poisson-garwood)", () => {
    expect(poissonLimits(0).high).toBeCloseTo(3.68888, 5);
    expect(poissonLimits(5).low).toBeCloseTo(1.62349, 5);
    expect(poissonLimits(5).high).toBeCloseTo(11.66833, 5);
  });
});

describe("the limits of a mean", () => {
  // NIST/SEMATECH e-Handbook 1.3.6.7.2, upper critical values of Student's t at 0.975 (from memory).
  it.each([
    [1, 12.706],
    [2, 4.303],
    [3, 3.182],
    [5, 2.571],
    [9, 2.262],
    [10, 2.228],
    [30, 2.042],
    [60, 2.0],
    [99, 1.984],
  ])("use Student's t with %d degrees of freedom", (freedom, value) => {
    expect(student975(freedom)).toBeCloseTo(value, 3);
  });

  it("are those of the usual t interval where each drop is one portion", () => {
    // 1 to 5: mean 3, s = 1.5811, t = 2.7764, so ± 1.9632 (by hand).
    const result = meanLimits([1, 2, 3, 4, 5].map((sum) => ({ sum, count: 1 })));
    expect(result?.mean).toBe(3);
    expect(result?.deviation).toBeCloseTo(1.58114, 5);
    expect(result?.limits.low).toBeCloseTo(3 - 1.96324, 4);
  });

  it("count several portions between two weighings as so many", () => {
    const drops = [
      { sum: 2, count: 1 },
      { sum: 4.4, count: 2 },
      { sum: 1.6, count: 1 },
    ];
    const result = meanLimits(drops);
    expect(result?.mean).toBeCloseTo(2, 9);
    expect(result?.deviation).toBeCloseTo(Math.sqrt((0 + 0.16 / 2 + 0.16) / 2), 9);
    expect(meanLimits(drops.slice(0, 1))).toBeNull();
  });
});

describe("a quantile", () => {
  it("lies between two values in proportion (Hyndman & Fan 1996, type 7)", () => {
    expect(quantile([4, 1, 3, 2], 0.5)).toBe(2.5);
    expect(quantile([1, 2, 3, 4, 5], 0.95)).toBeCloseTo(4.8, 9);
    expect(quantile([], 0.5)).toBeNaN();
  });
});
