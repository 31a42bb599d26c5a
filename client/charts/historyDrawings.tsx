import { edges } from "./dayAxis.ts";
import { knownRuns, placesAxis } from "./historyAxis.ts";

/** Drawings of a history by day. Values that aren't known are gaps. */
export const historyHeight = 156;
const top = 26; // above it: names of stages, amounts of refills
const bottom = 128;

export interface DrawnDays {
  readonly width: number;
  readonly place: number;
  readonly count: number;
  readonly labels: readonly { readonly place: number; readonly text: string }[];
}

interface BandProps extends DrawnDays, Band {
  readonly range: readonly [least: number, most: number];
  readonly rangeTexts: readonly [least: string, most: string];
  readonly lines: readonly number[]; // levels that matter, such as freezing
  readonly zones: readonly Zone[];
  /** Days on which something doesn't hold, as a strip at the bottom. */
  readonly coldDays: readonly number[];
  readonly refills: readonly Refill[];
  /** From the last known value down to nothing, in places beyond the last; null: no forecast. */
  readonly fan: Fan | null;
}
export interface Band {
  readonly low: readonly (number | null)[];
  readonly middle: readonly (number | null)[];
  readonly high: readonly (number | null)[];
}
/** Values between which something is different, such as the doubtful ones about freezing. */
export interface Zone {
  readonly from: number;
  readonly to: number;
  readonly kind: "frozen" | "doubtful" | "low";
}
export interface Refill {
  readonly place: number;
  readonly text: string; // its amount; empty: not known
}
export interface Fan {
  readonly from: number;
  readonly earliest: number;
  readonly latest: number;
}

/** A line within its band. */
export function BandDrawing(props: BandProps) {
  const { width, place, count, range, rangeTexts, lines, refills } = props;
  const axis = placesAxis(count, width);
  const y = (value: number) => bottom - ((value - range[0]) / Math.max(1e-9, range[1] - range[0])) * (bottom - top);
  return (
    <>
      <Zones {...props} y={y} />
      <line class="place" x1={axis.x(place)} x2={axis.x(place)} y1={top - 4} y2={bottom} />
      <BandAndCurve {...props} axis={axis} y={y} />
      {lines
        .filter((line) => line > range[0] && line < range[1])
        .map((line) => (
          <line key={line} class="criterion" x1={edges.left} x2={width - edges.right} y1={y(line)} y2={y(line)} />
        ))}
      <Refills refills={refills} axis={axis} />
      <Scale width={width} texts={rangeTexts} />
      <Labels {...props} />
    </>
  );
}

function BandAndCurve(props: BandProps & { readonly axis: Axis; readonly y: (value: number) => number }) {
  const { axis, y, low, middle, high, fan, refills } = props;
  const isStep = (index: number) => refills.some((refill) => refill.place === index);
  // A refill is a step between two days, and no slope through the night.
  const points = (run: readonly number[], values: readonly (number | null)[]) =>
    run.flatMap((index, at) => {
      const [value, before] = [y(values[index] ?? 0), values[run[at - 1] ?? -1]];
      const edge = axis.x(index) - axis.step / 2;
      const here = [`${axis.x(index)},${value}`];
      return isStep(index) && before != null ? [`${edge},${y(before)}`, `${edge},${value}`, ...here] : here;
    });
  const last = fan === null ? null : middle[fan.from];
  return (
    <>
      {knownRuns(low).map((run) => (
        <polygon
          key={run[0]}
          class="band"
          points={[...points(run, low), ...points(run, high).toReversed()].join(" ")}
        />
      ))}
      {fan !== null && last != null && (
        <polygon
          class="fan"
          points={`${axis.x(fan.from)},${y(last)} ${axis.x(fan.earliest)},${y(0)} ${axis.x(fan.latest)},${y(0)}`}
        />
      )}
      {knownRuns(middle).map((run) => (
        <polyline key={run[0]} class="curve" points={points(run, middle).join(" ")} />
      ))}
    </>
  );
}

function Zones({ zones, coldDays, range, width, count, y }: BandProps & { readonly y: (value: number) => number }) {
  const axis = placesAxis(count, width);
  const within = (value: number) => y(Math.max(range[0], Math.min(range[1], value)));
  return (
    <>
      {zones.map(({ from, to, kind }) => (
        <rect
          key={kind}
          class={`zone ${kind}`}
          x={edges.left}
          width={width - edges.left - edges.right}
          y={within(to)}
          height={Math.max(0, within(from) - within(to))}
        />
      ))}
      {coldDays.map((place) => (
        <rect
          key={place}
          class="cold-day"
          x={axis.x(place) - axis.step / 2}
          width={axis.step}
          y={bottom - 9}
          height="9"
        />
      ))}
    </>
  );
}

type Axis = ReturnType<typeof placesAxis>;

