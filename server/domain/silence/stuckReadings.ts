import { days, hours, type Instant, minutes, type Span } from "../instant.ts";
import type { Readings } from "../report.ts";

/** A reading whose last digit is watched: for how long it stays the same now, and how long it did at most when it was well. */
export interface ConstantReading {
  readonly value: number;
  readonly lastReadAt: Instant; // last read
  readonly constantFor: Span; // the same for so long
  readonly longestConstant: Span; // fading over a season
  readonly changeCount: number;
  readonly firstReadAt: Instant; // first read
}

export type WatchedReading = "air" | "inside" | "lid" | "batteryTemperature" | "humidity" | "battery" | "hopper";
export const watchedReadings = ["air", "inside", "lid", "batteryTemperature", "humidity", "battery", "hopper"] as const;
export type ConstantReadings = { readonly [reading in WatchedReading]: ConstantReading | null };

export const initialConstantReadings: ConstantReadings = {
  air: null,
  inside: null,
  lid: null,
  batteryTemperature: null,
  humidity: null,
  battery: null,
  hopper: null,
};

export const updateConstantReadings = (held: ConstantReadings, readings: Readings, at: Instant): ConstantReadings => ({
  air: updateConstantReading(held.air, readings.air, at),
  inside: updateConstantReading(held.inside, readings.inside, at),
  lid: updateConstantReading(held.lid, readings.lid, at),
  batteryTemperature: updateConstantReading(held.batteryTemperature, readings.batteryTemperature, at),
  humidity: updateConstantReading(held.humidity, readings.humidity, at),
  battery: updateConstantReading(held.battery, readings.battery, at),
  hopper: updateConstantReading(held.hopper, readings.hopper, at),
});

function updateConstantReading(
  held: ConstantReading | null,
  value: number | null,
  at: Instant,
): ConstantReading | null {
  if (value === null) return held;
  if (held === null)
    return {
      value,
      lastReadAt: at,
      constantFor: 0 as Span,
      longestConstant: 0 as Span,
      changeCount: 0,
      firstReadAt: at,
    };
  // A stretch without reports adds little: what it was like meanwhile nobody knows.
  const passed = Math.min(unseenMax, Math.max(0, at - held.lastReadAt));
  const span = (held.constantFor + passed) as Span;
  if (value === held.value) return { ...held, lastReadAt: at, constantFor: span };
  // After a sensor that was stuck and was mended, or after an alarm for nothing, patience grows, but not without end.
  const known = Math.min(span, learntFactorMax * Math.max(held.longestConstant, longestAtFirst));
  const faded = held.longestConstant * (1 - Math.min(1, passed / longestMemory));
  const longest = Math.round(Math.max(faded, known)) as Span;
  return {
    value,
    lastReadAt: at,
    constantFor: 0 as Span,
    longestConstant: longest,
    changeCount: Math.min(changesMin, held.changeCount + 1),
    firstReadAt: held.firstReadAt,
  };
}

/** The readings as far as they live: who is stuck proves neither frost nor warmth. The scale's own watch is scaleSilence.ts. */
export function withoutStuckReadings(readings: Readings, held: ConstantReadings): Readings {
  let living = readings;
  for (const reading of watchedReadings) {
    const one = held[reading];
    if (reading !== "hopper" && one !== null && isStuck(reading, one)) living = { ...living, [reading]: null };
  }
  return living;
}

/** How long the reading may stay the same; null while too little is known of it. */
export function constantTimeMax(reading: WatchedReading, held: ConstantReading): Span | null {
  if (held.changeCount < changesMin || held.lastReadAt - held.constantFor - held.firstReadAt < historyMin) return null;
  return Math.max(longestFactor * held.longestConstant, naturalConstantTime(reading, held.value)) as Span;
}

/** Whether it has been the same to the last digit for longer than this very reading's ways allow. */
export function isStuck(reading: WatchedReading, held: ConstantReading): boolean {
  const credible = constantTimeMax(reading, held);
  return credible !== null && held.constantFor > credible;
}

/** What nature itself may hold still. Common practice, no source. */
function naturalConstantTime(reading: WatchedReading, value: number): Span {
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
const learntFactorMax = 2 * longestFactor;
const longestAtFirst = minutes(10);
/** A sensor that never changes in a week of mild nights indoors must first show how it does. */
const changesMin = 30;
const historyMin = days(4);
const unseenMax = minutes(30);
const longestMemory = days(90);
