import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { gramsRangeText, gramsText } from "../../../server/domain/hopper/gramsText.ts";

describe("grams in words", () => {
  it.each([
    [6.2, "6 g"],
    [33, "35 g"],
    [838, "840 g"],
    [1_240, "1.2 kg"],
    [2_000, "2 kg"],
  ])("say %d as %s", (mass, words) => expect(gramsText(mass)).toBe(words));

  it.each([
    [1_983, 2_017, "1.98 kg to 2.02 kg"],
    [111, 555, "110 g to 560 g"],
    [0, 4.4, "0 g to 5 g"],
    [980, 1_040, "980 g to 1.04 kg"],
  ])("say %d..%d as %s", (low, high, words) => expect(gramsRangeText(low, high)).toBe(words));

  it("never say an interval narrower than it is, nor much wider", () => {
    const read = (words: string) =>
      words.split(" to ").map((one) => Number.parseFloat(one) * (one.endsWith("kg") ? 1_000 : 1)) as [number, number];
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 5_000, noNaN: true }),
        fc.double({ min: 0, max: 5_000, noNaN: true }),
        (a, b) => {
          const [low, high] = a < b ? [a, b] : [b, a];
          const [saidLow, saidHigh] = read(gramsRangeText(low, high));
          expect(saidLow).toBeLessThanOrEqual(low + 1e-6);
          expect(saidHigh).toBeGreaterThanOrEqual(high - 1e-6);
          expect(saidHigh - saidLow).toBeLessThanOrEqual(high - low + 20);
        },
      ),
    );
  });
});
