import * as text from "#text/compareScreen.ts";
import * as days from "#text/daysPlace.ts";
import { legendLabel } from "#text/trainingCharts.ts";
import type { HistoryView, YardView } from "../../server/contract/api.ts";
import { type ComparedSpan, hourMeans } from "../charts/comparedSpans.ts";
import { daylight } from "../charts/daylight.ts";
import { historyDays, placesAxis } from "../charts/historyAxis.ts";
import { BarsDrawing, historyHeight } from "../charts/historyDrawings.tsx";
import { type HourSpan, HoursDrawing, hourAt, hoursHeight } from "../charts/hoursDrawing.tsx";
import { now } from "../state/clock.ts";
import { timeText } from "../text/clock.ts";
import { numberText } from "../text/format.ts";
import { recordDayText } from "../text/training.ts";
import { cell, largest, sum, withUnknown } from "./bandPicture.tsx";
import { countReading } from "./historyPictures.tsx";
import { Picture, PictureLegend } from "./picture.tsx";

/** One of two sides, with what is drawn of it. */
export interface ComparedSide {
  readonly span: ComparedSpan;
  readonly name: string;
  readonly byDay: HistoryView;
  readonly byHour: HistoryView;
}
interface PairProps {
  readonly sides: readonly [ComparedSide, ComparedSide];
  readonly yard: YardView;
}

const acts = ["visits", "presses", "deposits"] as const;
const clockOf = (at: number, zone: string) => {
  const [hours = 0, minutes = 0] = timeText(new Date(at).toISOString(), zone).split(":").map(Number);
  return hours + minutes / 60;
};

/** When birds come, as means of a day, both with one scale. */
export function ComparedHours({ sides, yard }: PairProps) {
  const act = acts.find((name) => sides.some(({ byHour }) => (byHour.columns[name] ?? []).some(Boolean)));
  if (act === undefined) return null;
  const hourOf = (at: number) => Math.floor(clockOf(at, yard.zone));
  const means = sides.map(({ byHour }) => hourMeans(byHour, byHour.columns[act] ?? [], hourOf));
  const most = Math.max(0.1, ...means.flat().map((mean) => mean ?? 0));
  return (
    <>
      {sides.map((side, index) => (
        <HoursPicture
          key={side.name}
          title={text.hoursTitle(days.actNames[act], side.name)}
          means={means[index] ?? []}
          most={most}
          nights={nightsOf(side.span, yard)}
        />
      ))}
    </>
  );
}

function HoursPicture(props: {
  readonly title: string;
  readonly means: readonly (number | null)[];
  readonly most: number;
  readonly nights: readonly HourSpan[];
}) {
  const { title, means, most, nights } = props;
  const isKnown = means.some((mean) => mean !== null);
  const busiest = means.reduce<number>((best, mean, hour) => ((mean ?? 0) > (means[best] ?? 0) ? hour : best), 0);
  const busiestText = (means[busiest] ?? 0) > 0 ? days.hourRangeText(busiest) : null;
  const meanText = (hour: number) => cell(means[hour], 1);
  return (
    <Picture
      title={title}
      sentence={isKnown ? text.hoursSentence(busiestText) : text.unknownHoursSentence}
      height={hoursHeight}
      reader={{
        ...{ label: days.hourLabel, count: 24, first: busiest },
        textAt: (hour) => text.hourReading(days.hourRangeText(hour), meanText(hour)),
      }}
      placeAt={hourAt}
      draw={(width, place) => (
        <HoursDrawing
          acts={means.map((mean) => mean ?? 0)}
          {...{ nights, width, place, most, mostText: numberText(most, 1) }}
        />
      )}
      table={{
        columns: [days.hourColumn, text.meanColumn],
        rows: means.map((_, hour) => [days.hourRangeText(hour), meanText(hour)]),
      }}
    />
  );
}

