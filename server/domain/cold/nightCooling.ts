import { hours, type Instant } from "../instant.ts";
import type { Readings } from "../report.ts";
import type { Place } from "../settings.ts";
import { lightAt } from "../sun.ts";
import { type Celsius, celsius } from "../units.ts";

/**
 * What a lid without a thermometer is like: under a clear sky at night surfaces run 2 to 5 °C below the air, under cloud
 * hardly at all (common practice, no source). Nothing here sees the sky, but the air does: on a clear calm night it cools from
 * sunset on, and when cloud or wind come it stops cooling or warms. Only the least of the band is ever assumed.
 */
export interface NightTemperatures {
  readonly since: Instant;
  readonly warmest: Celsius; // since the sun set
  readonly coolest: Celsius;
}

export interface AssumedLid {
  readonly surfaceTemperature: Celsius;
  readonly isUnderClearSky: boolean; // false: taken to be as cold as the air, and no colder
}

/** Null by day, and while a lid thermometer speaks: one that missed a report must not be guessed for. */
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

/** Null where the lid is measured, or nothing tells of the air. */
export function assumeLid(
  night: NightTemperatures | null,
  readings: Readings,
  at: Instant,
  place: Place | null,
): AssumedLid | null {
  const air = outdoorTemperature(readings);
  if (readings.lid !== null || air === null) return null;
  const underClearSky =
    night !== null &&
    place !== null &&
    night.warmest - air >= clearNightCools &&
    air - night.coolest <= cloudWarms &&
    lightAt(place, at) === "night";
  return {
    surfaceTemperature: underClearSky ? celsius(air - clearSkyCoolingMin) : air,
    isUnderClearSky: underClearSky,
  };
}

/** A box is warmed by its board, so that its own thermometer rather errs to the warm side, which keeps the estimate shy. */
const outdoorTemperature = ({ air, inside }: Readings): Celsius | null => air ?? inside;

export const clearSkyCoolingMin = 2;
export const clearSkyCoolingMax = 5;
/** Air that has cooled so far since sunset, and hasn't warmed by more than a thermometer's noise, lies under a clear sky. */
const clearNightCools = 3;
const cloudWarms = 0.7;
const nightMax = hours(24);
