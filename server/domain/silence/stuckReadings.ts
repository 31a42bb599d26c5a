import { days, hours, type Instant, minutes, type Span } from "../instant.ts";
import type { Readings } from "../report.ts";

/** How long a reading has stayed the same to the last digit, and for how long at most while the sensor worked. */
export interface ConstantReading {
  readonly value: number;
  readonly lastReadAt: Instant; // last read
  readonly constantFor: Span; // the same for so long
  readonly longestConstant: Span; // fading over a season
  /** How it was watched so far; left out once enough is known of how it changes. */
  readonly watched?: { readonly changeCount: number; readonly firstReadAt: Instant };
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

export const updateConstantReadings = (
  constant: ConstantReadings,
  readings: Readings,
  at: Instant,
): ConstantReadings => ({
  air: updateConstantReading(constant.air, readings.air, at),
  inside: updateConstantReading(constant.inside, readings.inside, at),
  lid: updateConstantReading(constant.lid, readings.lid, at),
  batteryTemperature: updateConstantReading(constant.batteryTemperature, readings.batteryTemperature, at),
  humidity: updateConstantReading(constant.humidity, readings.humidity, at),
  battery: updateConstantReading(constant.battery, readings.battery, at),
  hopper: updateConstantReading(constant.hopper, readings.hopper, at),
});

function updateConstantReading(
  constant: ConstantReading | null,
  value: number | null,
  at: Instant,
): ConstantReading | null {
  if (value === null) return constant;
  if (constant === null)
    return {
      value,
      lastReadAt: at,
      constantFor: 0 as Span,
      longestConstant: 0 as Span,
      watched: { changeCount: 0, firstReadAt: at },
    };
  // A time without reports adds little: the reading in it is unknown.
  const elapsed = Math.min(unseenMax, Math.max(0, at - constant.lastReadAt));
  const span = (constant.constantFor + elapsed) as Span;
  if (value === constant.value) return { ...constant, lastReadAt: at, constantFor: span };
  // After a stuck sensor was repaired, or after a false alarm, the limit grows, but only so far.
  const learntSpan = Math.min(span, learntFactorMax * Math.max(constant.longestConstant, longestAtFirst));
  const fadedLongest = constant.longestConstant * (1 - Math.min(1, elapsed / longestMemory));
  const longestConstant = Math.round(Math.max(fadedLongest, learntSpan)) as Span;
  const changed = { value, lastReadAt: at, constantFor: 0 as Span, longestConstant };
  const watched = watchedAfterChange(constant.watched, at);
  return watched === undefined ? changed : { ...changed, watched };
}

function watchedAfterChange(before: ConstantReading["watched"], at: Instant): ConstantReading["watched"] {
  if (before === undefined) return undefined;
  const watched = { changeCount: Math.min(changesMin, before.changeCount + 1), firstReadAt: before.firstReadAt };
  return isWellKnown(watched, at) ? undefined : watched;
}

/** `constantFrom`: since when it has been the same. */
const isWellKnown = (watched: ConstantReading["watched"], constantFrom: number): boolean =>
  watched === undefined || (watched.changeCount >= changesMin && constantFrom - watched.firstReadAt >= historyMin);

/** The readings without stuck ones, which prove neither frost nor warmth. For the scale see scaleSilence.ts. */
export function withoutStuckReadings(readings: Readings, constant: ConstantReadings): Readings {
  let credible = readings;
  for (const reading of watchedReadings) {
    const one = constant[reading];
    if (reading !== "hopper" && one !== null && isStuck(reading, one)) credible = { ...credible, [reading]: null };
  }
  return credible;
}

/** How long the reading may stay the same; null while too little is known of it. */
export function constantTimeMax(reading: WatchedReading, constant: ConstantReading): Span | null {
  if (!isWellKnown(constant.watched, constant.lastReadAt - constant.constantFor)) return null;
  return Math.max(longestFactor * constant.longestConstant, naturalConstantTime(reading, constant.value)) as Span;
}

/** Whether it has been the same to the last digit for longer than is usual for this reading. */
export function isStuck(reading: WatchedReading, constant: ConstantReading): boolean {
  const longestCredible = constantTimeMax(reading, constant);
  return longestCredible !== null && constant.constantFor > longestCredible;
}

/** How long nature itself may keep a reading constant. Common practice, no source. */
function naturalConstantTime(reading: WatchedReading, value: number): Span {
  if (reading === "battery") return hours(24); // a charger that floats holds it
  if (reading === "humidity") return value >= 95 || value <= 5 ? days(7) : hours(6); // fog, or the end of the sensor's scale
  if (reading === "hopper") return hours(6);
  return Math.abs(value) <= 0.6 ? days(3) : hours(6); // melting snow and ice stay at zero
}

/**
 * Three times the longest ever seen: if long constant times were exponential, one in N³ would be so long where the longest of N is known,
 * and there is about one a night. So in its second week a false one is one in a hundred, later far less.
 */
const longestFactor = 3;
const learntFactorMax = 2 * longestFactor;
const longestAtFirst = minutes(10);
/** So much must be known of how a sensor changes: indoors it may hardly do so in a week of mild nights. */
const changesMin = 30;
const historyMin = days(4);
const unseenMax = minutes(30);
const longestMemory = days(90);
