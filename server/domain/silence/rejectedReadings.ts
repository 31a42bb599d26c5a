import { texts } from "../../text/index.ts";
import { type Instant, minutes } from "../instant.ts";
import { movingMean } from "../movingMean.ts";

/** How often a reading is rejected since its value is impossible; by its name in the report. */
export interface RejectedReading {
  readonly share: number; // of the reports of the last minutes
  readonly count: number;
  readonly firstAt: Instant; // the first of them
  readonly lastReportAt: Instant; // the latest report
}
export type RejectedReadings = { readonly [name: string]: RejectedReading };

export const initialRejectedReadings: RejectedReadings = {};

export function updateRejectedReadings(
  known: RejectedReadings,
  names: readonly string[],
  at: Instant,
): RejectedReadings {
  if (names.length === 0 && known === initialRejectedReadings) return known; // nearly always
  const before = Object.entries(known);
  if (names.length === 0 && before.length === 0) return initialRejectedReadings;
  const next: { [name: string]: RejectedReading } = {};
  for (const [name, earlier] of before) {
    const updated = updateRejectedReading(earlier, names.includes(name), at);
    if (updated !== null) next[name] = updated;
  }
  for (const name of names) {
    if (sensorName(name) !== null) next[name] ??= { share: firstShare, count: 1, firstAt: at, lastReportAt: at };
  }
  return next;
}

/** Null where it hasn't been rejected for so long that it is forgotten. */
function updateRejectedReading(
  { share, count, firstAt, lastReportAt }: RejectedReading,
  isRejected: boolean,
  at: Instant,
): RejectedReading | null {
  const weight = 1 - Math.exp(-Math.max(0, at - lastReportAt) / memorySpan);
  const updatedShare = movingMean(share, isRejected ? 1 : 0, weight);
  if (!isRejected && updatedShare <= forgottenShare) return null;
  return { share: updatedShare, count: count + (isRejected ? 1 : 0), firstAt, lastReportAt: at };
}

/** Most of its recent values, and more than a glitch or two. */
export const isOftenRejected = ({ share, count }: RejectedReading): boolean => share > 0.5 && count >= countMin;

/** The name of a reading's sensor; null where it has none. */
export function sensorName(posted: string): string | null {
  const reading = readings.get(posted);
  return reading === undefined ? null : texts.sensorFaults.readings[reading];
}

const readings: ReadonlyMap<string, keyof typeof texts.sensorFaults.readings> = new Map([
  ["hopperGrams", "hopper"],
  ["airCelsius", "air"],
  ["insideCelsius", "inside"],
  ["lidCelsius", "lid"],
  ["humidityPercent", "humidity"],
  ["supplyVolts", "supply"],
  ["batteryVolts", "battery"],
  ["batteryCelsius", "batteryTemperature"],
  ["chargeMilliamps", "chargingCurrent"],
  ["signalDbm", "signal"],
]);

/** Some ten minutes count. Common practice, no source. */
const memorySpan = minutes(5);
const firstShare = 0.2;
const forgottenShare = 0.05;
const countMin = 4;
