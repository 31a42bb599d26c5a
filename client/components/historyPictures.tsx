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
  const { days, last, nameOf, value, drawn } = daysOf(props);
  const hasDeposits = (props.history.columns.deposits ?? []).some((count) => (count ?? 0) > 0);
  if (!hasDeposits && props.history.columns.presses === undefined) return null;
  const up = value(hasDeposits ? "depositsPaid" : "presses");
  const down = hasDeposits ? value("depositsUnpaid") : days.map(() => null);
  const mean = weeklyMeans(up);
  const [sumUp, sumDown] = [sum(up), sum(down)];
  const countAt = (place: number) => {
    const [paid, unpaid] = [up[place] ?? null, down[place] ?? 0];
    if (paid === null) return `${nameOf(place)}: ${text.notKnown}`;
    return hasDeposits ? text.depositsReading(nameOf(place), paid, unpaid) : text.pressesReading(nameOf(place), paid);
  };
  const countsNames = hasDeposits ? [text.paidName, text.unpaidName] : [text.countName];
  return (
    <Picture
      title={hasDeposits ? text.depositsTitle : text.pressesTitle}
      sentence={hasDeposits ? text.depositsSentence(sumUp, sumDown) : text.pressesSentence(sumUp)}
      height={historyHeight}
      reader={{ label: text.dayLabel, count: days.length, first: last, textAt: countAt }}
      placeAt={(x, width) => placesAxis(days.length, width).placeAt(x)}
      draw={(width, place) => <BarsDrawing {...drawn(width, place)} up={up} down={down} mean={mean} />}
      legend={
        <PictureLegend
          label={legendLabel}
          marks={[
            { name: countsNames[0] ?? "", mark: <rect class="paid" x="-4" y="-7" width="8" height="14" /> },
            ...(hasDeposits
              ? [{ name: text.unpaidName, mark: <rect class="unpaid" x="-4" y="-7" width="8" height="14" /> }]
              : []),
            { name: text.meanName, mark: <line class="curve" x1="-8" x2="8" y1="0" y2="0" /> },
          ]}
        />
      }
      table={{
        columns: [text.dayLabel, ...countsNames, text.meanColumn],
        rows: days.map(({ index }) => [
          nameOf(index),
          ...(hasDeposits ? [cell(up[index]), cell(down[index])] : [cell(up[index])]),
          cell(mean[index], 1),
        ]),
      }}
    />
  );
}

