import * as text from "#text/daysPlace.ts";
import { legendLabel } from "#text/trainingCharts.ts";
import type { HistoryView, YardView } from "../../server/contract/api.ts";
import { weeksByHour } from "../charts/historyAxis.ts";
import { HoursDrawing, hourAt, hoursHeight } from "../charts/hoursDrawing.tsx";
import { timeText } from "../text/clock.ts";
import { Picture, PictureLegend } from "./picture.tsx";
import { useNights } from "./useNights.ts";

/** When birds come, over that place's night: the last seven days as bars, the seven before as lines. */
export function WeekHoursPicture(props: {
  readonly history: HistoryView;
  readonly yard: YardView;
  readonly asOf: number; // ms: until when the history goes
}) {
  const { history, yard } = props;
  const nights = useNights(yard);
  const act = (["visits", "presses", "deposits"] as const).find((name) => (history.columns[name] ?? []).some(Boolean));
  if (act === undefined) return null;
  const hourOf = (at: number) => Number(timeText(new Date(at).toISOString(), yard.zone).slice(0, 2));
  const { week, before } = weeksByHour(history, history.columns[act] ?? [], props.asOf, hourOf);
  const most = Math.max(...week);
  const readingAt = (hour: number) => text.hoursReading(text.hourRangeText(hour), week[hour] ?? 0, before[hour] ?? 0);
  return (
    <Picture
      title={text.hoursTitle(text.actNames[act])}
      sentence={text.hoursSentence(most === 0 ? null : text.hourRangeText(week.indexOf(most)))}
      height={hoursHeight}
      reader={{ label: text.hourLabel, count: 24, first: Math.max(0, week.indexOf(most)), textAt: readingAt }}
      placeAt={hourAt}
      draw={(width, place) => (
        <HoursDrawing
          acts={week}
          before={before}
          nights={nights}
          width={width}
          place={place}
          mostText={String(Math.max(most, ...before))}
        />
      )}
      legend={<HoursLegend hasNight={nights.length > 0} />}
      table={{
        columns: [text.hourColumn, text.thisWeekName, text.weekBeforeName],
        rows: week.map((count, hour) => [text.hourRangeText(hour), `${count}`, `${before[hour] ?? 0}`]),
      }}
    />
  );
}

const HoursLegend = ({ hasNight }: { readonly hasNight: boolean }) => (
  <PictureLegend
    label={legendLabel}
    marks={[
      { name: text.thisWeekName, mark: <rect class="paid" x="-4" y="-7" width="8" height="14" /> },
      { name: text.weekBeforeName, mark: <line class="curve" x1="-8" x2="8" y1="0" y2="0" /> },
      ...(hasNight
        ? [{ name: text.nightName, mark: <rect class="night" x="-8" y="-7" width="16" height="14" /> }]
        : []),
    ]}
  />
);
