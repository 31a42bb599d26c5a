import { days, hours, type Instant, minutes, type Span } from "../instant.ts";
import type { Readings } from "../report.ts";

/** A reading whose last digit is watched: for how long it stays the same now, and how long it did at most when it was well. */
export interface Held {
  readonly value: number;
  readonly at: Instant; // last read
  readonly span: Span; // the same for so long
  readonly longest: Span; // fading over a season
  readonly changes: number;
  readonly since: Instant; // first read
}

export type HeldReading = "air" | "inside" | "lid" | "batteryTemperature" | "humidity" | "battery" | "hopper";
export const heldReadings = ["air", "inside", "lid", "batteryTemperature", "humidity", "battery", "hopper"] as const;
export type HeldReadings = { readonly [reading in HeldReading]: Held | null };

export const nothingHeld: HeldReadings = {
  air: null,
  inside: null,
  lid: null,
  batteryTemperature: null,
  humidity: null,
  battery: null,
  hopper: null,
};

export const heldThrough = (held: HeldReadings, readings: Readings, at: Instant): HeldReadings => ({
  air: holding(held.air, readings.air, at),
  inside: holding(held.inside, readings.inside, at),
  lid: holding(held.lid, readings.lid, at),
  batteryTemperature: holding(held.batteryTemperature, readings.batteryTemperature, at),
  humidity: holding(held.humidity, readings.humidity, at),
  battery: holding(held.battery, readings.battery, at),
  hopper: holding(held.hopper, readings.hopper, at),
});

function holding(held: Held | null, value: number | null, at: Instant): Held | null {
  if (value === null) return held;
  if (held === null) return { value, at, span: 0 as Span, longest: 0 as Span, changes: 0, since: at };
  // A stretch without reports adds little: what it was like meanwhile nobody knows.
  const passed = Math.min(unseenMost, Math.max(0, at - held.at));
  const span = (held.span + passed) as Span;
  if (value === held.value) return { ...held, at, span };
  // After a sensor that was stuck and was mended, or after an alarm for nothing, patience grows, but not without end.
  const known = Math.min(span, learntMost * Math.max(held.longest, firstLongest));
  const faded = held.longest * (1 - Math.min(1, passed / forgottenIn));
  const longest = Math.round(Math.max(faded, known)) as Span;
  return { value, at, span: 0 as Span, longest, changes: Math.min(changesMin, held.changes + 1), since: held.since };
}

/** The readings as far as they live: who is stuck proves neither frost nor warmth. The scale's own watch is scaleSilence.ts. */
export function withoutStuck(readings: Readings, held: HeldReadings): Readings {
  let living = readings;
  for (const reading of heldReadings) {
    const one = held[reading];
    if (reading !== "hopper" && one !== null && isStuck(reading, one)) living = { ...living, [reading]: null };
  }
  return living;
}

/** How long the reading may stay the same; null while too little is known of it. */
export function credibleHold(reading: HeldReading, held: Held): Span | null {
  if (held.changes < changesMin || held.at - held.span - held.since < historyMin) return null;
  return Math.max(longestFactor * held.longest, leastHold(reading, held.value)) as Span;
}

/** Whether it has been the same to the last digit for longer than this very reading's ways allow. */
export function isStuck(reading: HeldReading, held: Held): boolean {
  const credible = credibleHold(reading, held);
  return credible !== null && held.span > credible;
}

/** What nature itself may hold still. Common practice, no source. */
function leastHold(reading: HeldReading, value: number): Span {
  if (reading === "battery") return hours(24); // a charger that floats holds it
  if (reading === "humidity") return value >= 95 || value <= 5 ? days(7) : hours(6); // fog, or the end of the sensor's scale
  if (reading === "hopper") return hours(6);
  return Math.abs(value) <= 0.6 ? days(3) : hours(6); // melting snow and ice stay at nought
}

/**
 * Three times the longest ever seen: were long holds exponential, one in N³ would be so long where the longest of N is known,
 * and there is about one long hold a night. So in its second week a false one is one in a hundred, later far less.
 */
const longestFactor = 3;
const learntMost = 2 * longestFactor;
const firstLongest = minutes(10);
/** A sensor that never changes in a week of mild nights indoors must first show how it does. */
const changesMin = 30;
const historyMin = days(4);
const unseenMost = minutes(30);
const forgottenIn = days(90);
