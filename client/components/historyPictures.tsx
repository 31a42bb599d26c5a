import * as text from "#text/daysPlace.ts";
import { legendLabel } from "#text/trainingCharts.ts";
import { placesAxis, weeklyMeans } from "../charts/historyAxis.ts";
import { BarsDrawing, historyHeight } from "../charts/historyDrawings.tsx";
import { stageStarts } from "../charts/stageTicks.ts";
import { now } from "../state/clock.ts";
import { numberText } from "../text/format.ts";
import {
  type BandOf,
  BandPicture,
  bandMark,
  cell,
  daysOf,
  type HistoryProps,
  meanMark,
  sum,
  type Values,
  withUnknown,
} from "./bandPicture.tsx";
import { BatteryPicture, TemperaturePicture } from "./coldPictures.tsx";
import { Picture, PictureLegend } from "./picture.tsx";

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

/** Deposits where the slot has counted any, and presses else; where a stage of the programme began is marked. */
function CountsPicture(props: HistoryProps) {
  const hasDeposits = (props.history.columns.deposits ?? []).some((count) => (count ?? 0) > 0);
  if (!hasDeposits && props.history.columns.presses === undefined) return null;
  const { days, today, last, nameOf, value, drawn } = daysOf(props);
  const up = value(hasDeposits ? "depositsPaid" : "presses");
  const down = hasDeposits ? value("depositsUnpaid") : days.map(() => null);
  const mean = weeklyMeans(up);
  const starts = stageStarts(props.training, days, today, props.yard.zone);
  const startAt = (place: number) => starts.find((start) => start.place === place)?.name;
  const names = hasDeposits ? [text.paidName, text.unpaidName] : [text.countName];
  const countAt = (place: number) => {
    const reading = countReading(nameOf(place), up[place] ?? null, hasDeposits ? (down[place] ?? 0) : null);
    const start = startAt(place);
    return start === undefined ? reading : `${reading}; ${text.stageBeginsText(start)}`;
  };
  return (
    <Picture
      title={hasDeposits ? text.depositsTitle : text.pressesTitle}
      sentence={withUnknown(
        hasDeposits ? text.depositsSentence(sum(up), sum(down)) : text.pressesSentence(sum(up)),
        up,
      )}
      height={historyHeight}
      reader={{ label: text.dayLabel, count: days.length, first: last, textAt: countAt }}
      placeAt={(x, width) => placesAxis(days.length, width).placeAt(x)}
      draw={(width, place) => <BarsDrawing {...drawn(width, place)} {...{ up, down, mean, ticks: starts }} />}
      legend={<CountsLegend names={names} hasStages={starts.length > 0} />}
      table={{
        columns: [text.dayLabel, ...names, text.meanColumn, ...(starts.length > 0 ? [text.stageColumn] : [])],
        rows: days.map(({ index }) => [
          nameOf(index),
          ...(hasDeposits ? [cell(up[index]), cell(down[index])] : [cell(up[index])]),
          cell(mean[index], 1),
          ...(starts.length > 0 ? [startAt(index) ?? ""] : []),
        ]),
      }}
    />
  );
}

/** @param unpaid null: presses, which are not paid one by one */
export function countReading(name: string, count: number | null, unpaid: number | null): string {
  if (count === null) return `${name}: ${text.notKnown}`;
  return unpaid === null ? text.pressesReading(name, count) : text.depositsReading(name, count, unpaid);
}

function CountsLegend(props: { readonly names: readonly string[]; readonly hasStages: boolean }) {
  const [up = "", down] = props.names;
  const bar = (kind: string) => <rect class={kind} x="-4" y="-7" width="8" height="14" />;
  return (
    <PictureLegend
      label={legendLabel}
      marks={[
        { name: up, mark: bar("paid") },
        ...(down === undefined ? [] : [{ name: down, mark: bar("unpaid") }]),
        { name: text.meanName, mark: meanMark },
        ...(props.hasStages
          ? [{ name: text.stageName, mark: <line class="stage-start" x1="0" x2="0" y1="-8" y2="8" /> }]
          : []),
      ]}
    />
  );
}

const grams = (amount: number | null | undefined) => text.gramsText(numberText(amount ?? 0));

function refillText(refill: { readonly grams: number | null } | undefined): string | null {
  if (refill === undefined) return null;
  return refill.grams === null ? text.refillUnknownText : text.refillText(grams(refill.grams));
}

function HopperPicture(props: HistoryProps) {
  const { value } = daysOf(props);
  const values = { low: value("hopperGramsLow"), middle: value("hopperGrams"), high: value("hopperGramsHigh") };
  const { hopper } = props.feeder;
  const most = Math.max(hopper.capacityGrams, ...values.high.map((grams) => grams ?? 0));
  const fan = fanOf(props, values.middle);
  const { refills = [] } = props.history;
  const refillAt = (place: number) => refillText(refills.find(({ bucket }) => bucket === place));
  const of: BandOf = {
    ...{ title: text.hopperTitle, sentence: text.hopperSentence(hopper.text), values, fan },
    range: [0, most],
    rangeTexts: ["0", numberText(most)],
    refills: refills.map((refill) => ({
      place: refill.bucket,
      text: refill.grams === null ? "" : text.addedText(numberText(refill.grams)),
    })),
    readingOf: (name, place) => {
      const level = text.hopperReading(
        name,
        grams(values.middle[place]),
        grams(values.low[place]),
        grams(values.high[place]),
      );
      return [level, refillAt(place)].filter((part) => part !== null).join("; ");
    },
    marks: [
      { name: text.bandName, mark: bandMark },
      ...(refills.length > 0 ? [{ name: text.refillName, mark: <path class="refill" d="M0 -5l-5 8h10z" /> }] : []),
      ...(fan === null ? [] : [{ name: text.fanName, mark: <polygon class="fan" points="-8,-7 8,7 -2,7" /> }]),
    ],
    columns: [text.lowColumn, text.gramsColumn, text.highColumn, ...(refills.length > 0 ? [text.refillColumn] : [])],
    digits: 0,
    moreCells: (place) => (refills.length > 0 ? [refillAt(place) ?? ""] : []),
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
