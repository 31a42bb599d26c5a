import * as text from "#text/daysPlace.ts";
import { legendLabel } from "#text/trainingCharts.ts";
import type { FeederView, HistoryView, YardView } from "../../server/contract/api.ts";
import { historyDays, placesAxis, weeklyMeans } from "../charts/historyAxis.ts";
import { BandDrawing, BarsDrawing, historyHeight } from "../charts/historyDrawings.tsx";
import { now } from "../state/clock.ts";
import { localDate } from "../text/clock.ts";
import { numberText } from "../text/format.ts";
import { recordDayText } from "../text/training.ts";
import { Picture, PictureLegend } from "./picture.tsx";

interface HistoryProps {
  readonly history: HistoryView;
  readonly feeder: FeederView;
  readonly yard: YardView;
}
type Column = keyof HistoryView["columns"];
type Values = readonly (number | null)[];

/** What a feeder has seen and given, day by day. */
export function HistoryPictures(props: HistoryProps) {
  const { columns } = props.history;
  return (
    <>
      <CountsPicture {...props} />
      {columns.hopperGrams !== undefined && <HopperPicture {...props} />}
      {columns.airCelsiusMean !== undefined && <TemperaturePicture {...props} />}
      {columns.batteryVoltsLeast !== undefined && <BatteryPicture {...props} />}
    </>
  );
}

/** Days from left to right, and what they have in common in each picture. */
function daysOf({ history, yard }: HistoryProps) {
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
  return { days, last, nameOf, value, drawn };
}

/** Deposits where the slot has counted any, and presses else. */
function CountsPicture(props: HistoryProps) {
  const hasDeposits = (props.history.columns.deposits ?? []).some((count) => (count ?? 0) > 0);
  if (!hasDeposits && props.history.columns.presses === undefined) return null;
  const { days, last, nameOf, value, drawn } = daysOf(props);
  const up = value(hasDeposits ? "depositsPaid" : "presses");
  const down = hasDeposits ? value("depositsUnpaid") : days.map(() => null);
  const mean = weeklyMeans(up);
  const countAt = (place: number) => {
    const [paid, unpaid] = [up[place] ?? null, down[place] ?? 0];
    if (paid === null) return `${nameOf(place)}: ${text.notKnown}`;
    return hasDeposits ? text.depositsReading(nameOf(place), paid, unpaid) : text.pressesReading(nameOf(place), paid);
  };
  const names = hasDeposits ? [text.paidName, text.unpaidName] : [text.countName];
  return (
    <Picture
      title={hasDeposits ? text.depositsTitle : text.pressesTitle}
      sentence={hasDeposits ? text.depositsSentence(sum(up), sum(down)) : text.pressesSentence(sum(up))}
      height={historyHeight}
      reader={{ label: text.dayLabel, count: days.length, first: last, textAt: countAt }}
      placeAt={(x, width) => placesAxis(days.length, width).placeAt(x)}
      draw={(width, place) => <BarsDrawing {...drawn(width, place)} up={up} down={down} mean={mean} />}
      legend={<CountsLegend names={names} />}
      table={{
        columns: [text.dayLabel, ...names, text.meanColumn],
        rows: days.map(({ index }) => [
          nameOf(index),
          ...(hasDeposits ? [cell(up[index]), cell(down[index])] : [cell(up[index])]),
          cell(mean[index], 1),
        ]),
      }}
    />
  );
}

const CountsLegend = ({ names: [up = "", down] }: { readonly names: readonly string[] }) => (
  <PictureLegend
    label={legendLabel}
    marks={[
      { name: up, mark: <rect class="paid" x="-4" y="-7" width="8" height="14" /> },
      ...(down === undefined
        ? []
        : [{ name: down, mark: <rect class="unpaid" x="-4" y="-7" width="8" height="14" /> }]),
      { name: text.meanName, mark: meanMark },
    ]}
  />
);

const bandMark = <rect class="band" x="-8" y="-5" width="16" height="10" />;
const meanMark = <line class="curve" x1="-8" x2="8" y1="0" y2="0" />;

interface BandOf {
  readonly title: string;
  readonly sentence: string;
  readonly values: { readonly low: Values; readonly middle: Values; readonly high: Values };
  readonly range: readonly [least: number, most: number];
  readonly rangeTexts: readonly [least: string, most: string];
  readonly line?: number;
  readonly fan?: ReturnType<typeof fanOf>;
  /** @param place one of which the middle is known */
  readonly readingOf: (name: string, place: number) => string;
  readonly marks: Parameters<typeof PictureLegend>[0]["marks"];
  readonly columns: readonly [low: string, middle: string, high: string];
  readonly digits: number;
}

/** A value of each day within its band, read out and as a table. */
function BandPicture({ of, ...props }: HistoryProps & { readonly of: BandOf }) {
  const { days, last, nameOf, drawn } = daysOf(props);
  const { low, middle, high } = of.values;
  const { line = null, fan = null } = of;
  const count = Math.max(days.length, Math.ceil((fan?.latest ?? 0) + 1));
  const textAt = (place: number) =>
    middle[place] == null ? `${nameOf(place)}: ${text.notKnown}` : of.readingOf(nameOf(place), place);
  return (
    <Picture
      title={of.title}
      sentence={of.sentence}
      height={historyHeight}
      reader={{ label: text.dayLabel, count: days.length, first: last, textAt }}
      placeAt={(x, width) => Math.min(last, placesAxis(count, width).placeAt(x))}
      draw={(width, place) => (
        <BandDrawing
          {...drawn(width, place, count)}
          {...of.values}
          {...{ line, fan, range: of.range, rangeTexts: of.rangeTexts }}
        />
      )}
      legend={<PictureLegend label={legendLabel} marks={of.marks} />}
      table={{
        columns: [text.dayLabel, ...of.columns],
        rows: days.map(({ index }) => [
          nameOf(index),
          ...[low, middle, high].map((values) => cell(values[index], of.digits)),
        ]),
      }}
    />
  );
}

