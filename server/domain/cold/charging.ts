import type { Fault } from "../faults.ts";
import { between, type Instant, minutes } from "../instant.ts";
import type { Readings } from "../report.ts";
import { inWords } from "../silence/spanWords.ts";
import type { Celsius, Milliamps } from "../units.ts";
import { degrees } from "./degrees.ts";

/**
 * Lithium cells may be discharged down to -20 °C and below, but charged only above 0 °C (cell makers' data for both
 * chemistries): below it the lithium plates out as metal. So it is the current in the cold that counts, not the cold.
 */
export interface Charging {
  readonly found: FoundCharging | null;
}

export interface FoundCharging {
  readonly at: Instant;
  readonly battery: Celsius;
  readonly measuredAt: "battery" | "box";
  readonly charge: Milliamps;
}

export const notCharging = (): Charging => ({ found: null });

export function feltCharging(before: Charging, readings: Readings, at: Instant): Charging {
  const { charge, batteryTemperature, inside } = readings;
  const battery = batteryTemperature ?? inside;
  if (charge === null || battery === null) return before;
  const measuredAt = batteryTemperature === null ? "box" : "battery";
  const coldBelow = measuredAt === "battery" ? 0 : boxColdBelow;
  const stands = before.found !== null;
  const cold = stands ? battery < coldBelow + warmDeadband : battery < coldBelow;
  const charging = charge > (stands ? chargesUntil : chargesFrom);
  return { found: cold && charging ? { at, battery, measuredAt, charge } : null };
}

/** Told as present only while the feeder goes on saying it: a sensor that has fallen silent proves no current. */
const presentFor = minutes(15);

export function chargingInFrost(found: FoundCharging, now: Instant): Fault {
  const where = found.measuredAt === "battery" ? "the battery" : "the box with the battery";
  return {
    kind: "chargingInFrost",
    reason:
      now - found.at <= presentFor
        ? `Current flows into the lithium battery while ${where} is at ${degrees(found.battery)}.`
        : `Current flowed into the lithium battery while ${where} was at ${degrees(found.battery)}, ${inWords(between(found.at, now))} ago. Nothing has been reported of the current since.`,
    evidence: [
      { what: "current into the battery", value: `${Math.round(found.charge)} mA`, at: found.at },
      { what: `temperature of the ${found.measuredAt}`, value: degrees(found.battery), at: found.at },
    ],
    sure: null,
  };
}

// mA: above what a cheap current sensor says of nothing, and where it stops. Common practice, no source.
const chargesFrom = 50;
const chargesUntil = 25;
/** The box may be colder than the cells in it, but not for long by this much. */
const boxColdBelow = -2;
const warmDeadband = 1;
