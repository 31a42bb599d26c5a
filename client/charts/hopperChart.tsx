import { useId } from "preact/hooks";
import type { HopperView } from "../../server/contract/api.ts";
import { fullnessText, levelText, massText } from "../text/amount.ts";
import { fillGeometry, halfWidthAt, hopperShape, kernelPositions, slicePath, surfaceHeight } from "./hopperGeometry.ts";

const { top, shoulder, bottom, halfWidth, halfOutlet, middle } = hopperShape;
const left = middle - halfWidth;
const right = middle + halfWidth;

/** Walls with a little thickness, as a section is drawn: the left side down to the outlet, and its mirror. */
const wall = (side: -1 | 1) =>
  `${middle + side * halfWidth},${top - 6} ${middle + side * halfWidth},${shoulder} ${middle + side * halfOutlet},${bottom}`;

/** The hopper cut open, filled to its level, with the doubt about the level as a soft band. */
export function HopperChart(props: { readonly hopper: HopperView }) {
  const id = useId().replace(/[^A-Za-z0-9]/g, "");
  const { level, capacityGrams } = props.hopper;
  const fill = fillGeometry(level, capacityGrams);
  const words = hopperText(props.hopper);
  return (
    <svg class="hopper" viewBox="0 0 160 206" width="160" height="206" role="img" aria-label={words}>
      <polygon class="hollow" points={slicePath(top, bottom)} />
      {fill && (
        <>
          <defs>
            <linearGradient id={`doubt-${id}`} x1="0" y1="0" x2="0" y2="1">
              <stop offset="0" stop-color="#000" />
              <stop offset="1" stop-color="#fff" />
            </linearGradient>
            {/* as sure as there is food, so solid it is drawn: surely below the interval, surely none above it */}
            <mask id={`sure-${id}`}>
              <polygon fill="#fff" points={slicePath(fill.intervalPath.lower, bottom)} />
              <polygon
                fill={`url(#doubt-${id})`}
                points={slicePath(fill.intervalPath.upper, fill.intervalPath.lower)}
              />
            </mask>
          </defs>
          <g mask={`url(#sure-${id})`}>
            <polygon class="food" points={slicePath(fill.intervalPath.upper, bottom)} />
            {kernelPositions.map(({ x, y, turn }) => (
              <ellipse
                key={`${x} ${y}`}
                class="kernel"
                cx={x}
                cy={y}
                rx="4"
                ry="2.4"
                transform={`rotate(${turn} ${x} ${y})`}
              />
            ))}
          </g>
          <line
            class="surface"
            x1={middle - halfWidthAt(fill.surface)}
            x2={middle + halfWidthAt(fill.surface)}
            y1={fill.surface}
            y2={fill.surface}
          />
        </>
      )}
      {level === null && (
        <text class="unknown" x={middle} y={shoulder - 18} text-anchor="middle">
          not known
        </text>
      )}
      <polyline class="wall" points={wall(-1)} />
      <polyline class="wall" points={wall(1)} />
      <path class="wall lid" d={`M${left - 7} ${top - 7}Q${middle} ${top - 17} ${right + 7} ${top - 7}`} />
      {[0.25, 0.5, 0.75, 1].map((share) => {
        const y = surfaceHeight(share);
        const x = middle + halfWidthAt(y);
        return <line key={share} class="gauge" x1={x + 4} x2={x + (share % 0.5 === 0 ? 14 : 9)} y1={y} y2={y} />;
      })}
      {/* the turning tray under the outlet, and the chute */}
      <rect class="wall tray" x={middle - 25} y={bottom + 4} width="50" height="9" rx="4" />
      <path class="wall" d={`M${middle + 14} ${bottom + 14}v9l18 11`} />
      <path class="wall" d={`M${middle + 2} ${bottom + 14}v14l20 12`} />
    </svg>
  );
}

function hopperText(hopper: HopperView): string {
  if (hopper.level === null) return "The hopper's level is not known yet.";
  const fullness = fullnessText(hopper.level.grams / hopper.capacityGrams);
  const { about, low, high } = levelText(hopper.level);
  if (hopper.capacityAssumed)
    return `About ${about} are in the hopper, between ${low} and ${high}. Nobody has said what a full one holds.`;
  return `The hopper is ${fullness}: about ${about}, between ${low} and ${high}, of ${massText(hopper.capacityGrams)}.`;
}

/** The same drawing as a margin mark in a list; its words stand beside it. */
export function HopperIcon(props: { readonly hopper: HopperView }) {
  const fill = fillGeometry(props.hopper.level, props.hopper.capacityGrams);
  return (
    <svg class="hopper mark" viewBox="6 0 140 176" width="35" height="44" aria-hidden="true">
      <polygon class="hollow" points={slicePath(top, bottom)} />
      {fill && <polygon class="food" points={slicePath(fill.surface, bottom)} />}
      <polyline class="wall" points={wall(-1)} />
      <polyline class="wall" points={wall(1)} />
    </svg>
  );
}
