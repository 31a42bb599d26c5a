import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { contrastRatio } from "../support/contrast.ts";

/**
 * Contrast by WCAG 2.2: 4.5 for text (1.4.3), 3 for marks and edges of controls (1.4.11). The colours are read from the style
 * sheet itself.
 */
const sheet = readFileSync(new URL("../../client/style/colours.css", import.meta.url), "utf8");
const [lightPart, darkPart] = sheet.split("@media (prefers-color-scheme: dark)") as [string, string];
const colours = (part: string) =>
  Object.fromEntries(
    [...part.matchAll(/--([a-z-]+): (#[0-9a-f]{6});/g)].map((found) => [found[1] ?? "", found[2] ?? ""]),
  );
const schemes = { light: colours(lightPart), dark: { ...colours(lightPart), ...colours(darkPart) } };

it("knows the contrast of black on white", () => {
  expect(contrastRatio("#000000", "#ffffff")).toBeCloseTo(21, 9);
  expect(contrastRatio("#777777", "#ffffff")).toBeCloseTo(4.48, 2); // a well-known near miss; from memory
});

describe.each(Object.entries(schemes))("the %s inks", (_, colour) => {
  const ratio = (one: string, other: string) => contrastRatio(colour[one] ?? "", colour[other] ?? "");
  it.each(["ink", "pencil", "berry", "bark", "spruce"])("%s can be read on paper and on a leaf", (ink) => {
    expect(ratio(ink, "paper")).toBeGreaterThanOrEqual(4.5);
    expect(ratio(ink, "leaf")).toBeGreaterThanOrEqual(4.5);
  });
  it("can be read on a filled button", () => {
    expect(ratio("on-ink", "ink")).toBeGreaterThanOrEqual(4.5);
  });
  it.each(["night", "twilight", "day", "unlit"])("shows its marks in the %s of the ribbon", (light) => {
    expect(ratio("ink", light)).toBeGreaterThanOrEqual(4.5);
    expect(ratio("berry", light)).toBeGreaterThanOrEqual(3);
    expect(ratio("food-edge", light)).toBeGreaterThanOrEqual(3);
  });
  it.each(["paper", "hollow"])("shows the marks of the training's pictures on %s", (ground) => {
    for (const mark of ["ink", "pencil", "spruce", "bark", "berry", "food-edge"])
      expect(ratio(mark, ground), mark).toBeGreaterThanOrEqual(3);
  });
  it("shows the edge of the food", () => {
    expect(ratio("food-edge", "kernel-food")).toBeGreaterThanOrEqual(2); // a text next to it gives the level
    expect(ratio("ink", "hollow")).toBeGreaterThanOrEqual(3);
  });
});
