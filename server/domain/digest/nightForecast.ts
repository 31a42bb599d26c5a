import { clearSkyCoolingMin } from "../cold/nightCooling.ts";
import { frostPoint, vapourPressure } from "../cold/psychrometrics.ts";
import type { Wet } from "../cold/wetness.ts";
import { hours, type Instant } from "../instant.ts";
import { withoutStuckReadings } from "../silence/stuckReadings.ts";
import { type Celsius, celsius } from "../units.ts";
import { type DigestFeeder, isStanding, type TimedReadings } from "./digestFeeder.ts";

/**
 * The coming night by the feeder's own thermometers: like the last one, changed by half of the change of the air since this hour of
 * yesterday. Persistence is the baseline of any forecast of a night; half of a day's change is common practice, no source. The
 * usual error is some three degrees, so that it is given to the degree and with "about".
 */
export interface NightForecast {
  readonly lowest: Celsius; // of the air
  readonly warmest: Celsius; // of the air in the last day
  readonly surface: Celsius; // the lid
  readonly frostPoint: Celsius | null; // of the present air; null without humidity
  readonly wet: Wet | null; // water on the feeder, as far as is known
  readonly battery: Celsius | null; // its coldest
  readonly chargedAt: Celsius | null; // the coldest at which it will be charged, if it is as yesterday; null where it isn't
}

/** Null where the feeder has no thermometer, no reports, or readings for less than most of a day. */
export function nightForecast({ state, recentReadings }: DigestFeeder, now: Instant): NightForecast | null {
  if (isStanding(state, "feederSilent")) return null;
  const timed = recentReadings.map(({ at, readings }) => ({
    at,
    readings: withoutStuckReadings(readings, state.sensors.constantReadings),
  }));
  const air = timed.flatMap(({ at, readings }) => {
    const celsius = readings.air ?? readings.inside;
    return celsius === null ? [] : [{ at, celsius }];
  });
  const [first, last] = [air[0], air.at(-1)];
  if (first === undefined || last === undefined || air.length < readingsNeeded) return null;
  if (now - last.at > hours(3) || last.at - first.at < hours(18)) return null;
  const change = (trendFactor * (last.celsius - first.celsius) * hours(24)) / (last.at - first.at);
  const coldest = Math.min(...air.map((each) => each.celsius));
  const warmest = Math.max(...air.map((each) => each.celsius));
  const lowest = celsius(coldest + change);
  const vapour = timed.map(({ readings }) => vapourPressureOf(readings)).findLast((value) => value !== null) ?? null;
  const battery = timed.flatMap(({ readings }) => batteryTemperatureOf(readings) ?? []);
  const charged = timed.flatMap(({ readings }) =>
    (readings.charge ?? 0) > chargesFrom ? (batteryTemperatureOf(readings) ?? []) : [],
  );
  return {
    lowest,
    warmest: celsius(warmest),
    surface: celsius(lowest - lidBelowAir(timed, warmest - coldest)),
    frostPoint: vapour === null ? null : (frostPoint(vapour) ?? celsius(0)),
    wet: state.cold.frost.wetness.wet,
    battery: battery.length === 0 ? null : celsius(Math.min(...battery) + change),
    chargedAt: charged.length === 0 ? null : celsius(Math.min(...charged) + change),
  };
}

/** The largest difference of the lid below the air; where it is not measured, the least of a clear night. */
function lidBelowAir(timed: readonly TimedReadings[], range: number): number {
  const below = timed.flatMap(({ readings: { air, lid } }) => (air === null || lid === null ? [] : [air - lid]));
  if (below.length > 0) return Math.max(0, ...below);
  return range >= clearDayRange ? clearSkyCoolingMin : 0;
}

function vapourPressureOf({ humidity, inside, air }: TimedReadings["readings"]): number | null {
  const besideIt = inside ?? air;
  return humidity === null || besideIt === null ? null : vapourPressure(besideIt, humidity);
}

const batteryTemperatureOf = ({ batteryTemperature, inside }: TimedReadings["readings"]): Celsius | null =>
  batteryTemperature ?? inside;

const readingsNeeded = 12;
const trendFactor = 0.5;
/** Under cloud day and night differ by less. Common practice, no source. */
const clearDayRange = 6;
/** mA; less is the noise of a cheap sensor, as in cold/charging.ts. */
const chargesFrom = 50;
