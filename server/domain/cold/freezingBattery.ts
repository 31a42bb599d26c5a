import type { Fault } from "../faults.ts";
import { hours, type Instant } from "../instant.ts";
import type { Readings } from "../report.ts";
import { type Celsius, type Volts, volts } from "../units.ts";
import { freezingPoint, restChargeBand } from "./battery.ts";
import { leadAcidCapacity } from "./capacityInCold.ts";
import { temperatureText } from "./temperatureText.ts";

/**
 * A lead-acid battery and where it would freeze. The float tension of a solar regulator hides its charge, so only the
 * lowest tension of the last day counts, which is that before dawn.
 */
export interface FreezingBattery {
  /** The two readings before, so that a sag or two under the motor aren't taken for rest. */
  readonly lastVoltage: Volts | null;
  readonly previousVoltage: Volts | null;
  /** Lowest tensions of this half day and the one before; together they cover 12 to 24 hours. */
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
  const rest = lowerVoltage(battery.lowestVoltage, battery.previousLowestVoltage);
  if (temperature === null || rest === null) return battery;
  const freezing = freezingPoint(rest);
  if (freezing === null) return { ...battery, found: null };

  const margin = temperature - freezing.cautious;
  const near = battery.found === null ? margin <= 0 : margin <= temperatureDeadband;
  if (!near) return { ...battery, found: null };
  const measuredAt = readings.batteryTemperature === null ? "box" : "battery";
  return {
    ...battery,
    found: { at, temperature: temperature, thermometer: measuredAt, restVoltage: rest, freezingPoint: freezing.likely },
  };
}

export function batteryFreezingFault(found: FreezingFinding): Fault {
  const charge = restChargeBand("leadAcid", found.restVoltage);
  const share = charge && `${percent(charge.low)} to ${percent(charge.high)} %`;
  const where = found.thermometer === "battery" ? "The battery" : "The box with the battery";
  return {
    kind: "batteryFreezing",
    reason:
      `${where} is at ${temperatureText(found.temperature)}. At ${found.restVoltage.toFixed(1)} V it is so far discharged ` +
      `that it freezes near ${temperatureText(found.freezingPoint)}, give or take 3 °C.`,
    evidence: [
      { label: `temperature of the ${found.thermometer}`, value: temperatureText(found.temperature), at: found.at },
      { label: "lowest tension of the last day", value: `${found.restVoltage.toFixed(2)} V`, at: null },
      ...(share ? [{ label: "charge", value: share, at: null }] : []),
      { label: "freezes near", value: temperatureText(found.freezingPoint), at: null },
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
  const turned =
    halfDay <= before.halfDay
      ? before
      : {
          ...before,
          halfDay,
          lowestVoltage: null,
          previousLowestVoltage: halfDay === before.halfDay + 1 ? before.lowestVoltage : null,
        };
  const { battery, charge } = readings;
  if (battery === null || (charge !== null && charge > chargeDeadband)) return turned;
  const { lastVoltage, previousVoltage } = turned;
  // The highest of three in a row: a sag of a tenth of a second under the motor is no rest.
  const settled =
    lastVoltage === null || previousVoltage === null ? null : volts(Math.max(previousVoltage, lastVoltage, battery));
  return {
    ...turned,
    lastVoltage: battery,
    previousVoltage: lastVoltage,
    lowestVoltage: lowerVoltage(turned.lowestVoltage, settled),
  };
}

const lowerVoltage = (a: Volts | null, b: Volts | null): Volts | null =>
  a === null ? b : b === null ? a : volts(Math.min(a, b));

/** mA; what a cheap current sensor says of nothing. Common practice, no source. */
const chargeDeadband = 30;
/** °C, more than the thermometer's noise. */
const temperatureDeadband = 2;
