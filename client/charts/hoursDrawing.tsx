import { edges } from "./dayAxis.ts";

/** Acts by hour of the local day, as 24 bars; the hours of night are shaded where they are known. */
export const hoursHeight = 132;
const top = 10;
const ground = 104;

/** Hours of the local clock, 0 to 24. */
export interface HourSpan {
  readonly from: number;
  readonly to: number;
}

const hourX = (hour: number, width: number) => edges.left + ((width - edges.left - edges.right) * hour) / 24;
export const hourAt = (x: number, width: number) =>
  Math.max(0, Math.min(23, Math.floor((24 * (x - edges.left)) / (width - edges.left - edges.right))));

interface DrawingProps {
  readonly acts: readonly number[];
  /** The same of an earlier time: as a line at each bar. */
  readonly before?: readonly number[];
  readonly nights: readonly HourSpan[];
  readonly width: number;
  readonly place: number;
  readonly mostText: string;
  /** What the height stands for, where drawings have one scale; else the most that there is. */
  readonly most?: number;
}

export const HoursDrawing = (props: DrawingProps) => (
  <>
    {props.nights.map(({ from, to }) => (
      <rect
        key={from}
        class="night"
        x={hourX(from, props.width)}
        width={hourX(to, props.width) - hourX(from, props.width)}
        y={top}
        height={ground - top}
      />
    ))}
    <text class="scale" x={edges.left - 6} y={top + 9} text-anchor="end">
      {props.mostText}
    </text>
    <Bars {...props} />
    <line class="ground" x1={edges.left} x2={props.width - edges.right} y1={ground} y2={ground} />
    <circle class="dot" cx={hourX(props.place + 0.5, props.width)} cy={ground + 6} r="2.6" />
    {[0, 6, 12, 18, 24].map((hour) => (
      <text key={hour} class="scale" x={hourX(hour, props.width)} y={hoursHeight - 6} text-anchor={anchorOf(hour)}>
        {hour}
      </text>
    ))}
  </>
);

function Bars({ acts, before = [], width, place, most: scale = 0.01 }: DrawingProps) {
  const most = Math.max(scale, ...acts, ...before);
  const step = (width - edges.left - edges.right) / 24;
  return (
    <>
      {acts.map((count, hour) => {
        const height = ((ground - top - 6) * count) / most;
        return (
          <rect
            key={hour}
            class={hour === place ? "paid chosen" : "paid"}
            x={hourX(hour, width) + step * 0.16}
            width={step * 0.68}
            y={ground - height}
            height={height}
          />
        );
      })}
      {before.map((count, hour) => (
        <line
          key={hour}
          class="curve"
          x1={hourX(hour, width)}
          x2={hourX(hour + 1, width)}
          y1={ground - ((ground - top - 6) * count) / most}
          y2={ground - ((ground - top - 6) * count) / most}
        />
      ))}
    </>
  );
}

const anchorOf = (hour: number) => (hour === 0 ? "start" : hour === 24 ? "end" : "middle");
