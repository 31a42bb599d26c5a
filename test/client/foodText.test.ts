import { describe, expect, it } from "vitest";
import { initialFoodKind, portionPreview } from "../../client/text/food.ts";
import { foodViews } from "../../server/flows/views.ts";

const nothing = { kind: "", pieces: undefined, tenGrams: undefined } as const;

describe("the weight of a portion in the form", () => {
  it("is calculated from the pieces, by the server's own list", () => {
    const entered = { kind: "peanutHalves", pieces: 4, tenGrams: undefined } as const;
    expect(portionPreview(entered, {}, foodViews)).toBe("4 pieces of about 0.35 g: portion weight about 1.4 g.");
    expect(portionPreview({ ...entered, pieces: 1 }, {}, foodViews)).toMatch(/^1 piece of about 0.35 g/);
  });

  it("is the entered weight, whatever was counted", () => {
    const entered = { kind: "peanutHalves", pieces: 4, tenGrams: 16 } as const;
    expect(portionPreview(entered, {}, foodViews)).toBe("New portion weight: 1.6 g.");
  });

  it("has no text where nothing changes", () => {
    const saved = { food: "maize", foodKind: "maize", grainsPerPortion: 5, portionGrams: 1.7 } as const;
    expect(portionPreview({ kind: "maize", pieces: 5, tenGrams: undefined }, saved, foodViews)).toBe("");
    expect(portionPreview({ kind: "maize", pieces: undefined, tenGrams: Number.NaN }, saved, foodViews)).toBe("");
    expect(portionPreview(nothing, {}, foodViews)).toMatch(/^Until you enter a value/);
  });

  it("asks for a weight where the piece is not known", () => {
    expect(portionPreview({ kind: "other", pieces: 5, tenGrams: undefined }, {}, foodViews)).toMatch(
      /Weigh ten portions/,
    );
  });
});

describe("the food that the form shows first", () => {
  it("is the chosen one, the keeper's own text, or none", () => {
    expect(initialFoodKind({ food: "dry cat kibble", foodKind: "catKibble" })).toBe("catKibble");
    expect(initialFoodKind({ food: "broken peanuts" })).toBe("other");
    expect(initialFoodKind({})).toBe("");
  });
});
