import { type Instant, minutes } from "../instant.ts";
import { movingMean } from "../movingMean.ts";

/** How often a reading is set aside at the door since no such sensor can mean it; by its posted name. */
export interface RejectedReading {
  readonly share: number; // of the reports of the last minutes
  readonly count: number;
  readonly firstAt: Instant; // the first of them
  readonly lastReportAt: Instant; // the latest report that was looked at
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
  for (const [name, was] of before) {
    const weight = 1 - Math.exp(-Math.max(0, at - was.lastReportAt) / lately);
    const bad = names.includes(name);
    const share = movingMean(was.share, bad ? 1 : 0, weight);
    if (bad || share > forgotten)
      next[name] = { share, count: was.count + (bad ? 1 : 0), firstAt: was.firstAt, lastReportAt: at };
  }
  for (const name of names) {
    if (sensorName(name) !== null) next[name] ??= { share: firstShare, count: 1, firstAt: at, lastReportAt: at };
  }
  return next;
}

/** Most of what it says lately, and more than a glitch or two. */
export const isOftenRejected = ({ share, count }: RejectedReading): boolean => share > 0.5 && count >= countMin;

/** What a reading's sensor is called; null for what is no sensor's. */
export const sensorName = (posted: string): string | null => sensorNames.get(posted) ?? null;

const sensorNames: ReadonlyMap<string, string> = new Map([
  ["hopperGrams", "scale"],
  ["airCelsius", "air thermometer"],
  ["insideCelsius", "inside thermometer"],
  ["lidCelsius", "lid thermometer"],
  ["humidityPercent", "humidity sensor"],
  ["supplyVolts", "supply's meter"],
  ["batteryVolts", "battery's meter"],
  ["batteryCelsius", "battery thermometer"],
  ["chargeMilliamps", "charging current's meter"],
  ["signalDbm", "radio's signal strength"],
]);

/** Some ten minutes count. Common practice, no source. */
const lately = minutes(5);
const firstShare = 0.2;
const forgotten = 0.05;
const countMin = 4;
