import { halfWidthAt, hopperShape } from "./hopperGeometry.ts";

/** Kernels strewn over the section, always the same ones, so that the picture doesn't flicker from render to render. */
export const kernelPositions: readonly { readonly x: number; readonly y: number; readonly angle: number }[] = (() => {
  const strewn = [];
  let row = 0;
  for (let y = hopperShape.top + 7; y < hopperShape.bottom - 3; y += 9, row++) {
    const half = halfWidthAt(y + 4) - 7;
    let column = 0;
    for (let x = -half + (row % 2) * 5; x <= half; x += 11, column++) {
      const wobble = ((row * 7 + column * 13) % 5) - 2;
      strewn.push({
        x: hopperShape.middle + x + wobble,
        y: y + ((row * 5 + column * 3) % 4) - 1,
        angle: (row * 53 + column * 71) % 180,
      });
    }
  }
  return strewn;
})();
