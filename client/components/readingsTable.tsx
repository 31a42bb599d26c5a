import { gramsText } from "#text/amount.ts";
import * as text from "#text/readingsTable.ts";
import type { FeederView, ReadingsView } from "../../server/contract/api.ts";
import { now } from "../state/clock.ts";
import { agoText, momentText } from "../text/clock.ts";
import { numberText } from "../text/format.ts";

type NumericReading = keyof typeof text.names &
  {
    readonly [key in keyof ReadingsView]: ReadingsView[key] extends number | null ? key : never;
  }[keyof ReadingsView];

const celsius = (value: number) => text.celsiusText(numberText(value, 1, 1));
const volts = (value: number) => text.voltsText(numberText(value, 2, 2));

/** In the order of the table. */
const valueTexts: Readonly<Record<NumericReading, (value: number) => string>> = {
  hopperGrams: (value) => gramsText(numberText(value)),
  airCelsius: celsius,
  insideCelsius: celsius,
  lidCelsius: celsius,
  humidityPercent: (value) => text.percentText(numberText(value)),
  supplyVolts: volts,
  batteryVolts: volts,
  batteryCelsius: celsius,
  chargeMilliamps: (value) => text.milliampsText(numberText(value)),
  signalDbm: (value) => text.decibelMilliwattsText(numberText(value)),
  spooled: (value) => numberText(value),
};
const shownReadings = Object.keys(valueTexts) as NumericReading[];

/** The numbers of the last report, one tap away. */
export function ReadingsTable(props: { readonly feeder: FeederView; readonly zone: string }) {
  const { readings, lastReportAt, missingEvents, numberingJumps, unknownReadings, hopper } = props.feeder;
  if (readings === null) return null;
  const time = momentText(readings.at, now.value, props.zone);
  return (
    <details class="readings" open={unknownReadings.length > 0}>
      <summary>{text.title}</summary>
      <p class="hint">
        {lastReportAt === null
          ? text.timesText(time)
          : text.timesWithReportText(time, agoText(lastReportAt, now.value))}
      </p>
      {unknownReadings.map(({ name, suggestion }) => (
        <p key={name} class="notice">
          {suggestion === null ? text.unknownText(name) : text.unknownSuggestionText(name, suggestion)}
        </p>
      ))}
      <dl class="numbers">
        {shownReadings.map((key) => {
          const value = readings[key];
          return value === null ? null : <Row key={key} name={text.names[key]} value={valueTexts[key](value)} />;
        })}
        {missingEvents > 0 && <Row name={text.lostEventsName} value={numberText(missingEvents)} />}
        {numberingJumps > 0 && (
          <Row name={text.numberGapsName} value={text.numberGapsText(numberText(numberingJumps))} />
        )}
        <Row name={text.portionName} value={gramsText(numberText(hopper.portionGrams, 1, 1))} />
      </dl>
    </details>
  );
}

const Row = (props: { readonly name: string; readonly value: string }) => (
  <div>
    <dt>{props.name}</dt>
    <dd>{props.value}</dd>
  </div>
);
