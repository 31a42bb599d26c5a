import type { DistanceCurveView } from "../../server/contract/trainingView.ts";
import { shareText } from "../text/training.ts";
import { edges } from "./dayAxis.ts";
import { ShareScale } from "./shareScale.tsx";

/** The share of bouts with the act by distance, as a fitted curve in the band that holds the true one. */
export const distanceHeight = 188;
const top = 12;
const ground = 152;

const endOf = ({ points }: DistanceCurveView) => Math.max(1, ...points.map(({ distanceCm }) => distanceCm));
const xOf = (curve: DistanceCurveView, width: number) => (cm: number) =>
  edges.left + ((width - edges.left - edges.right - 8) * cm) / endOf(curve);
const yOf = (share: number) => ground - share * (ground - top);

/** The nearest point of the curve. */
export function pointAt(curve: DistanceCurveView, x: number, width: number): number {
  const place = xOf(curve, width);
  const gaps = curve.points.map(({ distanceCm }) => Math.abs(place(distanceCm) - x));
  return gaps.indexOf(Math.min(...gaps));
}

export function DistanceDrawing(props: {
  readonly curve: DistanceCurveView;
  readonly width: number;
  readonly place: number;
  readonly endText: string;
}) {
  const { curve, width, place, endText } = props;
  const x = xOf(curve, width);
  const line = (share: (point: DistanceCurveView["points"][number]) => number) =>
    curve.points.map((point) => `${x(point.distanceCm).toFixed(1)} ${yOf(share(point)).toFixed(1)}`);
  const band = [...line(({ high }) => high), ...line(({ low }) => low).reverse()];
  const chosen = curve.points[place];
  return (
    <>
      <ShareScale width={width} yOf={yOf} labelOf={shareText} />
      <path class="band" d={`M${band.join("L")}Z`} />
      <path class="curve" d={`M${line(({ share }) => share).join("L")}`} />
      {curve.halfAtCm !== null && curve.halfAtCm <= endOf(curve) && (
        <path class="criterion" d={`M${x(curve.halfAtCm)} ${yOf(0.5)}V${ground}`} />
      )}
      {chosen !== undefined && (
        <>
          <line class="place" x1={x(chosen.distanceCm)} x2={x(chosen.distanceCm)} y1={top} y2={ground + 8} />
          <circle class="dot" cx={x(chosen.distanceCm)} cy={yOf(chosen.share)} r="5" />
        </>
      )}
      <text class="scale" x={edges.left} y={distanceHeight - 8}>
        0
      </text>
      <text class="scale" x={width - edges.right} y={distanceHeight - 8} text-anchor="end">
        {endText}
      </text>
    </>
  );
}
