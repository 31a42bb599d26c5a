import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";

/**
 * Contrast by WCAG 2.2: relative luminance and ratio as defined there, 4.5 for text (1.4.3), 3 for marks and edges of
 * controls (1.4.11). The colours are read from the style sheet itself.
 */
function luminance(hex: string): number {
  const channel = (start: number) => {
    const value = Number.parseInt(hex.slice(start, start + 2), 16) / 255;
    return value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4;
  };
  return 0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5);
}
function contrast(one: string, other: string): number {
  const [high, low] = [luminance(one), luminance(other)].sort((a, b) => b - a) as [number, number];
  return (high + 0.05) / (low + 0.05);
}

const sheet = readFileSync(new URL("../../client/style/ink.css", import.meta.url), "utf8");
const [lightPart, darkPart] = sheet.split("@media (prefers-color-scheme: dark)") as [string, string];
const colours = (part: string) =>
  Object.fromEntries(
    [...part.matchAll(/--([a-z-]+): (#[0-9a-f]{6});/g)].map((found) => [found[1] ?? "", found[2] ?? ""]),
  );
const schemes = { light: colours(lightPart), dark: { ...colours(lightPart), ...colours(darkPart) } };

it("knows the contrast of black on white", () => {
  expect(contrast("#000000", "#ffffff")).toBeCloseTo(21, 9);
  expect(contrast("#777777", "#ffffff")).toBeCloseTo(4.48, 2); // a well-known near miss; from memory
});

describe.each(Object.entries(schemes))("the %s inks", (_, colour) => {
  const ratio = (one: string, other: string) => contrast(colour[one] ?? "", colour[other] ?? "");
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
  it("shows where the food ends", () => {
    expect(ratio("food-edge", "kernel-food")).toBeGreaterThanOrEqual(2); // the level is told in words beside it
    expect(ratio("ink", "hollow")).toBeGreaterThanOrEqual(3);
  });
});
