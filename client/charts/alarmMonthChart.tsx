import * as text from "#text/alarmMonthChart.ts";
import type { RatesDayView } from "../../server/contract/api.ts";

/**
 * A month of alarms: a slanted line for each alarm over its day, urgent ones with a flag; below the line a
 * dot for each day with notes. All lengths are the drawing's own units: it grows with the page.
 */
const dayWidth = 20;
const strokes = { apart: 13, long: 11, most: 7 } as const;
const baseline = 104;
/** The chart is always as wide as a month: the first days of a yard are at its end, and not as large as a page. */
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
  // Too many for the height: their number is written above.
  const drawn = all > strokes.most ? strokes.most - 1 : all;
  const urgent = Math.min(drawn, Math.round((drawn * day.urgent) / Math.max(1, all)));
  return (
    <>
      <path class="day-mark" d={`M${x} ${baseline}v4`} />
      {Array.from({ length: drawn }, (_, place) => {
        const low = baseline - 3 - place * strokes.apart;
        const isUrgent = place < urgent;
        const line = `M${x - 4} ${low}l8 ${-strokes.long}`;
        return <path key={place} class={isUrgent ? "urgent" : "soon"} d={isUrgent ? `${line}l6 5l-9 1` : line} />;
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

/** "Alarms on 5 of 31 days, at most 3 on one day." */
export function alarmMonthText(days: readonly RatesDayView[]): string {
  const alarmDays = days.filter(({ urgent, soon }) => urgent + soon > 0).length;
  const noteDays = days.filter(({ notes }) => notes > 0).length;
  const most = Math.max(0, ...days.map(({ urgent, soon }) => urgent + soon));
  const alarms = alarmDays === 0 ? text.noAlarmsText(days.length) : text.alarmsText(days.length, alarmDays, most);
  return noteDays === 0 ? text.noNotesText(alarms) : text.notesText(alarms, noteDays);
}
