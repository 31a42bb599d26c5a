import { describe, expect, it } from "vitest";
import { kindAtFirst, portionAsSaid } from "../../client/words/food.ts";
import { foodViews } from "../../server/flows/views.ts";

const nothing = { kind: "", grains: undefined, tenGrams: undefined } as const;

describe("what a portion will count as", () => {
  it("is told from the pieces, by the server's own list", () => {
    const said = { kind: "peanutHalves", grains: 4, tenGrams: undefined } as const;
    expect(portionAsSaid(said, {}, foodViews)).toBe(
      "4 pieces of usually 0.35 g: a portion then counts as about 1.4 g, until you weigh it.",
    );
    expect(portionAsSaid({ ...said, grains: 1 }, {}, foodViews)).toMatch(/^1 piece of usually 0.35 g/);
  });

  it("is what was weighed, whatever was counted", () => {
    const said = { kind: "peanutHalves", grains: 4, tenGrams: 16 } as const;
    expect(portionAsSaid(said, {}, foodViews)).toBe("A portion then counts as 1.6 g, as weighed.");
  });

  it("says nothing where nothing changes", () => {
    const saved = { food: "maize", foodKind: "maize", grainsPerPortion: 5, portionGrams: 1.7 } as const;
    expect(portionAsSaid({ kind: "maize", grains: 5, tenGrams: undefined }, saved, foodViews)).toBe("");
    expect(portionAsSaid({ kind: "maize", grains: undefined, tenGrams: Number.NaN }, saved, foodViews)).toBe("");
    expect(portionAsSaid(nothing, {}, foodViews)).toMatch(/^Until you say/);
  });

  it("asks for a weighing where nobody knows the piece", () => {
    expect(portionAsSaid({ kind: "other", grains: 5, tenGrams: undefined }, {}, foodViews)).toMatch(
      /weigh ten portions/,
    );
  });
});

describe("the food first shown", () => {
  it("is the chosen one, the keeper's own words, or none", () => {
    expect(kindAtFirst({ food: "dry cat kibble", foodKind: "catKibble" })).toBe("catKibble");
    expect(kindAtFirst({ food: "broken peanuts" })).toBe("other");
    expect(kindAtFirst({})).toBe("");
  });
});
