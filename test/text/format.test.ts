import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { gramsRangeText, gramsText } from "../../server/text/format.ts";

describe("grams as text", () => {
  it.each([
    [6.2, "6 g"],
    [33, "35 g"],
    [838, "840 g"],
    [1_240, "1.2 kg"],
    [2_000, "2 kg"],
  ])("write %d as %s", (mass, text) => expect(gramsText(mass)).toBe(text));

  it.each([
    [1_983, 2_017, "1.98 kg to 2.02 kg"],
    [111, 555, "110 g to 560 g"],
    [0, 4.4, "0 g to 5 g"],
    [980, 1_040, "980 g to 1.04 kg"],
  ])("write %d to %d as %s", (low, high, text) => expect(gramsRangeText(low, high)).toBe(text));

  it("never write an interval narrower than it is, nor much wider", () => {
    const read = (text: string) =>
      text.split(" to ").map((one) => Number.parseFloat(one) * (one.endsWith("kg") ? 1_000 : 1)) as [number, number];
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 5_000, noNaN: true }),
        fc.double({ min: 0, max: 5_000, noNaN: true }),
        (a, b) => {
          const [low, high] = a < b ? [a, b] : [b, a];
          const [textLow, textHigh] = read(gramsRangeText(low, high));
          expect(textLow).toBeLessThanOrEqual(low + 1e-6);
          expect(textHigh).toBeGreaterThanOrEqual(high - 1e-6);
          expect(textHigh - textLow).toBeLessThanOrEqual(high - low + 20);
        },
      ),
    );
  });
});
