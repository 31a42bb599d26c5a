import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { filling, halfWidthAt, kernels, section, slice, surfaceAt } from "../../client/drawing/hopperSection.ts";

/** The area drawn below a height, summed in thin strips: an oracle that knows nothing of the quadratic. */
function areaBelow(surface: number): number {
  const strips = 20_000;
  const thickness = (section.bottom - surface) / strips;
  let area = 0;
  for (let strip = 0; strip < strips; strip++) area += 2 * halfWidthAt(surface + (strip + 0.5) * thickness) * thickness;
  return area;
}
const whole = areaBelow(section.top);

describe("the hopper's section", () => {
  it("draws as much area as there is food, in the wedge and in the straight part", () => {
    for (const share of [0.02, 0.1, 0.25, 0.4, 0.5, 0.75, 0.99]) {
      expect(areaBelow(surfaceAt(share)) / whole).toBeCloseTo(share, 4);
    }
  });

  it("stands at the outlet when empty and at the brim when full", () => {
    expect(surfaceAt(0)).toBe(section.bottom);
    expect(surfaceAt(1)).toBeCloseTo(section.top, 9);
  });

  it("never draws food outside the hopper, however wrong the number", () => {
    expect(surfaceAt(-3)).toBe(section.bottom);
    expect(surfaceAt(7)).toBeCloseTo(section.top, 9);
  });

  it("rises with every gram", () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 1, noNaN: true }),
        fc.double({ min: 0, max: 1, noNaN: true }),
        (one, other) => {
          if (one < other) expect(surfaceAt(one)).toBeGreaterThanOrEqual(surfaceAt(other));
        },
      ),
    );
  });

  it("draws nothing where nothing is known", () => {
    expect(filling(null, 1_200)).toBeNull();
  });

  it("draws the doubt around the surface", () => {
    const fill = filling({ grams: 310, low: 160, high: 470 }, 1_200);
    expect(fill?.doubt.upper).toBeLessThan(fill?.surface ?? 0);
    expect(fill?.doubt.lower).toBeGreaterThan(fill?.surface ?? 0);
  });

  it("follows the shoulder where a slice crosses it", () => {
    expect(slice(section.top, section.bottom).split(" ")).toHaveLength(6);
    expect(slice(section.shoulder + 1, section.bottom).split(" ")).toHaveLength(4);
  });

  it("keeps every kernel inside the walls", () => {
    for (const { x, y } of kernels) expect(Math.abs(x - section.middle)).toBeLessThan(halfWidthAt(y));
    expect(kernels.length).toBeGreaterThan(50);
  });
});
