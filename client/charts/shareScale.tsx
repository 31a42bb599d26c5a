import { edges } from "./dayAxis.ts";

/** The ground, the middle and the top of a picture, each with its label at the left. */
export const ShareScale = (props: {
  readonly width: number;
  readonly yOf: (part: number) => number; // of 0 to 1
  readonly labelOf: (part: number) => string;
}) => (
  <>
    {[0, 0.5, 1].map((part) => (
      <g key={part}>
        <line class="rule" x1={edges.left} x2={props.width - edges.right} y1={props.yOf(part)} y2={props.yOf(part)} />
        <text class="scale" x={edges.left - 6} y={props.yOf(part) + 4} text-anchor="end">
          {props.labelOf(part)}
        </text>
      </g>
    ))}
  </>
);
