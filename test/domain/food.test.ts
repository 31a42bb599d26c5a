import { describe, expect, it } from "vitest";
import { foodKinds, foods, typicalPortion } from "../../server/domain/food.ts";
import { portionText } from "../../server/domain/portionText.ts";
import type { FeederSettings } from "../../server/domain/settings.ts";
import { grams } from "../../server/domain/units.ts";
import { rowanSettings } from "./rowan.ts";

const settings = (change: Partial<FeederSettings>): FeederSettings => ({
  ...rowanSettings,
  portionMass: grams(1.5),
  ...change,
});
const fitted = (scale: boolean) => ({ ...rowanSettings.sensors, scale });

describe("a typical portion", () => {
  it("is so many pieces of what is in the hopper", () => {
    expect(typicalPortion("peanutHalves", 4)).toBe(1.4);
    expect(typicalPortion("sunflowerHearts", 7)).toBe(0.35);
    expect(typicalPortion("other", 4)).toBeNull();
  });

  it("is known for every food but the keeper's own, from a piece that a corvid can carry", () => {
    for (const kind of foodKinds) {
      const { pieceMass } = foods[kind];
      if (kind === "other") expect(pieceMass).toBeNull();
      else expect(pieceMass, kind).toBeGreaterThan(0.01);
      if (pieceMass !== null) expect(pieceMass, kind).toBeLessThan(3);
    }
  });
});

describe("a portion's words", () => {
  it("show what was learnt from the scale beside what the keeper entered", () => {
    expect(portionText(grams(1.62), settings({ sensors: fitted(true) }))).toBe(
      "A portion weighs about 1.6 g, measured by the scale (entered: 1.5 g).",
    );
  });

  it("claim no scale where none is fitted", () => {
    expect(portionText(grams(1.62), settings({ sensors: fitted(false) }))).toBe(
      "A portion weighs about 1.6 g, calculated from your refills (entered: 1.5 g).",
    );
  });

  it("claim nothing learnt while it agrees with what was entered", () => {
    expect(portionText(grams(1.504), settings({}))).toBe("A portion is counted as 1.5 g (entered).");
  });

  it("don't put a reckoned mass into the keeper's mouth", () => {
    const counted = settings({ foodKind: "peanutHalves", grainsPerPortion: 4, portionMass: grams(1.4) });
    expect(portionText(grams(1.4), counted)).toBe("A portion is counted as 1.4 g (4 pieces).");
    expect(portionText(grams(1.8), { ...counted, sensors: fitted(true) })).toBe(
      "A portion weighs about 1.8 g, measured by the scale (4 pieces: 1.4 g).",
    );
  });
});
