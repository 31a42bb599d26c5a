import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { levelText, massText, toSentence } from "../../client/text/amount.ts";

describe("a mass", () => {
  it("is written without unneeded zeros", () => {
    expect([0, 3.4, 999.4, 999.6, 1_000, 1_250, 2_000, 12_340].map(massText)).toEqual([
      "0 g",
      "3 g",
      "999 g",
      "1 kg",
      "1 kg",
      "1.25 kg",
      "2 kg",
      "12.3 kg",
    ]);
  });
});

describe("the level in the hopper", () => {
  it("is shown no finer than it is known", () => {
    expect(levelText({ grams: 333, low: 111, high: 555 })).toEqual({ about: "330 g", low: "110 g", high: "560 g" });
    expect(levelText({ grams: 612.4, low: 609.8, high: 615 })).toEqual({
      about: "612 g",
      low: "609 g",
      high: "615 g",
    });
    expect(levelText({ grams: 1_912, low: 1_886, high: 1_938 })).toEqual({
      about: "1.91 kg",
      low: "1.88 kg",
      high: "1.94 kg",
    });
    expect(levelText({ grams: 5_400, low: 4_000, high: 6_800 })).toEqual({
      about: "5.4 kg",
      low: "4 kg",
      high: "6.8 kg",
    });
  });

  it("never promises a narrower interval than the server's", () => {
    const gramsOf = (mass: string) => Number.parseFloat(mass) * (mass.endsWith("kg") ? 1_000 : 1);
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 9_000, noNaN: true }),
        fc.double({ min: 0, max: 900, noNaN: true }),
        (low, wide) => {
          const text = levelText({ grams: low + wide / 2, low, high: low + wide });
          expect(gramsOf(text.low)).toBeLessThanOrEqual(low + 1e-6);
          expect(gramsOf(text.high)).toBeGreaterThanOrEqual(low + wide - 1e-6);
        },
      ),
    );
  });
});

describe("a sentence", () => {
  it("begins with a capital and ends with a full stop", () => {
    expect(toSentence("the name or the passphrase is wrong")).toBe("The name or the passphrase is wrong.");
    expect(toSentence("Try again.")).toBe("Try again.");
  });
});
