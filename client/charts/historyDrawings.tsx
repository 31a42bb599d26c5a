import { edges } from "./dayAxis.ts";
import { knownRuns, placesAxis } from "./historyAxis.ts";

/** Drawings of a history by day. Values that aren't known are gaps. */
export const historyHeight = 140;
const top = 10;
const bottom = 112;

export interface DrawnDays {
  readonly width: number;
  readonly place: number;
  readonly count: number;
  readonly labels: readonly { readonly place: number; readonly text: string }[];
}

interface BandProps extends DrawnDays {
  readonly low: readonly (number | null)[];
  readonly middle: readonly (number | null)[];
  readonly high: readonly (number | null)[];
  readonly range: readonly [least: number, most: number];
  readonly rangeTexts: readonly [least: string, most: string];
  readonly line: number | null; // a level that matters, such as freezing
  /** From the last known value down to nothing, in places beyond the last; null: no forecast. */
  readonly fan: { readonly from: number; readonly earliest: number; readonly latest: number } | null;
}

/** A line within its band. */
export function BandDrawing(props: BandProps) {
  const { width, place, count, low, middle, high, range, rangeTexts, line, fan } = props;
  const axis = placesAxis(count, width);
  const y = (value: number) => bottom - ((value - range[0]) / Math.max(1e-9, range[1] - range[0])) * (bottom - top);
  const points = (run: readonly number[], values: readonly (number | null)[]) =>
    run.map((index) => `${axis.x(index)},${y(values[index] ?? 0)}`);
  const last = fan === null ? null : middle[fan.from];
  return (
    <>
      <line class="place" x1={axis.x(place)} x2={axis.x(place)} y1={top - 4} y2={bottom} />
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
      {line !== null && line > range[0] && line < range[1] && (
        <line class="criterion" x1={edges.left} x2={width - edges.right} y1={y(line)} y2={y(line)} />
      )}
      <Scale width={width} texts={rangeTexts} />
      <Labels {...props} />
    </>
  );
}

interface BarsProps extends DrawnDays {
  readonly up: readonly (number | null)[];
  readonly down: readonly (number | null)[];
  readonly mean: readonly (number | null)[];
}

/** Counts stand on the ground, what should not be hangs below it; the mean of a week is a line. */
export function BarsDrawing(props: BarsProps) {
  const { width, place, count, up, down, mean } = props;
  const axis = placesAxis(count, width);
  const most = Math.max(1, ...up.map((value) => value ?? 0));
  const mostDown = Math.max(0, ...down.map((value) => value ?? 0));
  const unit = (bottom - top) / (most + Math.max(mostDown, most / 8));
  const ground = top + most * unit;
  const bar = Math.max(1.5, axis.step * 0.62);
  return (
    <>
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