function HopperPicture(props: HistoryProps) {
  const { days, last, nameOf, value, drawn } = daysOf(props);
  const [low, middle, high] = [value("hopperGramsLow"), value("hopperGrams"), value("hopperGramsHigh")];
  const { hopper } = props.feeder;
  const most = Math.max(hopper.capacityGrams, ...high.map((grams) => grams ?? 0));
  const fan = fanOf(props, middle);
  const count = Math.max(days.length, Math.ceil((fan?.latest ?? 0) + 1));
  const grams = (amount: number | null | undefined) => `${numberText(amount ?? 0)} g`;
  return (
    <Picture
      title={text.hopperTitle}
      sentence={text.hopperSentence(hopper.text)}
      height={historyHeight}
      reader={{
        label: text.dayLabel,
        count: days.length,
        first: last,
        textAt: (place) =>
          middle[place] == null
            ? `${nameOf(place)}: ${text.notKnown}`
            : text.hopperReading(nameOf(place), grams(middle[place]), grams(low[place]), grams(high[place])),
      }}
      placeAt={(x, width) => Math.min(last, placesAxis(count, width).placeAt(x))}
      draw={(width, place) => (
        <BandDrawing
          {...drawn(width, place, count)}
          {...{ low, middle, high, fan }}
          range={[0, most]}
          rangeTexts={["0", numberText(most)]}
          line={null}
        />
      )}
      legend={
        <PictureLegend
          label={legendLabel}
          marks={[
            { name: text.bandName, mark: <rect class="band" x="-8" y="-5" width="16" height="10" /> },
            ...(fan === null ? [] : [{ name: text.fanName, mark: <polygon class="fan" points="-8,-7 8,7 -2,7" /> }]),
          ]}
        />
      }
      table={{
        columns: [text.dayLabel, text.gramsColumn, text.lowColumn, text.highColumn],
        rows: days.map(({ index }) => [nameOf(index), cell(middle[index]), cell(low[index]), cell(high[index])]),
      }}
    />
  );
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
  const { days, last, nameOf, value, drawn } = daysOf(props);
  const [low, middle, high] = [value("airCelsiusLeast"), value("airCelsiusMean"), value("airCelsiusMost")];
  const [least, most] = [Math.floor(smallest(low)), Math.ceil(largest(high))];
  const degrees = (celsius: number | null | undefined) => text.degreesText(numberText(celsius ?? 0));
  return (
    <Picture
      title={text.temperatureTitle}
      sentence={text.temperatureSentence(degrees(least), degrees(most))}
      height={historyHeight}
      reader={{
        label: text.dayLabel,
        count: days.length,
        first: last,
        textAt: (place) =>
          middle[place] == null
            ? `${nameOf(place)}: ${text.notKnown}`
            : text.temperatureReading(nameOf(place), degrees(low[place]), degrees(middle[place]), degrees(high[place])),
      }}
      placeAt={(x, width) => placesAxis(days.length, width).placeAt(x)}
      draw={(width, place) => (
        <BandDrawing
          {...drawn(width, place)}
          {...{ low, middle, high }}
          range={[least, most]}
          rangeTexts={[`${least}°`, `${most}°`]}
          line={0}
          fan={null}
        />
      )}
      legend={
        <PictureLegend
          label={legendLabel}
          marks={[
            { name: text.rangeName, mark: <rect class="band" x="-8" y="-5" width="16" height="10" /> },
            { name: text.meanLineName, mark: <line class="curve" x1="-8" x2="8" y1="0" y2="0" /> },
            ...(least < 0 && most > 0
              ? [{ name: text.freezingName, mark: <line class="criterion" x1="-8" x2="8" y1="0" y2="0" /> }]
              : []),
          ]}
        />
      }
      table={{
        columns: [text.dayLabel, text.leastColumn, text.meanOfDayColumn, text.mostColumn],
        rows: days.map(({ index }) => [
          nameOf(index),
          cell(low[index], 1),
          cell(middle[index], 1),
          cell(high[index], 1),
        ]),
      }}
    />
  );
}

function BatteryPicture(props: HistoryProps) {
  const { days, last, nameOf, value, drawn } = daysOf(props);
  const [low, middle, high] = [value("batteryVoltsLeast"), value("batteryVoltsMean"), value("batteryVoltsMost")];
  const [least, most] = [Math.floor(2 * smallest(low)) / 2, Math.ceil(2 * largest(high)) / 2];
  const volts = (amount: number | null | undefined) => text.voltsText(numberText(amount ?? 0, 2));
  return (
    <Picture
      title={text.batteryTitle}
      sentence={text.batterySentence(volts(smallest(low)))}
      height={historyHeight}
      reader={{
        label: text.dayLabel,
        count: days.length,
        first: last,
        textAt: (place) =>
          low[place] == null
            ? `${nameOf(place)}: ${text.notKnown}`
            : text.batteryReading(nameOf(place), volts(low[place]), volts(high[place])),
      }}
      placeAt={(x, width) => placesAxis(days.length, width).placeAt(x)}
      draw={(width, place) => (
        <BandDrawing
          {...drawn(width, place)}
          {...{ low, middle, high }}
          range={[least, most]}
          rangeTexts={[numberText(least, 1), numberText(most, 1)]}
          line={null}
          fan={null}
        />
      )}
      table={{
        columns: [text.dayLabel, text.leastColumn, text.meanOfDayColumn, text.mostColumn],
        rows: days.map(({ index }) => [
          nameOf(index),
          cell(low[index], 2),
          cell(middle[index], 2),
          cell(high[index], 2),
        ]),
      }}
    />
  );
}

const known = (values: Values): readonly number[] => values.filter((value) => value !== null);
const sum = (values: Values) => known(values).reduce((total, value) => total + value, 0);
const smallest = (values: Values) => Math.min(...known(values));
const largest = (values: Values) => Math.max(...known(values));
const cell = (value: number | null | undefined, digits = 0) =>
  value == null ? text.notKnown : numberText(value, digits);
