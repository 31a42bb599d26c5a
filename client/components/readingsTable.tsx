import type { FeederView, ReadingsView } from "../../server/contract/api.ts";
import { now } from "../state/clock.ts";
import { agoText, momentText } from "../text/clock.ts";

type NumericReading = {
  readonly [key in keyof ReadingsView]: ReadingsView[key] extends number | null ? key : never;
}[keyof ReadingsView];

const rows: readonly {
  readonly key: NumericReading;
  readonly name: string;
  readonly say: (value: number) => string;
}[] = [
  { key: "hopperGrams", name: "Scale under the hopper", say: (value) => `${Math.round(value)} g` },
  { key: "airCelsius", name: "Air", say: (value) => `${signedNumber(value)} °C` },
  { key: "insideCelsius", name: "Inside the box", say: (value) => `${signedNumber(value)} °C` },
  { key: "lidCelsius", name: "Lid", say: (value) => `${signedNumber(value)} °C` },
  { key: "humidityPercent", name: "Humidity", say: (value) => `${Math.round(value)} %` },
  { key: "supplyVolts", name: "Supply", say: (value) => `${value.toFixed(2)} V` },
  { key: "batteryVolts", name: "Battery", say: (value) => `${value.toFixed(2)} V` },
  { key: "batteryCelsius", name: "At the battery", say: (value) => `${signedNumber(value)} °C` },
  { key: "chargeMilliamps", name: "Into the battery", say: (value) => `${signedNumber(value, 0)} mA` },
  { key: "signalDbm", name: "Radio signal", say: (value) => `${signedNumber(value, 0)} dBm` },
  { key: "spooled", name: "Events still on the feeder", say: (value) => String(value) },
];
const signedNumber = (value: number, decimals = 1) => value.toFixed(decimals).replace("-", "−");

/** The numbers, one tap away. */
export function ReadingsTable(props: { readonly feeder: FeederView; readonly zone: string }) {
  const { readings, lastReportAt, missingEvents, numberingJumps, unknownReadings, hopper } = props.feeder;
  if (readings === null) return null;
  const said = rows.flatMap(({ key, name, say }) => {
    const value = readings[key];
    return value === null ? [] : [{ name, words: say(value) }];
  });
  return (
    <details class="readings" open={unknownReadings.length > 0}>
      <summary>Latest readings</summary>
      <p class="hint">
        As of {momentText(readings.at, now.value, props.zone)}
        {lastReportAt !== null && `, last heard ${agoText(lastReportAt, now.value)}`}. What the feeder doesn't measure
        is left out.
      </p>
      {unknownReadings.map(({ name, suggestion }) => (
        <p key={name} class="notice">
          It sends a reading that Pieward doesn't know: {name}.{suggestion !== null && ` Did you mean ${suggestion}?`}
        </p>
      ))}
      <dl class="numbers">
        {said.map(({ name, words }) => (
          <div key={name}>
            <dt>{name}</dt>
            <dd>{words}</dd>
          </div>
        ))}
        {missingEvents > 0 && (
          <div>
            <dt>Events that never arrived</dt>
            <dd>{missingEvents}</dd>
          </div>
        )}
        {numberingJumps > 0 && (
          <div>
            <dt>Event numbers jumped</dt>
            <dd>{numberingJumps === 1 ? "once" : `${numberingJumps} times`}; how many events were lost is not known</dd>
          </div>
        )}
        <div>
          <dt>One portion, as reckoned</dt>
          <dd>{hopper.portionGrams.toFixed(1)} g</dd>
        </div>
      </dl>
    </details>
  );
}
