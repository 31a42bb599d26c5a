import type { Fault } from "../faults.ts";
import { hours, type Instant } from "../instant.ts";
import type { Readings } from "../report.ts";
import { type Celsius, type Volts, volts } from "../units.ts";
import { chargeAtRest, freezingPoint } from "./battery.ts";
import { leadAcidCapacity } from "./capacityInCold.ts";
import { degrees } from "./degrees.ts";

/**
 * A lead-acid battery and where it would freeze. The float tension of a solar regulator hides its charge, so only the
 * lowest tension of the last day counts, which is that before dawn.
 */
export interface FreezingBattery {
  /** The two readings before, so that a sag or two under the motor aren't taken for rest. */
  readonly last: Volts | null;
  readonly lastButOne: Volts | null;
  /** Lowest tensions of this half day and the one before; together they cover 12 to 24 hours. */
  readonly lowest: Volts | null;
  readonly lowestBefore: Volts | null;
  readonly halfDay: number;
  readonly found: FoundFreezing | null;
}

export interface FoundFreezing {
  readonly at: Instant;
  readonly battery: Celsius;
  readonly measuredAt: "battery" | "box";
  readonly rest: Volts;
  readonly freezesAt: Celsius;
}

export const unmeasuredBattery = (): FreezingBattery => ({
  last: null,
  lastButOne: null,
  lowest: null,
  lowestBefore: null,
  halfDay: 0,
  found: null,
});

export function feltBattery(before: FreezingBattery, readings: Readings, at: Instant): FreezingBattery {
  const battery = lowestTension(before, readings, at);
  const temperature = readings.batteryTemperature ?? readings.inside;
  const rest = lowestOf(battery.lowest, battery.lowestBefore);
  if (temperature === null || rest === null) return battery;
  const freezing = freezingPoint(rest);
  if (freezing === null) return { ...battery, found: null };

  const margin = temperature - freezing.cautious;
  const near = battery.found === null ? margin <= 0 : margin <= deadband;
  if (!near) return { ...battery, found: null };
  const measuredAt = readings.batteryTemperature === null ? "box" : "battery";
  return { ...battery, found: { at, battery: temperature, measuredAt, rest, freezesAt: freezing.likely } };
}

export function batteryFreezing(found: FoundFreezing): Fault {
  const charge = chargeAtRest("leadAcid", found.rest);
  const share = charge && `${percent(charge.low)} to ${percent(charge.high)} %`;
  const where = found.measuredAt === "battery" ? "The battery" : "The box with the battery";
  return {
    kind: "batteryFreezing",
    reason:
      `${where} is at ${degrees(found.battery)}. At ${found.rest.toFixed(1)} V it is so far discharged ` +
      `that it freezes near ${degrees(found.freezesAt)}, give or take 3 °C.`,
    evidence: [
      { what: `temperature of the ${found.measuredAt}`, value: degrees(found.battery), at: found.at },
      { what: "lowest tension of the last day", value: `${found.rest.toFixed(2)} V`, at: null },
      ...(share ? [{ what: "charge", value: share, at: null }] : []),
      { what: "freezes near", value: degrees(found.freezesAt), at: null },
      { what: "capacity left by the cold", value: `${percent(leadAcidCapacity(found.battery))} % or less`, at: null },
    ],
    sure: null,
  };
}

const percent = (share: number) => Math.round(20 * share) * 5;

function lowestTension(before: FreezingBattery, readings: Readings, at: Instant): FreezingBattery {
  const halfDay = Math.floor(at / hours(12));
  const turned =
    halfDay <= before.halfDay
      ? before
      : {
          ...before,
          halfDay,
          lowest: null,
          lowestBefore: halfDay === before.halfDay + 1 ? before.lowest : null,
        };
  const { battery, charge } = readings;
  if (battery === null || (charge !== null && charge > chargeDeadband)) return turned;
  const { last, lastButOne } = turned;
  // The highest of three in a row: a sag of a tenth of a second under the motor is no rest.
  const settled = last === null || lastButOne === null ? null : volts(Math.max(lastButOne, last, battery));
  return { ...turned, last: battery, lastButOne: last, lowest: lowestOf(turned.lowest, settled) };
}

const lowestOf = (a: Volts | null, b: Volts | null): Volts | null =>
  a === null ? b : b === null ? a : volts(Math.min(a, b));

/** mA; what a cheap current sensor says of nothing. Common practice, no source. */
const chargeDeadband = 30;
/** °C, more than the thermometer's noise. */
const deadband = 2;
