import { describe, expect, it } from "vitest";
import { oneInText } from "../../server/domain/oneInText.ts";

describe("a small chance in words", () => {
  it("is one in so many, to one figure, and never an exponent", () => {
    expect([0.5, 0.05, 0.0123, 2.4e-4, 2e-6, 1e-6].map(oneInText)).toEqual([
      "1 in 2",
      "1 in 20",
      "1 in 80",
      "1 in 4,000",
      "1 in 500,000",
      "1 in 1,000,000",
    ]);
    expect([1e-9, 0, Number.NaN].map(oneInText)).toEqual(new Array(3).fill("less than 1 in a million"));
  });
});
