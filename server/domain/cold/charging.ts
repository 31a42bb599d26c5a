import { currentText, spanText, temperatureText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Fault } from "../faults.ts";
import { between, type Instant, minutes } from "../instant.ts";
import type { Readings } from "../report.ts";
import type { Celsius, Milliamps } from "../units.ts";

/**
 * Lithium cells may be discharged down to -20 °C and below, but charged only above 0 °C (cell makers' data for both
 * chemistries): below it the lithium plates out as metal. So it is the current in the cold that counts, not the cold.
 */
export interface ChargingState {
  readonly found: ChargingFinding | null;
}

export interface ChargingFinding {
  readonly at: Instant;
  readonly temperature: Celsius;
  readonly thermometer: "battery" | "box";
  readonly chargeCurrent: Milliamps;
}

export const initialCharging = (): ChargingState => ({ found: null });

export function updateCharging(before: ChargingState, readings: Readings, at: Instant): ChargingState {
  const { charge, batteryTemperature, inside } = readings;
  const battery = batteryTemperature ?? inside;
  if (charge === null || battery === null) return before;
  const thermometer = batteryTemperature === null ? "box" : "battery";
  const coldBelow = thermometer === "battery" ? batteryColdBelow : boxColdBelow;
  const isActive = before.found !== null;
  const isCold = isActive ? battery < coldBelow + warmDeadband : battery < coldBelow;
  const isCharging = charge > (isActive ? chargingCurrentOff : chargingCurrentOn);
  return {
    found: isCold && isCharging ? { at, temperature: battery, thermometer, chargeCurrent: charge } : null,
  };
}

/** Shown as present only while it is reported: a silent sensor proves no current. */
const presentMax = minutes(15);

export function chargingInFrostFault(found: ChargingFinding, now: Instant): Fault {
  const { thermometer } = found;
  const temperature = temperatureText(found.temperature);
  const { reason, earlierReason, currentLabel } = texts.cold.charging;
  return {
    kind: "chargingInFrost",
    reason:
      now - found.at <= presentMax
        ? reason[thermometer](temperature)
        : earlierReason[thermometer](temperature, spanText(between(found.at, now))),
    evidence: [
      { label: currentLabel, value: currentText(found.chargeCurrent), at: found.at },
      { label: texts.cold.temperatureOf[thermometer], value: temperature, at: found.at },
    ],
    confidence: null,
  };
}

// mA: above what a cheap current sensor reports without current, and where it ends. Common practice, no source.
const chargingCurrentOn = 50;
const chargingCurrentOff = 25;
/** °C in the cells; see above. */
export const batteryColdBelow = 0;
/** The box may be colder than the cells in it, but not for long by this much. */
export const boxColdBelow = -2;
const warmDeadband = 1;
