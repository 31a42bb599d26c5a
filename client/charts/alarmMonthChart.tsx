import type { RatesDayView } from "../../server/contract/api.ts";

/**
 * A month of alarms as one would keep the tally in pencil: a slanted stroke for each alarm over its day, urgent ones with a
 * pennant's tip; below the line a dot for each day with notes. All lengths are the drawing's own units: it grows with the page.
 */
const dayWidth = 20;
const strokes = { apart: 13, long: 11, most: 7 } as const;
const baseline = 104;
/** A month is always as wide as a month: the first days of a yard stand at its end, and aren't drawn as large as a page. */
const daysShown = 31;

export function AlarmMonthChart(props: { readonly days: readonly RatesDayView[] }) {
  const shown = Math.max(daysShown, props.days.length);
  const width = shown * dayWidth;
  const empty = (shown - props.days.length) * dayWidth;
  return (
    <svg
      class="alarm-strokes"
      viewBox={`0 0 ${width} 122`}
      role="img"
      aria-label={alarmMonthText(props.days)}
      preserveAspectRatio="xMinYMax meet"
    >
      <line class="ground" x1="0" x2={width} y1={baseline} y2={baseline} />
      {props.days.map((day, index) => (
        <Day key={day.date} day={day} x={empty + index * dayWidth + dayWidth / 2} />
      ))}
    </svg>
  );
}

function Day({ day, x }: { readonly day: RatesDayView; readonly x: number }) {
  const all = day.urgent + day.soon;
  // Where the page is too low for all of them their number says it.
  const drawn = all > strokes.most ? strokes.most - 1 : all;
  const urgent = Math.min(drawn, Math.round((drawn * day.urgent) / Math.max(1, all)));
  return (
    <>
      <path class="day-mark" d={`M${x} ${baseline}v4`} />
      {Array.from({ length: drawn }, (_, place) => {
        const low = baseline - 3 - place * strokes.apart;
        const grave = place < urgent;
        const line = `M${x - 4} ${low}l8 ${-strokes.long}`;
        return <path key={place} class={grave ? "urgent" : "soon"} d={grave ? `${line}l6 5l-9 1` : line} />;
      })}
      {all > drawn && (
        <text class="count" x={x} y={baseline - 6 - drawn * strokes.apart} text-anchor="middle">
          {all}
        </text>
      )}
      {day.notes > 0 && <circle class="note" cx={x} cy={baseline + 12} r="3" />}
    </>
  );
}

/** "Over 31 days alarms came on 5: most on Thu 12 Nov, 3." */
export function alarmMonthText(days: readonly RatesDayView[]): string {
  const busy = days.filter(({ urgent, soon }) => urgent + soon > 0).length;
  const noted = days.filter(({ notes }) => notes > 0).length;
  const most = Math.max(0, ...days.map(({ urgent, soon }) => urgent + soon));
  const alarms = busy === 0 ? "no alarm came" : `alarms came on ${busy}, at most ${most} on one of them`;
  return `Over ${days.length} ${days.length === 1 ? "day" : "days"} ${alarms}${noted === 0 ? "" : `, and notes on ${noted}`}.`;
}
