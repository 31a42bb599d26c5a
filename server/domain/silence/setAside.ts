import { type Instant, minutes } from "../instant.ts";
import { moved } from "../movingMean.ts";

/** How often a reading is set aside at the door since no such sensor can mean it; by its posted name. */
export interface SetAside {
  readonly share: number; // of the reports of the last minutes
  readonly times: number;
  readonly from: Instant; // the first of them
  readonly at: Instant; // the latest report that was looked at
}
export type SetAsides = { readonly [name: string]: SetAside };

export const noneSetAside: SetAsides = {};

export function withSetAside(known: SetAsides, names: readonly string[], at: Instant): SetAsides {
  if (names.length === 0 && known === noneSetAside) return known; // nearly always
  const before = Object.entries(known);
  if (names.length === 0 && before.length === 0) return noneSetAside;
  const next: { [name: string]: SetAside } = {};
  for (const [name, was] of before) {
    const weight = 1 - Math.exp(-Math.max(0, at - was.at) / lately);
    const bad = names.includes(name);
    const share = moved(was.share, bad ? 1 : 0, weight);
    if (bad || share > forgotten) next[name] = { share, times: was.times + (bad ? 1 : 0), from: was.from, at };
  }
  for (const name of names) {
    if (nameOfSensor(name) !== null) next[name] ??= { share: firstShare, times: 1, from: at, at };
  }
  return next;
}

/** Most of what it says lately, and more than a glitch or two. */
export const isImpossible = ({ share, times }: SetAside): boolean => share > 0.5 && times >= timesMin;

/** What a reading's sensor is called; null for what is no sensor's. */
export const nameOfSensor = (posted: string): string | null => sensorNames.get(posted) ?? null;

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
const timesMin = 4;
