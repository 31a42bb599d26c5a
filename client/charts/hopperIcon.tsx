import type { HopperView } from "../../server/contract/api.ts";
import { fillGeometry, hopperShape, slicePath, wallPoints } from "./hopperGeometry.ts";

/** The hopper as a small mark in a list; its level is in the text next to it. */
export function HopperIcon(props: { readonly hopper: HopperView }) {
  const fill = fillGeometry(props.hopper.level, props.hopper.capacityGrams);
  return (
    <svg class="hopper mark" viewBox="6 0 140 176" width="35" height="44" aria-hidden="true">
      <polygon class="hollow" points={slicePath(hopperShape.top, hopperShape.bottom)} />
      {fill && <polygon class="food" points={slicePath(fill.surface, hopperShape.bottom)} />}
      <polyline class="wall" points={wallPoints(-1)} />
      <polyline class="wall" points={wallPoints(1)} />
    </svg>
  );
}
