import type { TrainingDayView, TrainingView } from "../../server/contract/trainingView.ts";
import { localDate } from "../text/clock.ts";
import { changesOn, seesVisits, shareText } from "../text/training.ts";
import { type DayAxis, dayInSlot, edges, usualTime } from "./dayAxis.ts";
import { ShareScale } from "./shareScale.tsx";

/**
 * The share of bouts with the act, a dot for each day: filled where it counts for the advice. The criterion is a line over the days of
 * each stage, the usual time of the present stage a quiet band. Without a perch switch the dots are acts a day.
 */
export const shareHeight = 212;
const top = 26;
const ground = 166;

interface DrawingProps {
  readonly view: TrainingView;
  readonly axis: DayAxis;
  readonly zone: string;
  readonly place: number;
  readonly dayName: (date: string) => string;
}

export function ShareDrawing(props: DrawingProps) {
  const { view, axis, zone, place } = props;
  const scale = valueScale(view);
  return (
    <>
      <UsualBand {...props} />
      <ShareScale width={axis.width} yOf={yOf} labelOf={scale.labelOf} />
      <Stages {...props} />
      <line class="place" x1={axis.x(place)} x2={axis.x(place)} y1={top - 6} y2={ground + 14} />
      <ChangePoints {...props} />
      {axis.dates.slice(0, axis.dayCount).map((date, slot) => {
        const day = dayInSlot(view, axis, slot);
        const part = day === undefined ? null : scale.partOf(day);
        return (
          <g key={date}>
            {changesOn(view, date, zone).length > 0 && <ChangeMark x={axis.x(slot)} y={ground + 6} />}
            {part !== null && (
              <circle
                class={day?.counts ? "dot" : "dot hollow"}
                cx={axis.x(slot)}
                cy={yOf(part)}
                r={slot === place ? 5.5 : Math.min(4, Math.max(2.6, axis.step / 2.4))}
              />
            )}
          </g>
        );
      })}
      <DayLabels {...props} y={shareHeight - 8} />
    </>
  );
}

const yOf = (part: number) => ground - part * (ground - top);

/** Where a day stands between the ground (0) and the top (1). */
function valueScale(view: TrainingView) {
  if (seesVisits(view))
    return {
      labelOf: (part: number) => shareText(part),
      partOf: ({ trials, successes }: TrainingDayView) =>
        trials === null || trials === 0 || successes === null ? null : successes / trials,
      criterionOf: (stage: TrainingView["stages"][number]) => stage.criterion.share,
    };
  const asked = view.stages.map(({ criterion }) => criterion.actsADay);
  const most = Math.max(2, ...view.days.map(({ acts }) => acts), ...asked);
  const even = 2 * Math.ceil(most / 2); // so that the middle is a whole number too
  return {
    labelOf: (part: number) => `${even * part}`,
    partOf: ({ acts }: TrainingDayView) => acts / even,
    criterionOf: (stage: TrainingView["stages"][number]) => stage.criterion.actsADay / even,
  };
}

function UsualBand({ view, axis, zone }: DrawingProps) {
  const usual = usualTime(view, zone);
  if (usual === null) return null;
  const from = Math.max(0, axis.slotOf(usual.from));
  const to = Math.min(axis.dates.length - 1, axis.slotOf(usual.to));
  if (to < from) return null;
  const x = axis.x(from) - axis.step / 2;
  return <rect class="usual" x={x} width={(to - from + 1) * axis.step} y={top} height={ground - top} />;
}

/** A line at the start of each stage with its number, and its name where there is room; and its criterion. */
function Stages({ view, axis, zone }: DrawingProps) {
  const scale = valueScale(view);
  const dateOf = (at: string) => localDate(Date.parse(at), zone);
  return (
    <>
      {view.periods.map(({ stage: id, name, from, to }) => {
        const start = Math.max(0, axis.slotOf(dateOf(from)));
        const end = to === null ? axis.dates.length : Math.max(0, axis.slotOf(dateOf(to)));
        if (end <= start) return null; // before the days that are shown
        const [x1, x2] = [axis.x(start) - axis.step / 2, axis.x(end) - axis.step / 2];
        const stage = view.stages.find((one) => one.id === id);
        const number = view.stages.findIndex((one) => one.id === id) + 1;
        const label = fittingLabel(number === 0 ? name : `${number} ${name}`, x2 - x1);
        return (
          <g key={from}>
            <line class="stage-start" x1={x1} x2={x1} y1={top - 18} y2={ground} />
            <text class="stage-name" x={x1 + 4} y={top - 8}>
              {label}
            </text>
            {stage !== undefined && (
              <line
                class="criterion"
                x1={x1}
                x2={x2}
                y1={yOf(scale.criterionOf(stage))}
                y2={yOf(scale.criterionOf(stage))}
              />
            )}
          </g>
        );
      })}
    </>
  );
}

const letterWidth = 6.6; // of the labels' 12 px, on the average; measured in Chromium
const fittingLabel = (label: string, width: number) =>
  label.length * letterWidth + 6 <= width ? label : (label.split(" ")[0] ?? "").slice(0, 2);

/** The level before and after, each over a few days. */
function ChangePoints({ view, axis }: DrawingProps) {
  if (!seesVisits(view)) return null;
  return (
    <>
      {view.judgement?.changePoints.map(({ date, before, after }) => {
        const x = axis.x(axis.slotOf(date)) - axis.step / 2;
        const reach = Math.max(16, 4 * axis.step);
        if (x < edges.left) return null;
        return (
          <path
            key={date}
            class="change-point"
            d={`M${x - reach} ${yOf(before)}H${x}V${yOf(after)}H${Math.min(axis.width, x + reach)}`}
          />
        );
      })}
    </>
  );
}

export const ChangeMark = ({ x, y }: { readonly x: number; readonly y: number }) => (
  <path class="change-mark" d={`M${x} ${y}l4.5 8h-9z`} />
);

/** The first day, and today; between them a mark for each week. */
export function DayLabels({ axis, y, dayName }: Pick<DrawingProps, "axis" | "dayName"> & { readonly y: number }) {
  const today = axis.dayCount - 1;
  const isShort = axis.x(today) - axis.x(0) < 150;
  return (
    <>
      {axis.dates.map((date, slot) =>
        (today - slot) % 7 === 0 ? (
          <line key={date} class="week" x1={axis.x(slot)} x2={axis.x(slot)} y1={y - 18} y2={y - 14} />
        ) : null,
      )}
      {!isShort && (
        <text class="scale" x={edges.left} y={y}>
          {dayName(axis.dates[0] ?? "")}
        </text>
      )}
      <text class="scale" x={axis.x(today)} y={y} text-anchor="end">
        {dayName(axis.dates[today] ?? "")}
      </text>
    </>
  );
}
