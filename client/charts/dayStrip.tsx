import type { Daylight } from "./daylight.ts";
import type { MonthDay, StripHour } from "./monthDays.ts";

/** A day as a row among many: its light, and what was in each of its hours. All lengths are CSS pixels. */
const height = 36;
const barMost = 22;

export interface StripScale {
  readonly from: number; // hours of the local clock
  readonly to: number;
  readonly width: number;
  readonly most: number; // of one kind in one hour
  /** The hour of the local clock, with its fraction, of a moment. */
  readonly hourOf: (at: number) => number;
}
interface StripProps {
  readonly day: MonthDay;
  readonly scale: StripScale;
  readonly label: string;
}

export function DayStrip({ day, scale, label }: StripProps) {
  const { width } = scale;
  const step = width / (scale.to - scale.from);
  return (
    <svg
      class="day-chart strip"
      viewBox={`0 0 ${width} ${height}`}
      width={width}
      height={height}
      role="img"
      aria-label={label}
    >
      <rect class={`light ${day.light === null ? "unknown" : "night"}`} width={width} height={height} />
      {day.light !== null && <Light light={day.light} scale={scale} />}
      {day.hours
        .filter(({ hour }) => hour >= scale.from && hour < scale.to)
        .map((hour) => (
          <HourBars
            key={hour.hour}
            {...hour}
            x={(hour.hour - scale.from) * step}
            step={step}
            unit={barMost / scale.most}
          />
        ))}
      <line class="ground" x1="0" x2={width} y1={height - 7} y2={height - 7} />
    </svg>
  );
}

const Light = ({ light, scale }: { readonly light: Daylight; readonly scale: StripScale }) => {
  const { from, to, width, hourOf } = scale;
  const x = (hour: number) => (width * (Math.max(from, Math.min(to, hour)) - from)) / (to - from);
  return (
    <>
      {(["lit", "day"] as const).map((kind) => {
        const extent = light[kind];
        if (extent === null) return null;
        const [start, end] = [hourOf(extent.from), hourOf(extent.to)];
        const right = x(end <= start ? 24 : end); // it ends at or after midnight
        return (
          <rect
            key={kind}
            class={`light ${kind === "lit" ? "twilight" : "day"}`}
            x={x(start)}
            width={right - x(start)}
            height={height}
          />
        );
      })}
    </>
  );
};

function HourBars(props: StripHour & { readonly x: number; readonly step: number; readonly unit: number }) {
  const { counts, x, step, unit } = props;
  if (counts === null) {
    const lines = [0.25, 0.75].map((at) => `M${x + at * step} ${height}L${x + at * step + 6} 0`);
    return <path class="hatching" d={lines.join("")} />;
  }
  const wide = Math.max(1.6, step / 3 - 1.4);
  const ground = height - 7;
  const bar = (kind: string, count: number | null, place: number, below = 0) => {
    if (count === null || count === 0) return null;
    const high = Math.max(2.5, count * unit);
    return (
      <rect class={`bar ${kind}`} x={x + 1 + place * (wide + 1)} width={wide} y={ground - below - high} height={high} />
    );
  };
  return (
    <>
      {bar("visit", counts.visits, 0)}
      {bar("press", counts.presses, 1)}
      {bar("deposit", counts.paid, 2)}
      {bar(
        "unpaid",
        counts.unpaid,
        2,
        counts.paid === null || counts.paid === 0 ? 0 : Math.max(2.5, counts.paid * unit),
      )}
    </>
  );
}

/** The hours of the clock above the strips. */
export function StripHours({ from, to, width }: Pick<StripScale, "from" | "to" | "width">) {
  const step = width / (to - from);
  const every = [1, 2, 3, 6].find((hours) => hours * step >= 34) ?? 12;
  const hours = Array.from({ length: to - from - 1 }, (_, index) => from + 1 + index).filter(
    (hour) => hour % every === 0,
  );
  return (
    <svg class="day-chart" viewBox={`0 0 ${width} 16`} width={width} height="16" aria-hidden="true">
      {hours.map((hour) => (
        <text key={hour} class="hour-label" x={(hour - from) * step} y="12" text-anchor="middle">
          {hour}
        </text>
      ))}
    </svg>
  );
}
