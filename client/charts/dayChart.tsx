import type { ComponentChildren } from "preact";
import { legendLabel, markNames, nightName, noReportName, rowNames, twilightName, unpaidName } from "#text/dayChart.ts";
import type { DayMark, DayView } from "../../server/contract/api.ts";
import type { BinnedKind, DayBin } from "./dayBins.ts";
import { type ChartMark, type DayLayout, namesWidth } from "./dayLayout.ts";
import { MarkIcon } from "./markIcon.tsx";

interface DayChartProps {
  readonly layout: DayLayout;
  readonly width: number;
  readonly text: string; // for whoever can't see it
  /** ms: of what comes later nothing is known here. */
  readonly knownUntil: number;
  /** The bin that is read out. */
  readonly place: number;
  readonly choose: (place: number) => void;
}

// CSS pixels. Bars of all kinds have one scale, so that half as many are half as high.
const notesHeight = 26;
const rowHeight = 42;
const barMost = 26;
const axisHeight = 22;

/** One day from sunset to sunset. A summary, a reader and a table are next to it, for people who can't see it. */
export function DayChart({ layout, width, text, knownUntil, place, choose }: DayChartProps) {
  const ground = notesHeight + Math.max(1, layout.kinds.length) * rowHeight;
  const follow = ({ currentTarget, clientX }: PointerEvent) => {
    const x = clientX - (currentTarget as Element).getBoundingClientRect().left;
    choose(
      Math.max(
        0,
        layout.bins.findLastIndex((bin) => bin.x <= x),
      ),
    );
  };
  const chosen = layout.bins[place];
  return (
    <svg
      class="day-chart"
      viewBox={`0 0 ${width} ${ground + axisHeight}`}
      width={width}
      height={ground + axisHeight}
      role="img"
      aria-label={text}
      onPointerDown={follow}
      onPointerMove={(event) => event.buttons > 0 && follow(event)}
    >
      <Light layout={layout} height={ground} knownUntil={knownUntil} right={width} />
      {chosen !== undefined && (
        <rect class="chosen" x={chosen.x} width={chosen.width} y={notesHeight - 4} height={ground - notesHeight + 4} />
      )}
      <rect class="edge" x={namesWidth} y="0.75" width={width - namesWidth - 0.75} height={ground - 1.5} />
      {layout.kinds.map((kind, row) => (
        <Row key={kind} kind={kind} layout={layout} base={notesHeight + (row + 1) * rowHeight - 4} right={width} />
      ))}
      {layout.marks.map((mark) => (
        <PlacedMark key={`${mark.kind}${mark.x}`} mark={mark} />
      ))}
      <Hours layout={layout} ground={ground} />
    </svg>
  );
}

const Light = (props: {
  readonly layout: DayLayout;
  readonly height: number;
  readonly knownUntil: number;
  readonly right: number;
}) => {
  const { layout, height, right } = props;
  const known = layout.scale.x(props.knownUntil);
  return (
    <>
      {layout.scale.spans.map(({ kind, x, width }) => (
        <rect key={`${kind}${x}`} class={`light ${kind}`} x={x} y="0" width={width} height={height} />
      ))}
      {right - known > 3 && <Hatching x={known} width={right - known} height={height} />}
    </>
  );
};

/** Slanted lines: of these hours no report has come. Drawn as lines, since a pattern needs a name in the whole page. */
function Hatching({ x, width, height }: { readonly x: number; readonly width: number; readonly height: number }) {
  const gap = 8;
  const count = Math.ceil((width + height) / gap);
  const lines = Array.from({ length: count }, (_, index) => {
    const start = x - height + index * gap; // where the line meets the bottom
    const [from, to] = [Math.max(x, start), Math.min(x + width, start + height)];
    return from < to ? `M${from} ${height - (from - start)}L${to} ${height - (to - start)}` : "";
  });
  return (
    <>
      <rect class="unreported" x={x} y="0" width={width} height={height} />
      <path class="hatching" d={lines.join("")} />
    </>
  );
}

