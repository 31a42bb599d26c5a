import { useRef } from "preact/hooks";
import { legendLabel, markNames, nightName, unpaidName } from "#text/dayChart.ts";
import type { DayMark, DayView } from "../../server/contract/api.ts";
import { timeText } from "../text/clock.ts";
import { type ChartMark, layoutDay, strokeLength } from "./dayLayout.ts";
import { MarkIcon } from "./markIcon.tsx";
import { useWidth } from "./useWidth.ts";

/** Lanes, in CSS pixels from the top of the chart. */
const lanes = { notes: 15, given: 42, ground: 78, below: 112, height: 128 } as const;

/** One day from sunset to sunset. A summary and a table are next to it, for people who can't see it. */
export function DayChart(props: { readonly day: DayView; readonly zone: string; readonly nowMs: number }) {
  const frame = useRef<HTMLDivElement>(null);
  const width = useWidth(frame, 340);
  const { day, zone } = props;
  const ribbon = layoutDay(day, width, (at) => timeText(at, zone));
  const nowX = ribbon.xOf(new Date(props.nowMs).toISOString());
  return (
    <div class="chart-frame" ref={frame}>
      <svg class="day-chart" viewBox={`0 0 ${width} 150`} width={width} height="150" role="img" aria-label={day.text}>
        {ribbon.spans.map(({ kind, x, width }) => (
          <rect key={`${kind}${x}`} class={`light ${kind}`} x={x} y="0" width={width + 0.5} height={lanes.height} />
        ))}
        {ribbon.hours.map(({ x, label }) => (
          <g key={label + x}>
            <line class="hour" x1={x} x2={x} y1={lanes.height - 5} y2={lanes.height} />
            <text class="hour-label" x={x} y="145" text-anchor="middle">
              {label}
            </text>
          </g>
        ))}
        <rect class="edge" x="0.75" y="0.75" width={width - 1.5} height={lanes.height - 1.5} />
        <line class="ground" x1="0" x2={width} y1={lanes.ground} y2={lanes.ground} />
        {nowX > 0 && nowX < width && (
          <>
            <rect class="not-reached" x={nowX} y="0" width={width - nowX} height={lanes.height} />
            <line class="now" x1={nowX} x2={nowX} y1="0" y2={lanes.height} />
          </>
        )}
        {ribbon.marks.map((mark) => (
          <Mark key={`${mark.kind}${mark.x}`} mark={mark} />
        ))}
      </svg>
    </div>
  );
}

/** A day as one row among many: only light, visits, deposits and portions. */
export function DayChartRow(props: { readonly day: DayView; readonly zone: string }) {
  const frame = useRef<HTMLDivElement>(null);
  const width = useWidth(frame, 340);
  const { day, zone } = props;
  const ribbon = layoutDay(day, width, (at) => timeText(at, zone));
  const ground = 30;
  return (
    <div class="chart-frame" ref={frame}>
      <svg class="day-chart" viewBox={`0 0 ${width} 48`} width={width} height="48" role="img" aria-label={day.text}>
        {ribbon.spans.map(({ kind, x, width }) => (
          <rect key={`${kind}${x}`} class={`light ${kind}`} x={x} y="0" width={width + 0.5} height="48" />
        ))}
        <rect class="edge" x="0.75" y="0.75" width={width - 1.5} height="46.5" />
        <line class="ground" x1="0" x2={width} y1={ground} y2={ground} />
        {ribbon.marks.map(({ kind, x, count, unpaidCount }) => {
          const key = `${kind}${x}`;
          if (kind === "visit" || kind === "portion") {
            const end = ground + (kind === "visit" ? -strokeLength(count, 14) : strokeLength(count, 12));
            return <line key={key} class={`count-line ${kind}`} x1={x} x2={x} y1={ground} y2={end} />;
          }
          if (kind === "deposit")
            return <circle key={key} class={unpaidCount ? "ink-line" : "ink-fill"} cx={x} cy="9" r="2.6" />;
          if (kind === "alarm") return <path key={key} class="alarm-fill" d={`M${x} 3v18M${x} 3l8 3.5l-8 3.5z`} />;
          return null;
        })}
      </svg>
    </div>
  );
}

function Mark({ mark }: { readonly mark: ChartMark }) {
  switch (mark.kind) {
    case "visit": // a pencil stroke, standing on the ground
      return <Stroke mark={mark} direction={-1} />;
    case "portion": // hanging below the ground, a kernel at its end
      return <Stroke mark={mark} direction={1} />;
    case "press":
    case "deposit":
      return <PlacedMark mark={mark} y={lanes.given} />;
    case "refill":
    case "trouble":
    case "alarm":
    case "note":
      return <PlacedMark mark={mark} y={lanes.notes} />;
  }
}

function Stroke(props: { readonly mark: ChartMark; readonly direction: -1 | 1 }) {
  const { x, count } = props.mark;
  const end = lanes.ground + props.direction * strokeLength(count, 22);
  return (
    <g>
      <line class={`count-line ${props.mark.kind}`} x1={x} x2={x} y1={lanes.ground} y2={end} />
      {props.direction === 1 && <ellipse class="kernel" cx={x} cy={end + 2} rx="2.2" ry="3.2" />}
    </g>
  );
}

function PlacedMark(props: { readonly mark: ChartMark; readonly y: number }) {
  const { kind, x, count, unpaidCount } = props.mark;
  return (
    <g transform={`translate(${x.toFixed(1)} ${props.y + (kind === "press" ? 16 : 0)})`}>
      <MarkIcon kind={kind} unpaid={unpaidCount} />
      {count > 1 && (kind === "deposit" || kind === "alarm") && (
        <text class="count" y={-9} text-anchor="middle">
          {count}
        </text>
      )}
    </g>
  );
}

export const markName = (kind: DayMark["kind"]): string => markNames[kind];

/** What each mark means. Only those that this day has. */
export function DayChartLegend(props: { readonly day: DayView }) {
  const kinds = new Set(props.day.marks.map((mark) => mark.kind));
  const unpaid = props.day.marks.some((mark) => mark.unpaid === true);
  const shown = (Object.keys(markNames) as DayMark["kind"][]).filter((kind) => kinds.has(kind));
  return (
    <ul class="chart-legend" aria-label={legendLabel}>
      {shown.map((kind) => (
        <li key={kind}>
          <LegendMark kind={kind} unpaid={false} />
          {markNames[kind]}
        </li>
      ))}
      {props.day.light.some((span) => span.kind === "night") && (
        <li>
          <svg class="day-chart" viewBox="0 0 18 18" width="18" height="18" aria-hidden="true">
            <rect class="light night" width="18" height="18" />
            <rect class="edge" x="0.75" y="0.75" width="16.5" height="16.5" />
          </svg>
          {nightName}
        </li>
      )}
      {unpaid && (
        <li>
          <LegendMark kind="deposit" unpaid={true} />
          {unpaidName}
        </li>
      )}
    </ul>
  );
}
const LegendMark = (props: { readonly kind: DayMark["kind"]; readonly unpaid: boolean }) => (
  <svg class="day-chart" viewBox="-9 -9 18 18" width="18" height="18" aria-hidden="true">
    {props.kind === "visit" ? <path class="count-line visit" d="M-4 7V-4M0 7V-7M4 7V-2" /> : <MarkIcon {...props} />}
  </svg>
);
