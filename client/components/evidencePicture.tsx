import { useRef, useState } from "preact/hooks";
import * as text from "#text/evidencePicture.ts";
import type { AlarmView, FeederView, HistoryView, PortionsView } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { type EvidenceDots, type EvidenceLayout, evidenceLayout, laneHeight } from "../charts/evidenceLayout.ts";
import { useWidth } from "../charts/useWidth.ts";
import { serverNow } from "../state/clock.ts";
import { timeText } from "../text/clock.ts";
import { roughNumberText } from "../text/format.ts";
import { useLoad } from "./useLoad.ts";

const hourMs = 3_600_000;

/** What the feeder did in the hours before an alarm and one after: drawn from the record, so that a person can judge it too. */
export function EvidencePicture(props: {
  readonly alarm: AlarmView;
  readonly feeder: FeederView;
  readonly zone: string;
}) {
  const { alarm, feeder, zone } = props;
  const at = Date.parse(alarm.since);
  const [span] = useState(() => ({ from: at - 6 * hourMs, to: Math.min(at + hourMs, serverNow()), at }));
  const [found, setFound] = useState<{ portions: PortionsView; history: HistoryView | null } | null>(null);
  const [failed, setFailed] = useState(false);
  useLoad(async () => {
    const [from, to] = [new Date(span.from).toISOString(), new Date(span.to).toISOString()];
    const portions = await laterApi.portions(feeder.id, from, to);
    const history =
      portions.kind === "ok"
        ? await laterApi.history(feeder.id, { from, to, points: 100, columns: "hopperGrams" })
        : null;
    if (portions.kind === "ok")
      setFound({ portions: portions.value, history: history?.kind === "ok" ? history.value : null });
    setFailed(portions.kind !== "ok");
    return portions;
  }, [feeder.id, span]);
  if (failed) return <p class="hint">{text.notLoadedText}</p>;
  if (found === null) return null;
  const { portions } = found.portions;
  const empty = portions.filter(({ pieces }) => pieces === 0).length;
  const sentence = text.pictureText(portions.length, empty, timeText(alarm.since, zone));
  return (
    <figure class="evidence">
      <Lanes found={found} span={span} zone={zone} sentence={sentence} />
      <figcaption>
        {sentence} {found.portions.isCut && text.cutText}
      </figcaption>
      {portions.length > 0 && <PortionTable portions={portions} zone={zone} />}
    </figure>
  );
}

const left = 62;

function Lanes(props: {
  readonly zone: string;
  readonly found: { readonly portions: PortionsView; readonly history: HistoryView | null };
  readonly span: Parameters<typeof evidenceLayout>[2];
  readonly sentence: string;
}) {
  const frame = useRef<HTMLDivElement>(null);
  const width = useWidth(frame, 320);
  const { found, span, zone, sentence } = props;
  const layout = evidenceLayout(found.portions, found.history, span, width - left - 8);
  const lanes = (["pieces", "milliamps", "grams"] as const).filter((lane) => layout.most[lane] !== null);
  if (lanes.length === 0) return null;
  const height = lanes.length * (laneHeight + 14) + 18;
  const timeAt = (ms: number) => timeText(new Date(ms).toISOString(), zone);
  return (
    <div class="chart-frame" ref={frame}>
      <svg viewBox={`0 0 ${width} ${height}`} width={width} height={height} role="img" aria-label={sentence}>
        <line class="moment" x1={left + layout.momentX} x2={left + layout.momentX} y1="0" y2={height - 16} />
        <text class="lane-name" x={left} y={height - 2}>
          {timeAt(span.from)}
        </text>
        <text class="lane-name" x={width - 8} y={height - 2} text-anchor="end">
          {timeAt(span.to)}
        </text>
        {lanes.map((lane, index) => (
          <g key={lane} transform={`translate(0 ${index * (laneHeight + 14) + 8})`}>
            <Lane lane={lane} layout={layout} width={width - left - 8} />
          </g>
        ))}
      </svg>
    </div>
  );
}

const Lane = (props: {
  readonly lane: keyof EvidenceLayout["most"];
  readonly layout: EvidenceLayout;
  readonly width: number;
}) => (
  <>
    <text class="lane-name" x="0" y="12">
      {roughNumberText(props.layout.most[props.lane] ?? 0)}
    </text>
    <text class="lane-name" x="0" y={laneHeight}>
      {text.laneNames[props.lane]}
    </text>
    <g transform={`translate(${left} 0)`}>
      <line class="ground" x1="0" x2={props.width} y1={laneHeight} y2={laneHeight} />
      {props.lane === "grams" ? (
        props.layout.grams.map((line) => (
          <polyline key={line[0]?.x} points={line.map(({ x, y }) => `${x},${y}`).join(" ")} />
        ))
      ) : (
        <Dots dots={props.layout[props.lane]} />
      )}
    </g>
  </>
);

/** A portion of which nothing fell is a ring, so that it differs not by its place alone. */
const Dots = ({ dots }: { readonly dots: readonly EvidenceDots[] }) => (
  <>
    {dots.map(({ x, y, isEmpty }) => (
      <circle key={x} class={isEmpty ? "empty" : undefined} cx={x} cy={y} r={isEmpty ? 4 : 3} />
    ))}
  </>
);

const PortionTable = ({ portions, zone }: { readonly portions: PortionsView["portions"]; readonly zone: string }) => (
  <details>
    <summary>{text.tableSummary}</summary>
    <table>
      <thead>
        <tr>
          {[text.timeHead, text.causeHead, text.piecesHead, text.currentHead].map((head) => (
            <th key={head} scope="col">
              {head}
            </th>
          ))}
        </tr>
      </thead>
      <tbody>
        {portions.toReversed().map(({ at, cause, pieces, milliamps }) => (
          <tr key={at}>
            <th scope="row">{timeText(at, zone)}</th>
            <td>{text.causes[cause]}</td>
            <td>{pieces ?? text.unknownValue}</td>
            <td>{milliamps === null ? text.unknownValue : Math.round(milliamps)}</td>
          </tr>
        ))}
      </tbody>
    </table>
  </details>
);