function Row(props: {
  readonly kind: BinnedKind;
  readonly layout: DayLayout;
  readonly base: number;
  readonly right: number;
}) {
  const { kind, layout, base } = props;
  return (
    <>
      <text class="row-name" x="0" y={base - 1}>
        {rowNames[kind]}
      </text>
      {layout.bins.map((bin) => (
        <Bar key={bin.from} kind={kind} bin={bin} base={base} unit={barMost / layout.most} />
      ))}
      <line class="ground" x1={namesWidth} x2={props.right} y1={base} y2={base} />
    </>
  );
}

function Bar({ kind, bin, base, unit }: { kind: BinnedKind; bin: DayBin; base: number; unit: number }) {
  const count = bin.counts[kind];
  if (count === 0) return null;
  const height = Math.max(4, count * unit);
  const unpaid = kind === "deposit" ? (height * bin.unpaid) / count : 0;
  const width = Math.max(2.5, Math.min(13, bin.width - 3));
  const x = bin.x + bin.width / 2 - width / 2;
  const label = String(count);
  const fits = count > 1 && bin.width >= 6.8 * label.length;
  return (
    <>
      {height > unpaid && (
        <rect class={`bar ${kind}`} x={x} width={width} y={base - height + unpaid} height={height - unpaid} />
      )}
      {unpaid > 0 && <rect class="bar unpaid" x={x} width={width} y={base - height} height={unpaid} />}
      {fits && (
        <text class="count" x={bin.x + bin.width / 2} y={base - height - 3} text-anchor="middle">
          {label}
        </text>
      )}
    </>
  );
}

const Hours = ({ layout, ground }: { readonly layout: DayLayout; readonly ground: number }) => (
  <>
    {layout.hours.map(({ x, label }) => (
      <g key={label + x}>
        <line class="hour" x1={x} x2={x} y1={ground - 5} y2={ground} />
        <text class="hour-label" x={x} y={ground + 17} text-anchor="middle">
          {label}
        </text>
      </g>
    ))}
  </>
);

const PlacedMark = ({ mark: { kind, x, count } }: { readonly mark: ChartMark }) => (
  <g transform={`translate(${x.toFixed(1)} 14)`}>
    <MarkIcon kind={kind} />
    {count > 1 && (
      <text class="count" x="8" y="4">
        {count}
      </text>
    )}
  </g>
);

export const markName = (kind: DayMark["kind"]): string => markNames[kind];

/** What each mark means. Only those that this day has. */
export function DayChartLegend({ day, isKnown }: { readonly day: DayView; readonly isKnown: boolean }) {
  const has = (kind: DayMark["kind"]) => day.marks.some((mark) => mark.kind === kind);
  const lit = (kind: string) => day.light.some((span) => span.kind === kind);
  return (
    <ul class="chart-legend" aria-label={legendLabel}>
      {(["alarm", "refill", "trouble", "note"] as const).filter(has).map((kind) => (
        <LegendEntry key={kind} name={markNames[kind]}>
          <MarkIcon kind={kind} />
        </LegendEntry>
      ))}
      {day.marks.some((mark) => mark.unpaid === true) && (
        <LegendEntry name={unpaidName}>
          <rect class="bar unpaid" x="-5" y="-7" width="10" height="14" />
        </LegendEntry>
      )}
      {lit("twilight") && (
        <LegendEntry name={twilightName}>
          <Patch kind="twilight" />
        </LegendEntry>
      )}
      {lit("night") && (
        <LegendEntry name={nightName}>
          <Patch kind="night" />
        </LegendEntry>
      )}
      {!isKnown && (
        <LegendEntry name={noReportName}>
          <Patch kind="unreported" />
          <path class="hatching" d="M-8 0L0 -8M-8 8L8 -8M0 8L8 0" />
        </LegendEntry>
      )}
    </ul>
  );
}
const Patch = ({ kind }: { readonly kind: string }) => (
  <>
    <rect class={kind === "unreported" ? kind : `light ${kind}`} x="-8" y="-8" width="16" height="16" />
    <rect class="edge" x="-8" y="-8" width="16" height="16" />
  </>
);
const LegendEntry = (props: { readonly name: string; readonly children: ComponentChildren }) => (
  <li>
    <svg class="day-chart" viewBox="-9 -9 18 18" width="18" height="18" aria-hidden="true">
      {props.children}
    </svg>
    {props.name}
  </li>
);
