import { useId } from "preact/hooks";
import * as text from "#text/hopperChart.ts";
import type { HopperView } from "../../server/contract/api.ts";
import { fullnessText, levelText, massText } from "../text/amount.ts";
import {
  type FillGeometry,
  fillGeometry,
  halfWidthAt,
  hopperShape,
  slicePath,
  surfaceHeight,
  wallPoints,
} from "./hopperGeometry.ts";
import { kernelPositions } from "./kernelPositions.ts";

const { top, shoulder, bottom, halfWidth, middle } = hopperShape;
const left = middle - halfWidth;
const right = middle + halfWidth;

/** The hopper cut open, filled to its level, with the interval of the level as a soft band. */
export function HopperChart(props: { readonly hopper: HopperView }) {
  const { level, capacityGrams } = props.hopper;
  const fill = fillGeometry(level, capacityGrams);
  return (
    <svg class="hopper" viewBox="0 0 160 206" width="160" height="206" role="img" aria-label={hopperText(props.hopper)}>
      <polygon class="hollow" points={slicePath(top, bottom)} />
      {fill && <Food fill={fill} />}
      {level === null && (
        <text class="unknown" x={middle} y={shoulder - 18} text-anchor="middle">
          {text.unknownText}
        </text>
      )}
      <Outline />
    </svg>
  );
}

/** The food, the more solid the more likely it is there: all of it below the interval, none above it. */
function Food({ fill }: { readonly fill: FillGeometry }) {
  const id = useId().replace(/[^A-Za-z0-9]/g, "");
  const { lower, upper } = fill.intervalPath;
  return (
    <>
      <defs>
        <linearGradient id={`interval-${id}`} x1="0" y1="0" x2="0" y2="1">
          <stop offset="0" stop-color="#000" />
          <stop offset="1" stop-color="#fff" />
        </linearGradient>
        <mask id={`fill-${id}`}>
          <polygon fill="#fff" points={slicePath(lower, bottom)} />
          <polygon fill={`url(#interval-${id})`} points={slicePath(upper, lower)} />
        </mask>
      </defs>
      <g mask={`url(#fill-${id})`}>
        <polygon class="food" points={slicePath(upper, bottom)} />
        {kernelPositions.map(({ x, y, angle }) => (
          <ellipse
            key={`${x} ${y}`}
            class="kernel"
            cx={x}
            cy={y}
            rx="4"
            ry="2.4"
            transform={`rotate(${angle} ${x} ${y})`}
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
  );
}

/** Sides, lid, the marks of a quarter each, and below the outlet the rotating tray and the chute. */
const Outline = () => (
  <>
    <polyline class="wall" points={wallPoints(-1)} />
    <polyline class="wall" points={wallPoints(1)} />
    <path class="wall lid" d={`M${left - 7} ${top - 7}Q${middle} ${top - 17} ${right + 7} ${top - 7}`} />
    {[0.25, 0.5, 0.75, 1].map((share) => {
      const y = surfaceHeight(share);
      const x = middle + halfWidthAt(y);
      return <line key={share} class="gauge" x1={x + 4} x2={x + (share % 0.5 === 0 ? 14 : 9)} y1={y} y2={y} />;
    })}
    <rect class="wall tray" x={middle - 25} y={bottom + 4} width="50" height="9" rx="4" />
    <path class="wall" d={`M${middle + 14} ${bottom + 14}v9l18 11`} />
    <path class="wall" d={`M${middle + 2} ${bottom + 14}v14l20 12`} />
  </>
);

function hopperText({ level, capacityGrams, capacityAssumed }: HopperView): string {
  if (level === null) return text.unknownLevelLabel;
  const { about, low, high } = levelText(level);
  return capacityAssumed
    ? text.levelWithoutCapacityLabel(about, low, high)
    : text.levelLabel(fullnessText(level.grams / capacityGrams), about, low, high, massText(capacityGrams));
}
