/**
 * The hopper as drawn: a straight bin over a wedge that tapers to the outlet, cut open from the front. Its depth is the
 * same everywhere, so the drawn area is in proportion to the food it holds, and half the food looks like half.
 *
 *     x=left        x=right
 *      |             |   y=top        straight
 *      |             |   y=shoulder
 *       \           /                 wedge
 *         \_______/      y=bottom
 */
export interface HopperShape {
  readonly top: number;
  readonly shoulder: number;
  readonly bottom: number;
  readonly halfWidth: number; // of the bin
  readonly halfOutlet: number;
  readonly middle: number; // x of the axis
}

export const hopperShape: HopperShape = {
  top: 14,
  shoulder: 92,
  bottom: 164,
  halfWidth: 62,
  halfOutlet: 15,
  middle: 76,
};

/** Half the inner width at a height `y` (drawing units, growing downwards). */
export function halfWidthAt(y: number, of: HopperShape = hopperShape): number {
  if (y <= of.shoulder) return of.halfWidth;
  const down = Math.min(1, (y - of.shoulder) / (of.bottom - of.shoulder));
  return of.halfWidth + (of.halfOutlet - of.halfWidth) * down;
}

/** The `y` of the food's surface when the hopper holds this share (0..1) of what it can hold. */
export function surfaceHeight(share: number, of: HopperShape = hopperShape): number {
  const filled = Math.min(1, Math.max(0, share));
  const wedgeHeight = of.bottom - of.shoulder;
  const wedgeArea = (of.halfWidth + of.halfOutlet) * wedgeHeight;
  const area = filled * (wedgeArea + 2 * of.halfWidth * (of.shoulder - of.top));
  if (area >= wedgeArea) return of.shoulder - (area - wedgeArea) / (2 * of.halfWidth);
  // In the wedge the area is 2·outlet·h + (slope)·h², a quadratic in the height h.
  const slope = (of.halfWidth - of.halfOutlet) / wedgeHeight;
  const height = (-of.halfOutlet + Math.sqrt(of.halfOutlet ** 2 + slope * area)) / slope;
  return of.bottom - height;
}

/** The outline of what lies between two heights, as the `points` of a polygon. */
export function slicePath(upper: number, lower: number, of: HopperShape = hopperShape): string {
  const corner = (y: number, side: -1 | 1) => `${round(of.middle + side * halfWidthAt(y, of))},${round(y)}`;
  const shoulder = upper < of.shoulder && lower > of.shoulder;
  return [
    corner(upper, -1),
    corner(upper, 1),
    ...(shoulder ? [corner(of.shoulder, 1)] : []),
    corner(lower, 1),
    corner(lower, -1),
    ...(shoulder ? [corner(of.shoulder, -1)] : []),
  ].join(" ");
}

const round = (value: number) => Math.round(value * 10) / 10;

/** Where the food and its interval go. Null level: nothing is drawn but the empty outline. */
export interface FillGeometry {
  readonly surface: number;
  readonly intervalPath: { readonly upper: number; readonly lower: number };
}
export function fillGeometry(
  level: { readonly grams: number; readonly low: number; readonly high: number } | null,
  capacityGrams: number,
  of: HopperShape = hopperShape,
): FillGeometry | null {
  if (level === null || capacityGrams <= 0) return null;
  return {
    surface: surfaceHeight(level.grams / capacityGrams, of),
    intervalPath: {
      upper: surfaceHeight(level.high / capacityGrams, of),
      lower: surfaceHeight(level.low / capacityGrams, of),
    },
  };
}

/** Walls with a little thickness, as a section is drawn: the left side down to the outlet, and its mirror. */
export function wallPoints(side: -1 | 1): string {
  const { top, shoulder, bottom, halfWidth, halfOutlet, middle } = hopperShape;
  const outer = middle + side * halfWidth;
  return `${outer},${top - 6} ${outer},${shoulder} ${middle + side * halfOutlet},${bottom}`;
}