function HopperPicture(props: HistoryProps) {
  const { value } = daysOf(props);
  const values = { low: value("hopperGramsLow"), middle: value("hopperGrams"), high: value("hopperGramsHigh") };
  const { hopper } = props.feeder;
  const most = Math.max(hopper.capacityGrams, ...values.high.map((grams) => grams ?? 0));
  const fan = fanOf(props, values.middle);
  const grams = (amount: number | null | undefined) => `${numberText(amount ?? 0)} g`;
  const of: BandOf = {
    ...{ title: text.hopperTitle, sentence: text.hopperSentence(hopper.text), values, fan },
    range: [0, most],
    rangeTexts: ["0", numberText(most)],
    readingOf: (name, place) =>
      text.hopperReading(name, grams(values.middle[place]), grams(values.low[place]), grams(values.high[place])),
    marks: [
      { name: text.bandName, mark: bandMark },
      ...(fan === null ? [] : [{ name: text.fanName, mark: <polygon class="fan" points="-8,-7 8,7 -2,7" /> }]),
    ],
    columns: [text.lowColumn, text.gramsColumn, text.highColumn],
    digits: 0,
  };
  return <BandPicture {...props} of={of} />;
}

const dayMs = 86_400_000;
/** Of a year it would be a thread; of two weeks it must not be longer than they are. */
const fanDaysMax = 21;

function fanOf({ history, feeder }: HistoryProps, middle: Values) {
  const { emptyForecast } = feeder.hopper;
  const from = middle.findLastIndex((value) => value !== null);
  if (emptyForecast?.p10 == null || from < 0) return null;
  const ahead = (at: string) => Math.min(fanDaysMax, Math.max(0, (Date.parse(at) - now.value) / dayMs));
  const place = history.lengthMinutes.length - 1;
  const latest = emptyForecast.p90 === null ? fanDaysMax : ahead(emptyForecast.p90);
  return { from, earliest: place + ahead(emptyForecast.p10), latest: place + latest };
}

function TemperaturePicture(props: HistoryProps) {
  const { value } = daysOf(props);
  const values = { low: value("airCelsiusLeast"), middle: value("airCelsiusMean"), high: value("airCelsiusMost") };
  const [least, most] = [Math.floor(smallest(values.low)), Math.ceil(largest(values.high))];
  const degrees = (celsius: number | null | undefined) => text.degreesText(numberText(celsius ?? 0));
  const of: BandOf = {
    ...{ title: text.temperatureTitle, values, line: 0 },
    sentence: text.temperatureSentence(degrees(least), degrees(most)),
    range: [least, most],
    rangeTexts: [`${numberText(least)}°`, `${numberText(most)}°`],
    readingOf: (name, place) =>
      text.temperatureReading(
        name,
        ...([values.low, values.middle, values.high].map((each) => degrees(each[place])) as Three),
      ),
    marks: [
      { name: text.rangeName, mark: bandMark },
      { name: text.meanLineName, mark: meanMark },
      ...(least < 0 && most > 0
        ? [{ name: text.freezingName, mark: <line class="criterion" x1="-8" x2="8" y1="0" y2="0" /> }]
        : []),
    ],
    columns: [text.leastColumn, text.meanOfDayColumn, text.mostColumn],
    digits: 1,
  };
  return <BandPicture {...props} of={of} />;
}
type Three = [string, string, string];

function BatteryPicture(props: HistoryProps) {
  const { value } = daysOf(props);
  const values = {
    low: value("batteryVoltsLeast"),
    middle: value("batteryVoltsMean"),
    high: value("batteryVoltsMost"),
  };
  const [least, most] = [Math.floor(2 * smallest(values.low)) / 2, Math.ceil(2 * largest(values.high)) / 2];
  const volts = (amount: number | null | undefined) => text.voltsText(numberText(amount ?? 0, 2));
  const of: BandOf = {
    ...{ title: text.batteryTitle, sentence: text.batterySentence(volts(smallest(values.low))), values },
    range: [least, most],
    rangeTexts: [numberText(least, 1), numberText(most, 1)],
    readingOf: (name, place) => text.batteryReading(name, volts(values.low[place]), volts(values.high[place])),
    marks: [
      { name: text.rangeName, mark: bandMark },
      { name: text.meanLineName, mark: meanMark },
    ],
    columns: [text.leastColumn, text.meanOfDayColumn, text.mostColumn],
    digits: 2,
  };
  return <BandPicture {...props} of={of} />;
}

const known = (values: Values): readonly number[] => values.filter((value) => value !== null);
const sum = (values: Values) => known(values).reduce((total, value) => total + value, 0);
const smallest = (values: Values) => Math.min(...known(values));
const largest = (values: Values) => Math.max(...known(values));
const cell = (value: number | null | undefined, digits = 0) =>
  value == null ? text.notKnown : numberText(value, digits);
