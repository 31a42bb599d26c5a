import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { roundNumber, roundNumbers } from "../../server/domain/rounding.ts";

describe("a rounded number", () => {
  it("has as many digits as its decimal text would have", () => {
    fc.assert(
      fc.property(fc.double({ min: -1e6, max: 1e6, noNaN: true }), (value) => {
        fc.pre(Math.abs(value) > 1e-12);
        expect(Math.abs(roundNumber(value, 7) - value)).toBeLessThanOrEqual(0.5000001e-6 * Math.abs(value));
        expect(
          JSON.stringify(roundNumber(value, 7))
            .replace(/e.*|^-|\./g, "")
            .replace(/^0+/, "").length,
        ).toBeLessThanOrEqual(7);
        expect(roundNumber(roundNumber(value, 9), 9)).toBe(roundNumber(value, 9));
      }),
    );
  });

  it.each([
    [1 / 3, 0.3333333],
    [-2809.225355615202, -2809.225],
    [6.709769432607569e-7, 6.709769e-7],
    [14_319_567.36, 14_319_567], // the digits before the point stay
    [1_764_460_801_113, 1_764_460_801_113],
    [0, 0],
    [1.5e-300, 1.5e-300], // not nothing
  ])("of %d is %d", (value, expected) => {
    expect(roundNumber(value, 7)).toBe(expected);
  });
});

describe("rounded numbers", () => {
  it("are those at any depth; all else stays", () => {
    const value = { text: "1.23456789", none: null, list: [1 / 3, { deep: 2 / 3 }], on: true };
    expect(roundNumbers(value, null)).toEqual({
      ...value,
      list: [0.3333333, { deep: 0.6666667 }],
    });
  });

  it("keep the objects that have not changed", () => {
    const before = { learnt: { mean: 0.3333333 }, other: { mean: 1 } };
    const after = { ...before, other: { mean: 2 / 3 } };
    const rounded = roundNumbers(after, before);
    expect(rounded.learnt).toBe(before.learnt);
    expect(rounded.other.mean).toBe(0.6666667);
    expect(roundNumbers(before, before)).toBe(before);
  });
});
