import { percentText, temperatureText, voltageText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Fault } from "../faults.ts";
import { hours, type Instant } from "../instant.ts";
import type { Readings } from "../report.ts";
import { type Celsius, type Volts, volts } from "../units.ts";
import { freezingPoint, restChargeBand } from "./battery.ts";
import { leadAcidCapacity } from "./capacityInCold.ts";

/**
 * A lead-acid battery and where it would freeze. The float voltage of a solar regulator hides its charge, so only
 * the lowest voltage of the last day counts, which is that before dawn.
 */
export interface FreezingBattery {
  /** The two readings before, so that a voltage drop or two under the motor don't count as rest. */
  readonly lastVoltage: Volts | null;
  readonly previousVoltage: Volts | null;
  /** Lowest voltages of this half day and the one before; together they cover 12 to 24 hours. */
  readonly lowestVoltage: Volts | null;
  readonly previousLowestVoltage: Volts | null;
  readonly halfDay: number;
  readonly found: FreezingFinding | null;
}

export interface FreezingFinding {
  readonly at: Instant;
  readonly temperature: Celsius;
  readonly thermometer: "battery" | "box";
  readonly restVoltage: Volts;
  readonly freezingPoint: Celsius;
}

export const initialFreezingBattery = (): FreezingBattery => ({
  lastVoltage: null,
  previousVoltage: null,
  lowestVoltage: null,
  previousLowestVoltage: null,
  halfDay: 0,
  found: null,
});

export function updateFreezingBattery(before: FreezingBattery, readings: Readings, at: Instant): FreezingBattery {
  const battery = updateLowestVoltage(before, readings, at);
  const temperature = readings.batteryTemperature ?? readings.inside;
  const restVoltage = lowerVoltage(battery.lowestVoltage, battery.previousLowestVoltage);
  if (temperature === null || restVoltage === null) return battery;
  const freezingPointNow = freezingPoint(restVoltage);
  if (freezingPointNow === null) return { ...battery, found: null };

  const margin = temperature - freezingPointNow.cautious;
  const isNear = battery.found === null ? margin <= 0 : margin <= temperatureDeadband;
  if (!isNear) return { ...battery, found: null };
  const thermometer = readings.batteryTemperature === null ? "box" : "battery";
  return {
    ...battery,
    found: { at, temperature: temperature, thermometer, restVoltage, freezingPoint: freezingPointNow.likely },
  };
}

export function batteryFreezingFault(found: FreezingFinding): Fault {
  const charge = restChargeBand("leadAcid", found.restVoltage);
  const { thermometer } = found;
  const text = texts.cold.freezingBattery;
  const [temperature, freezingPoint] = [temperatureText(found.temperature), temperatureText(found.freezingPoint)];
  return {
    kind: "batteryFreezing",
    reason: text.reason[thermometer](temperature, voltageText(found.restVoltage, 1), freezingPoint),
    evidence: [
      { label: texts.cold.temperatureOf[thermometer], value: temperature, at: found.at },
      { label: text.voltageLabel, value: voltageText(found.restVoltage), at: null },
      ...(charge
        ? [{ label: text.chargeLabel, value: text.charge(percent(charge.low), percent(charge.high)), at: null }]
        : []),
      { label: text.freezingPointLabel, value: freezingPoint, at: null },
      {
        label: text.capacityLabel,
        value: text.capacity(percentText(leadAcidCapacity(found.temperature))),
        at: null,
      },
    ],
    confidence: null,
  };
}

const percent = (share: number) => Math.round(20 * share) * 5;

function updateLowestVoltage(before: FreezingBattery, readings: Readings, at: Instant): FreezingBattery {
  const halfDay = Math.floor(at / hours(12));
  const current =
    halfDay <= before.halfDay
      ? before
      : {
          ...before,
          halfDay,
          lowestVoltage: null,
          previousLowestVoltage: halfDay === before.halfDay + 1 ? before.lowestVoltage : null,
        };
  const { battery, charge } = readings;
  if (battery === null || (charge !== null && charge > chargeDeadband)) return current;
  const { lastVoltage, previousVoltage } = current;
  // The highest of three in a row: a voltage drop of a tenth of a second under the motor is no rest.
  const restReading =
    lastVoltage === null || previousVoltage === null ? null : volts(Math.max(previousVoltage, lastVoltage, battery));
  return {
    ...current,
    lastVoltage: battery,
    previousVoltage: lastVoltage,
    lowestVoltage: lowerVoltage(current.lowestVoltage, restReading),
  };
}

/** Where it would freeze, cautiously, by its lowest voltage at rest in the last half day to day; null: not known. */
export function presentFreezingPoint(battery: FreezingBattery): Celsius | null {
  const restVoltage = lowerVoltage(battery.lowestVoltage, battery.previousLowestVoltage);
  return restVoltage === null ? null : (freezingPoint(restVoltage)?.cautious ?? null);
}

const lowerVoltage = (a: Volts | null, b: Volts | null): Volts | null =>
  a === null ? b : b === null ? a : volts(Math.min(a, b));

/** mA; what a cheap current sensor reports without current. Common practice, no source. */
const chargeDeadband = 30;
/** °C, more than the thermometer's noise. */
const temperatureDeadband = 2;
