import { temperatureText } from "../../text/format.ts";
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
  const share = charge && `${percent(charge.low)} to ${percent(charge.high)} %`;
  const placeText = found.thermometer === "battery" ? "The battery" : "The box with the battery";
  return {
    kind: "batteryFreezing",
    reason:
      `${placeText} is at ${temperatureText(found.temperature)}. At ${found.restVoltage.toFixed(1)} V it is discharged so far ` +
      `that it may freeze at about ${temperatureText(found.freezingPoint)}.`,
    evidence: [
      { label: `temperature of the ${found.thermometer}`, value: temperatureText(found.temperature), at: found.at },
      { label: "lowest voltage of the last day", value: `${found.restVoltage.toFixed(2)} V`, at: null },
      ...(share ? [{ label: "charge", value: share, at: null }] : []),
      { label: "may freeze at about", value: temperatureText(found.freezingPoint), at: null },
      {
        label: "capacity left by the cold",
        value: `${percent(leadAcidCapacity(found.temperature))} % or less`,
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

const lowerVoltage = (a: Volts | null, b: Volts | null): Volts | null =>
  a === null ? b : b === null ? a : volts(Math.min(a, b));

/** mA; what a cheap current sensor reports without current. Common practice, no source. */
const chargeDeadband = 30;
/** °C, more than the thermometer's noise. */
const temperatureDeadband = 2;
