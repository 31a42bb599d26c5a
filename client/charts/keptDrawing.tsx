import type { TrainingView } from "../../server/contract/trainingView.ts";
import { type DayAxis, dayInSlot, edges } from "./dayAxis.ts";
import { DayLabels } from "./shareDrawing.tsx";

/** Promises by day: what was paid stands on the ground, what was not hangs below it, each promise of the same height. */
export const keptHeight = 136;
const top = 8;
const bottom = 102;

export function KeptDrawing(props: {
  readonly view: TrainingView;
  readonly axis: DayAxis;
  readonly place: number;
  readonly dayName: (date: string) => string;
}) {
  const { view, axis, place, dayName } = props;
  const most = Math.max(1, ...view.days.map(({ kept }) => kept.paid));
  const mostUnpaid = Math.max(1, ...view.days.map(({ kept }) => kept.promised - kept.paid));
  // Few are broken where all is well: below the ground there is room for a fifth at least.
  const unit = (bottom - top) / (most + Math.max(mostUnpaid, most / 5));
  const ground = top + most * unit;
  const barWidth = Math.max(2, axis.step * 0.62);
  return (
    <>
      <line class="place" x1={axis.x(place)} x2={axis.x(place)} y1={top - 4} y2={bottom + 4} />
      <text class="scale" x={edges.left - 6} y={top + 10} text-anchor="end">
        {most}
      </text>
      {view.days.map(({ date, kept: { promised, paid } }) => {
        const x = axis.x(axis.slotOf(date)) - barWidth / 2;
        const unpaid = promised - paid;
        return (
          <g key={date}>
            {paid > 0 && <rect class="paid" x={x} width={barWidth} y={ground - paid * unit} height={paid * unit} />}
            {unpaid > 0 && (
              <rect class="unpaid" x={x} width={barWidth} y={ground + 1.5} height={Math.max(4, unpaid * unit - 1.5)} />
            )}
          </g>
        );
      })}
      <line class="ground" x1={edges.left} x2={axis.width - edges.right} y1={ground} y2={ground} />
      {dayInSlot(view, axis, place) !== undefined && <circle class="dot" cx={axis.x(place)} cy={bottom + 6} r="2.6" />}
      <DayLabels axis={axis} y={keptHeight - 6} dayName={dayName} />
    </>
  );
}
