import type { TrainingView } from "../../server/contract/trainingView.ts";
import { latencyMsText } from "../text/training.ts";
import { type DayAxis, edges } from "./dayAxis.ts";
import { DayLabels } from "./shareDrawing.tsx";

/** How soon an act was paid: the median of each day as a dot, and a line from it to the 95th percentile. */
export const latencyHeight = 136;
const top = 8;
const ground = 102;

export function LatencyDrawing(props: {
  readonly view: TrainingView;
  readonly axis: DayAxis;
  readonly dayName: (date: string) => string;
}) {
  const { view, axis, dayName } = props;
  const measured = view.days.flatMap(({ date, kept: { latencyMs } }) => (latencyMs ? [{ date, ...latencyMs }] : []));
  const most = Math.max(1, ...measured.map(({ p95 }) => p95));
  const yOf = (ms: number) => ground - ((ground - top) * ms) / most;
  return (
    <>
      <text class="scale" x={edges.left - 6} y={top + 10} text-anchor="end">
        {latencyMsText(most)}
      </text>
      {measured.map(({ date, p50, p95 }) => {
        const x = axis.x(axis.slotOf(date));
        return (
          <g key={date}>
            <line class="ground" x1={x} x2={x} y1={yOf(p50)} y2={yOf(p95)} />
            <circle class="dot" cx={x} cy={yOf(p50)} r="3" />
          </g>
        );
      })}
      <line class="ground" x1={edges.left} x2={axis.width - edges.right} y1={ground} y2={ground} />
      <DayLabels axis={axis} y={latencyHeight - 6} dayName={dayName} />
    </>
  );
}
