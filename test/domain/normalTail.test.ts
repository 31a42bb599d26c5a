import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { logNormalTail } from "../../server/domain/normalTail.ts";

describe("the normal tail in logarithms", () => {
  it("is known far out (phi-normal checks: −log10 of the tail at 0, 1, 4 and 10 sd; computed with scipy)", () => {
    const decades = (x: number) => -logNormalTail(x) / Math.LN10;
    expect(decades(0)).toBeCloseTo(0.30103, 5);
    expect(decades(1)).toBeCloseTo(0.799546, 5);
    expect(decades(4)).toBeCloseTo(4.499335, 5);
    expect(decades(10)).toBeCloseTo(23.118053, 5);
    expect(logNormalTail(3 - 1e-9)).toBeCloseTo(logNormalTail(3 + 1e-9), 7); // where the two formulas meet
    expect(logNormalTail(-40)).toBeCloseTo(0, 12);
  });

  it("never becomes infinite, however long the silence", () => {
    fc.assert(fc.property(fc.double({ min: -40, max: 1e6, noNaN: true }), (z) => Number.isFinite(logNormalTail(z))));
  });

  it("falls steadily, also where the series hands over to the fraction", () => {
    for (let z = -8; z < 12; z += 0.01) expect(logNormalTail(z + 0.01)).toBeLessThan(logNormalTail(z) + 1e-15);
    expect(Math.abs(logNormalTail(3 - 1e-12) - logNormalTail(3))).toBeLessThan(1e-10);
  });
});
