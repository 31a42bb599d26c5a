import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  fillGeometry,
  halfWidthAt,
  hopperShape,
  slicePath,
  surfaceHeight,
} from "../../client/charts/hopperGeometry.ts";
import { kernelPositions } from "../../client/charts/kernelPositions.ts";

/** The area drawn below a height, summed in thin strips: an oracle that knows nothing of the quadratic. */
function areaBelow(surface: number): number {
  const strips = 20_000;
  const thickness = (hopperShape.bottom - surface) / strips;
  let area = 0;
  for (let strip = 0; strip < strips; strip++) area += 2 * halfWidthAt(surface + (strip + 0.5) * thickness) * thickness;
  return area;
}
const whole = areaBelow(hopperShape.top);

describe("the hopper chart", () => {
  it("draws as much area as there is food, in the wedge and in the straight part", () => {
    for (const share of [0.02, 0.1, 0.25, 0.4, 0.5, 0.75, 0.99]) {
      expect(areaBelow(surfaceHeight(share)) / whole).toBeCloseTo(share, 4);
    }
  });

  it("is at the outlet when empty and at the top when full", () => {
    expect(surfaceHeight(0)).toBe(hopperShape.bottom);
    expect(surfaceHeight(1)).toBeCloseTo(hopperShape.top, 9);
  });

  it("never draws food outside the hopper, whatever the number", () => {
    expect(surfaceHeight(-3)).toBe(hopperShape.bottom);
    expect(surfaceHeight(7)).toBeCloseTo(hopperShape.top, 9);
  });

  it("rises with every gram", () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 1, noNaN: true }),
        fc.double({ min: 0, max: 1, noNaN: true }),
        (one, other) => {
          if (one < other) expect(surfaceHeight(one)).toBeGreaterThanOrEqual(surfaceHeight(other));
        },
      ),
    );
  });

  it("draws nothing where nothing is known", () => {
    expect(fillGeometry(null, 1_200)).toBeNull();
  });

  it("draws the interval around the surface", () => {
    const fill = fillGeometry({ grams: 310, low: 160, high: 470 }, 1_200);
    expect(fill?.intervalPath.upper).toBeLessThan(fill?.surface ?? 0);
    expect(fill?.intervalPath.lower).toBeGreaterThan(fill?.surface ?? 0);
  });

  it("follows the outline where a slice crosses it", () => {
    expect(slicePath(hopperShape.top, hopperShape.bottom).split(" ")).toHaveLength(6);
    expect(slicePath(hopperShape.shoulder + 1, hopperShape.bottom).split(" ")).toHaveLength(4);
  });

  it("keeps every kernel inside the walls", () => {
    for (const { x, y } of kernelPositions) expect(Math.abs(x - hopperShape.middle)).toBeLessThan(halfWidthAt(y));
    expect(kernelPositions.length).toBeGreaterThan(50);
  });
});
