import * as text from "#text/daysPlace.ts";
import { legendLabel } from "#text/trainingCharts.ts";
import type { FeederView, HistoryView, YardView } from "../../server/contract/api.ts";
import type { TrainingView } from "../../server/contract/trainingView.ts";
import { historyDays, placesAxis } from "../charts/historyAxis.ts";
import { type Band, BandDrawing, type Fan, historyHeight, type Refill, type Zone } from "../charts/historyDrawings.tsx";
import { now } from "../state/clock.ts";
import { localDate } from "../text/clock.ts";
import { numberText } from "../text/format.ts";
import { recordDayText } from "../text/training.ts";
import { Picture, PictureLegend } from "./picture.tsx";

export interface HistoryProps {
  readonly history: HistoryView;
  readonly feeder: FeederView;
  readonly yard: YardView;
  readonly training: TrainingView | null;
}
type Column = keyof HistoryView["columns"];
export type Values = readonly (number | null)[];

/** Days from left to right, and what they have in common in each picture. */
export function daysOf({ history, yard }: Pick<HistoryProps, "history" | "yard">) {
  const days = historyDays(history, yard.zone);
  const today = localDate(now.value, yard.zone);
  const nameOf = (place: number) => {
    const date = days[place]?.date ?? "";
    const name = recordDayText(date, now.value, yard.zone);
    return date === today ? `${name} ${text.runningText}` : name;
  };
  const last = days.length - 1;
  const value = (column: Column): Values => history.columns[column] ?? days.map(() => null);
  const drawn = (width: number, place: number, count = days.length) => ({
    ...{ width, place, count },
    labels: [0, Math.floor(last / 2), last].map((at) => ({ place: at, text: nameOf(at) })),
  });
  return { days, today, last, nameOf, value, drawn };
}

export interface BandOf {
  readonly title: string;
  readonly sentence: string;
  readonly values: Band;
  readonly range: readonly [least: number, most: number];
  readonly rangeTexts: readonly [least: string, most: string];
  readonly lines?: readonly number[];
  readonly zones?: readonly Zone[];
  readonly coldDays?: readonly number[];
  readonly refills?: readonly Refill[];
  readonly fan?: Fan | null;
  /** @param place one of which the middle is known */
  readonly readingOf: (name: string, place: number) => string;
  readonly marks: Parameters<typeof PictureLegend>[0]["marks"];
  readonly columns: readonly string[];
  readonly digits: number;
  /** What the table says of a place beside its three values. */
  readonly moreCells?: (place: number) => readonly string[];
}

/** A value of each day within its band, read out and as a table. */
export function BandPicture({ of, ...props }: HistoryProps & { readonly of: BandOf }) {
  const { days, last, nameOf, drawn } = daysOf(props);
  const { low, middle, high } = of.values;
  const { lines = [], zones = [], coldDays = [], refills = [], fan = null } = of;
  const count = Math.max(days.length, Math.ceil((fan?.latest ?? 0) + 1));
  const textAt = (place: number) =>
    middle[place] == null ? `${nameOf(place)}: ${text.notKnown}` : of.readingOf(nameOf(place), place);
  return (
    <Picture
      title={of.title}
      sentence={withUnknown(of.sentence, middle)}
      height={historyHeight}
      reader={{ label: text.dayLabel, count: days.length, first: last, textAt }}
      placeAt={(x, width) => Math.min(last, placesAxis(count, width).placeAt(x))}
      draw={(width, place) => (
        <BandDrawing
          {...drawn(width, place, count)}
          {...of.values}
          {...{ lines, zones, coldDays, refills, fan, range: of.range, rangeTexts: of.rangeTexts }}
        />
      )}
      legend={<PictureLegend label={legendLabel} marks={of.marks} />}
      table={{
        columns: [text.dayLabel, ...of.columns],
        rows: days.map(({ index }) => [
          nameOf(index),
          ...[low, middle, high].map((values) => cell(values[index], of.digits)),
          ...(of.moreCells?.(index) ?? []),
        ]),
      }}
    />
  );
}

export const bandMark = <rect class="band" x="-8" y="-5" width="16" height="10" />;
export const meanMark = <line class="curve" x1="-8" x2="8" y1="0" y2="0" />;
export const lineMark = <line class="criterion" x1="-8" x2="8" y1="0" y2="0" />;
export const zoneMark = (kind: Zone["kind"]) => <rect class={`zone ${kind}`} x="-8" y="-7" width="16" height="14" />;

/** A gap in a picture is said, too. */
export function withUnknown(sentence: string, values: Values): string {
  const unknown = values.length - known(values).length;
  return unknown === 0 ? sentence : `${sentence} ${text.unknownDaysText(unknown)}`;
}
const known = (values: Values): readonly number[] => values.filter((value) => value !== null);
export const sum = (values: Values) => known(values).reduce((total, value) => total + value, 0);
export const smallest = (values: Values) => Math.min(...known(values));
export const largest = (values: Values) => Math.max(...known(values));
export const cell = (value: number | null | undefined, digits = 0) =>
  value == null ? text.notKnown : numberText(value, digits);
