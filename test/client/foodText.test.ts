import { describe, expect, it } from "vitest";
import { initialFoodKind, portionPreview } from "../../client/text/food.ts";
import { foodViews } from "../../server/flows/views.ts";

const nothing = { kind: "", pieces: undefined, tenGrams: undefined } as const;

describe("what a portion will count as", () => {
  it("is told from the pieces, by the server's own list", () => {
    const said = { kind: "peanutHalves", pieces: 4, tenGrams: undefined } as const;
    expect(portionPreview(said, {}, foodViews)).toBe("4 pieces of about 0.35 g: portion weight about 1.4 g.");
    expect(portionPreview({ ...said, pieces: 1 }, {}, foodViews)).toMatch(/^1 piece of about 0.35 g/);
  });

  it("is what was weighed, whatever was counted", () => {
    const said = { kind: "peanutHalves", pieces: 4, tenGrams: 16 } as const;
    expect(portionPreview(said, {}, foodViews)).toBe("New portion weight: 1.6 g.");
  });

  it("says nothing where nothing changes", () => {
    const saved = { food: "maize", foodKind: "maize", grainsPerPortion: 5, portionGrams: 1.7 } as const;
    expect(portionPreview({ kind: "maize", pieces: 5, tenGrams: undefined }, saved, foodViews)).toBe("");
    expect(portionPreview({ kind: "maize", pieces: undefined, tenGrams: Number.NaN }, saved, foodViews)).toBe("");
    expect(portionPreview(nothing, {}, foodViews)).toMatch(/^Until you enter a value/);
  });

  it("asks for a weighing where nobody knows the piece", () => {
    expect(portionPreview({ kind: "other", pieces: 5, tenGrams: undefined }, {}, foodViews)).toMatch(
      /Weigh ten portions/,
    );
  });
});

describe("the food first shown", () => {
  it("is the chosen one, the keeper's own words, or none", () => {
    expect(initialFoodKind({ food: "dry cat kibble", foodKind: "catKibble" })).toBe("catKibble");
    expect(initialFoodKind({ food: "broken peanuts" })).toBe("other");
    expect(initialFoodKind({})).toBe("");
  });
});
