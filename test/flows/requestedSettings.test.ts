import { describe, expect, it } from "vitest";
import { addFeederRequest, changeFeederRequest } from "../../server/contract/api.ts";
import type { FeederSettings } from "../../server/domain/settings.ts";
import { grams } from "../../server/domain/units.ts";
import { defaultSettings, settingsRequestOf, withSettings } from "../../server/flows/pure/requestedSettings.ts";

const first: FeederSettings = defaultSettings({ practice: false, place: null, zone: "Europe/Stockholm" }, "Rowan");

describe("food and portion, as the keeper enters them", () => {
  it("give a portion's mass from its pieces, and the food's name from its kind", () => {
    const changed = withSettings(first, { foodKind: "catKibble", grainsPerPortion: 5 });
    expect(changed).toMatchObject({
      food: "dry cat kibble",
      foodKind: "catKibble",
      grainsPerPortion: 5,
      portionMass: 1.5,
    });
  });

  it("prefer a weighed mass to a counted one, and keep it when the same count is entered again", () => {
    const weighed = withSettings(first, { foodKind: "catKibble", grainsPerPortion: 5, tenPortionsGrams: 18 });
    expect(weighed.portionMass).toBe(1.8);
    expect(withSettings(weighed, { foodKind: "catKibble", grainsPerPortion: 5 }).portionMass).toBe(1.8);
    expect(withSettings(weighed, { foodKind: "catKibble", grainsPerPortion: 6 }).portionMass).toBe(1.8 /* 6 × 0.3 g */);
    expect(withSettings(weighed, { foodKind: "catKibble", grainsPerPortion: 4 }).portionMass).toBe(1.2);
    expect(withSettings(weighed, { foodKind: "peanutHalves", grainsPerPortion: 5 }).portionMass).toBe(1.75);
  });

  it("don't change the mass where the mass of a piece is unknown", () => {
    const changed = withSettings(first, { foodKind: "other", food: "suet pellets", grainsPerPortion: 3 });
    expect(changed).toMatchObject({ food: "suet pellets", portionMass: first.portionMass, grainsPerPortion: 3 });
  });

  it("are replaced by a text of the keeper's own", () => {
    const chosen = withSettings(first, { foodKind: "maize" });
    expect(withSettings(chosen, { food: "suet" })).toMatchObject({ food: "suet", foodKind: "other" });
    expect(withSettings(first, { food: "suet" })).not.toHaveProperty("foodKind");
  });

  it("don't change a feeder that was added without them", () => {
    expect(Object.keys(withSettings(first, {})).sort()).toEqual(Object.keys(first).sort());
    expect(withSettings(first, settingsRequestOf(first))).toEqual(first);
    const entered = withSettings(first, { foodKind: "maize", grainsPerPortion: 7, portionGrams: 2.3 });
    expect(withSettings(first, settingsRequestOf(entered))).toEqual(entered);
    expect(entered.portionMass).toBe(grams(2.3));
  });
});

describe("an entry about food that is refused", () => {
  const problems = (
    requested: object,
    request: typeof changeFeederRequest | typeof addFeederRequest = changeFeederRequest,
  ) => request.safeParse(requested).error?.issues.map(({ path, message }) => `${path.join(".")} ${message}`) ?? [];

  it("is named by its field", () => {
    expect(problems({ foodKind: "other" })).toEqual(['food must be entered when the kind is "other"']);
    expect(problems({ foodKind: "other" }, addFeederRequest)).toContainEqual(expect.stringContaining("name"));
    expect(problems({ foodKind: "gravel" })).toEqual([expect.stringMatching(/^foodKind /)]);
    expect(problems({ grainsPerPortion: 2.5 })).toEqual([expect.stringMatching(/^grainsPerPortion .*int/)]);
    expect(problems({ grainsPerPortion: 0 })).toEqual([expect.stringMatching(/^grainsPerPortion /)]);
    expect(problems({ tenPortionsGrams: 0.2 })).toEqual([expect.stringMatching(/^tenPortionsGrams /)]);
    expect(problems({ tenPortionsGrams: 15, portionGrams: 1.5 })).toEqual([
      "tenPortionsGrams and portionGrams say the same: give one of them",
    ]);
  });

  it("is a portion that no tray gives, unless it was weighed", () => {
    expect(problems({ foodKind: "driedMealworms", grainsPerPortion: 1 })).toEqual([
      "grainsPerPortion would be a portion of about 0.04 g: a portion weighs at least 0.1 g",
    ]);
    expect(problems({ foodKind: "dogKibble", grainsPerPortion: 200 })).toEqual([
      "grainsPerPortion would be a portion of about 160 g: a portion weighs at most 100 g",
    ]);
    expect(problems({ foodKind: "driedMealworms", grainsPerPortion: 1, tenPortionsGrams: 1 })).toEqual([]);
    const one = withSettings(withSettings(first, { grainsPerPortion: 1 }), { foodKind: "driedMealworms" });
    expect(one.portionMass).toBe(first.portionMass);
  });
});