/** What was filled in, at the top of its step; its amount where there is room. */
function Refills({ refills, axis }: { readonly refills: readonly Refill[]; readonly axis: Axis }) {
  const labelWidth = 40;
  const xs = refills.map(({ place }) => axis.x(place) - axis.step / 2);
  return (
    <>
      {refills.map(({ place, text }, index) => {
        const x = xs[index] ?? 0;
        const hasRoom = xs.every((other, at) => at === index || Math.abs(other - x) >= labelWidth);
        return (
          <g key={place}>
            <path class="refill" d={`M${x} ${top - 8}l-5 8h10z`} />
            {hasRoom && (
              <text class="scale" x={x} y={top - 12} text-anchor="middle">
                {text}
              </text>
            )}
          </g>
        );
      })}
    </>
  );
}

/** Where something begins, with its names from the longest to the shortest. */
export interface Tick {
  readonly place: number;
  readonly names: readonly string[];
}
const letterWidth = 7.4; // of an italic label of 12 px, at most on the average of a name; measured in Chromium

function Ticks({
  ticks,
  axis,
  width,
}: {
  readonly ticks: readonly Tick[];
  readonly axis: Axis;
  readonly width: number;
}) {
  const xs = ticks.map(({ place }) => axis.x(place) - axis.step / 2);
  return (
    <>
      {ticks.map(({ place, names }, index) => {
        const x = xs[index] ?? 0;
        const room = (xs[index + 1] ?? width - edges.right) - x - 8;
        const name = names.find(({ length }) => length * letterWidth <= room) ?? names.at(-1);
        return (
          <g key={place}>
            <line class="stage-start" x1={x} x2={x} y1="2" y2={bottom} />
            <text class="stage-name" x={x + 4} y="12">
              {name}
            </text>
          </g>
        );
      })}
    </>
  );
}

interface BarsProps extends DrawnDays {
  readonly up: readonly (number | null)[];
  readonly down: readonly (number | null)[];
  readonly mean: readonly (number | null)[];
  readonly ticks: readonly Tick[];
  /** The most up and down, where drawings have one scale; else what there is. */
  readonly scale?: { readonly up: number; readonly down: number };
}

/** Counts stand on the ground, what should not be hangs below it; the mean of a week is a line. */
export function BarsDrawing(props: BarsProps) {
  const { width, place, count, up, down, mean, scale } = props;
  const axis = placesAxis(count, width);
  const most = Math.max(1, scale?.up ?? 0, ...up.map((value) => value ?? 0));
  const mostDown = Math.max(0, scale?.down ?? 0, ...down.map((value) => value ?? 0));
  const unit = (bottom - top) / (most + Math.max(mostDown, most / 8));
  const ground = top + most * unit;
  const bar = Math.max(1.5, axis.step * 0.62);
  return (
    <>
      <Ticks ticks={props.ticks} axis={axis} width={width} />
      <line class="place" x1={axis.x(place)} x2={axis.x(place)} y1={top - 4} y2={bottom} />
      <Bars class="paid" values={up} x={(index) => axis.x(index) - bar / 2} width={bar} from={ground} unit={-unit} />
      <Bars
        class="unpaid"
        values={down}
        x={(index) => axis.x(index) - bar / 2}
        width={bar}
        from={ground + 1.5}
        unit={unit}
      />
      {knownRuns(mean).map((run) => (
        <polyline
          key={run[0]}
          class="curve"
          points={run.map((index) => `${axis.x(index)},${ground - (mean[index] ?? 0) * unit}`).join(" ")}
        />
      ))}
      <line class="ground" x1={edges.left} x2={width - edges.right} y1={ground} y2={ground} />
      <text class="scale" x={edges.left - 6} y={top + 10} text-anchor="end">
        {most}
      </text>
      <Labels {...props} />
    </>
  );
}

/** @param props.unit height of one, below `from` where it is positive */
const Bars = (props: {
  readonly class: string;
  readonly values: readonly (number | null)[];
  readonly x: (place: number) => number;
  readonly width: number;
  readonly from: number;
  readonly unit: number;
}) => (
  <>
    {props.values.map((value, index) => {
      if (value === null || value === 0) return null;
      const height = Math.max(3, value * Math.abs(props.unit));
      const y = props.unit < 0 ? props.from - height : props.from;
      return <rect key={index} class={props.class} x={props.x(index)} width={props.width} y={y} height={height} />;
    })}
  </>
);

const Scale = ({
  width,
  texts: [least, most],
}: {
  readonly width: number;
  readonly texts: readonly [string, string];
}) => (
  <>
    <line class="ground" x1={edges.left} x2={width - edges.right} y1={bottom} y2={bottom} />
    <text class="scale" x={edges.left - 4} y={top + 10} text-anchor="end">
      {most}
    </text>
    <text class="scale" x={edges.left - 4} y={bottom} text-anchor="end">
      {least}
    </text>
  </>
);

function Labels({ width, count, labels }: DrawnDays) {
  const axis = placesAxis(count, width);
  return (
    <>
      {labels.map(({ place, text }, index) => (
        <text
          key={place}
          class="scale"
          x={axis.x(place)}
          y={historyHeight - 6}
          text-anchor={index === 0 ? "start" : index === labels.length - 1 ? "end" : "middle"}
        >
          {text}
        </text>
      ))}
    </>
  );
}