/** Of the day in its middle. */
function nightsOf({ first, last }: ComparedSpan, { place, zone }: YardView): readonly HourSpan[] {
  if (place === null) return [];
  const middle = new Date((Date.parse(first) + Date.parse(last)) / 2).toISOString().slice(0, 10);
  const { lit } = daylight(place, middle, zone);
  if (lit === null) return [{ from: 0, to: 24 }];
  const [dawn, dusk] = [clockOf(lit.from, zone), clockOf(lit.to, zone)];
  return dusk <= dawn
    ? [{ from: dusk, to: dawn }]
    : [
        { from: 0, to: dawn },
        { from: dusk, to: 24 },
      ].filter(({ from, to }) => to > from);
}

/** Deposits by day where either has any, presses else; both with one scale. */
export function ComparedDays({ sides, yard }: PairProps) {
  const hasDeposits = sides.some(({ byDay }) => (byDay.columns.deposits ?? []).some(Boolean));
  const values = (name: "depositsPaid" | "depositsUnpaid" | "presses", { byDay }: ComparedSide) =>
    byDay.columns[name] ?? byDay.lengthMinutes.map(() => null);
  const up = sides.map((side) => values(hasDeposits ? "depositsPaid" : "presses", side));
  const down = sides.map((side) =>
    hasDeposits ? values("depositsUnpaid", side) : values("presses", side).map(() => null),
  );
  if (up.flat().every((value) => value === null)) return null;
  const scale = { up: Math.max(0, largest(up.flat())), down: Math.max(0, largest(down.flat())) };
  const count = Math.max(...sides.map(({ byDay }) => byDay.lengthMinutes.length));
  return (
    <>
      {sides.map((side, index) => (
        <DaysPicture
          key={side.name}
          {...{ side, count, scale, hasDeposits, zone: yard.zone }}
          up={up[index] ?? []}
          down={down[index] ?? []}
        />
      ))}
    </>
  );
}

function DaysPicture(props: {
  readonly side: ComparedSide;
  readonly zone: string;
  readonly count: number;
  readonly scale: { readonly up: number; readonly down: number };
  readonly hasDeposits: boolean;
  readonly up: readonly (number | null)[];
  readonly down: readonly (number | null)[];
}) {
  const { side, count, scale, hasDeposits, up, down } = props;
  const dates = historyDays(side.byDay, props.zone);
  const nameOf = (place: number) => recordDayText(dates[place]?.date ?? "", now.value, props.zone);
  const last = dates.length - 1;
  const textAt = (place: number) =>
    countReading(nameOf(place), up[place] ?? null, hasDeposits ? (down[place] ?? 0) : null);
  const sentence = hasDeposits ? days.depositsSentence(sum(up), sum(down)) : days.pressesSentence(sum(up));
  return (
    <Picture
      title={hasDeposits ? text.depositsTitle(side.name) : text.pressesTitle(side.name)}
      sentence={withUnknown(sentence, up)}
      height={historyHeight}
      reader={{ label: days.dayLabel, count: dates.length, first: last, textAt }}
      placeAt={(x, width) => Math.min(last, placesAxis(count, width).placeAt(x))}
      draw={(width, place) => (
        <BarsDrawing
          {...{ width, place, count, up, down, mean: [], ticks: [], scale }}
          labels={[0, last].map((at) => ({ place: at, text: nameOf(at) }))}
        />
      )}
      legend={<DaysLegend hasDeposits={hasDeposits} />}
      table={{
        columns: [days.dayLabel, ...(hasDeposits ? [days.paidName, days.unpaidName] : [days.countName])],
        rows: dates.map(({ index }) => [nameOf(index), cell(up[index]), ...(hasDeposits ? [cell(down[index])] : [])]),
      }}
    />
  );
}

function DaysLegend({ hasDeposits }: { readonly hasDeposits: boolean }) {
  const bar = (kind: string) => <rect class={kind} x="-4" y="-7" width="8" height="14" />;
  const marks = hasDeposits
    ? [
        { name: days.paidName, mark: bar("paid") },
        { name: days.unpaidName, mark: bar("unpaid") },
      ]
    : [{ name: days.countName, mark: bar("paid") }];
  return <PictureLegend label={legendLabel} marks={marks} />;
}
