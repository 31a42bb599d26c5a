import { hours, type Instant } from "../instant.ts";
import type { Readings } from "../report.ts";
import type { Place } from "../settings.ts";
import { lightAt } from "../sun.ts";
import { type Celsius, celsius } from "../units.ts";

/**
 * What a lid without a thermometer is like: under a clear sky at night surfaces run 2 to 5 °C below the air, under cloud
 * hardly at all (common practice, no source). The sky isn't measured, but the air shows it: on a clear calm night it cools
 * from sunset on, and with cloud or wind it stops cooling or warms. Only the smallest cooling of the band is assumed.
 */
export interface NightTemperatures {
  readonly since: Instant;
  readonly warmest: Celsius; // since the sun set
  readonly coolest: Celsius;
}

export interface AssumedLid {
  readonly surfaceTemperature: Celsius;
  readonly isUnderClearSky: boolean; // false: assumed as cold as the air, and no colder
}

/** Null by day, and while a lid thermometer reports: one that missed a report is not replaced by an estimate. */
export function updateNight(
  before: NightTemperatures | null,
  readings: Readings,
  at: Instant,
  place: Place | null,
): NightTemperatures | null {
  const air = outdoorTemperature(readings);
  if (place === null || readings.lid !== null) return null;
  if (air === null) return before;
  if (lightAt(place, at) === "day") return null;
  // Where the sun doesn't rise for weeks, each night has a day's length.
  if (before === null || at - before.since > nightMax) return { since: at, warmest: air, coolest: air };
  if (air > before.warmest) return { ...before, warmest: air };
  return air < before.coolest ? { ...before, coolest: air } : before;
}

/** Null where the lid is measured, or the air isn't. */
export function assumeLid(
  night: NightTemperatures | null,
  readings: Readings,
  at: Instant,
  place: Place | null,
): AssumedLid | null {
  const air = outdoorTemperature(readings);
  if (readings.lid !== null || air === null) return null;
  const isUnderClearSky =
    night !== null &&
    place !== null &&
    night.warmest - air >= clearNightCoolingMin &&
    air - night.coolest <= clearNightWarmingMax &&
    lightAt(place, at) === "night";
  return {
    surfaceTemperature: isUnderClearSky ? celsius(air - clearSkyCoolingMin) : air,
    isUnderClearSky,
  };
}

/** A box is warmed by its board, so its own thermometer errs to the warm side, which makes the estimate cautious. */
const outdoorTemperature = ({ air, inside }: Readings): Celsius | null => air ?? inside;

export const clearSkyCoolingMin = 2;
export const clearSkyCoolingMax = 5;
/** Air that has cooled so far since sunset, and hasn't warmed by more than a thermometer's noise, lies under a clear sky. */
const clearNightCoolingMin = 3;
const clearNightWarmingMax = 0.7;
const nightMax = hours(24);
