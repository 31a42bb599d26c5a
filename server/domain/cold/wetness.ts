import { hours, type Instant, type Span } from "../instant.ts";
import type { Readings } from "../report.ts";
import type { Celsius } from "../units.ts";
import { condensationKind, dewPoint, overWater, saturationPressure } from "./psychrometrics.ts";

/** Water on the box that a frost would turn to ice. */
export interface Wetness {
  readonly wet: Wet | null; // null once it has had time to dry
  readonly dew: Dew | null; // too little to count as wet until it has settled for long enough
  readonly saturatedSince: Instant | null; // since when the air has been full of water
}

export interface Wet {
  readonly at: Instant; // when it was last seen
  /** Dew on a cold lid; rain, fog or wet snow, by air that stayed saturated; or ice that was there and thawed. */
  readonly cause: "dew" | "saturatedAir" | "thaw";
  readonly isEstimated: boolean; // the lid's temperature was guessed
  readonly drySince: Instant | null; // null while the air doesn't dry it
}

/** Dew that has settled since the surface was last dry. */
export interface Dew {
  readonly at: Instant; // when it was last seen to settle
  readonly isSettling: boolean; // by the newest reading of humidity
  readonly settlingTime: Span; // in sum, counted no further than what wets
  readonly drySince: Instant | null; // null while the air doesn't dry it
}

export const initialWetness = (): Wetness => ({ wet: null, dew: null, saturatedSince: null });

export interface DampInput {
  readonly vapourPressure: number | null; // hPa; null where nothing tells of humidity
  readonly surfaceTemperature: Celsius;
  readonly isEstimated: boolean;
  /** A guessed surface takes a clearer case of dew than a measured one. */
  readonly dewMargin: number; // °C
  /** Where the lid is as warm as the air there is no dew to reason from. */
  readonly canDewForm: boolean;
  /** How long dew must settle, in sum, to count as water that could lock a tray. */
  readonly dewWettingTime: Span;
}

/** Remembers water until the air has had time to dry it off, or a day has passed. */
export function updateWetness(before: Wetness, damp: DampInput, readings: Readings, at: Instant): Wetness {
  const { vapourPressure, surfaceTemperature, isEstimated } = damp;
  const saturatedSince =
    surfaceTemperature > 0 && isSaturated(vapourPressure, readings) ? (before.saturatedSince ?? at) : null;
  const settles = dewSettles(damp);
  // Ice hardly dries: only a thawed surface in air well below saturation does.
  const drying =
    vapourPressure !== null &&
    surfaceTemperature > 0 &&
    vapourPressure < dryingShare * saturationPressure(overWater, surfaceTemperature);
  const dew = updateDew(remainingWater(before.dew, drying, at), settles, damp, at);

  if (settles && dew !== null && dew.settlingTime >= damp.dewWettingTime) {
    return { wet: { at, cause: "dew", isEstimated, drySince: null }, dew, saturatedSince };
  }
  if (vapourPressure !== null && saturatedSince !== null && at - saturatedSince >= soaksWithin) {
    return { wet: { at, cause: "saturatedAir", isEstimated, drySince: null }, dew, saturatedSince };
  }
  return { wet: remainingWater(before.wet, drying, at), dew, saturatedSince };
}

/** The ice that was on it has just become water. */
export const recordThaw = (before: Wetness, at: Instant, estimated: boolean): Wetness => ({
  ...before,
  wet: { at, cause: "thaw", isEstimated: estimated, drySince: null },
});

function dewSettles({ vapourPressure, surfaceTemperature, dewMargin, canDewForm }: DampInput): boolean {
  if (vapourPressure === null || !canDewForm || surfaceTemperature < 0) return false;
  return (
    condensationKind(vapourPressure, surfaceTemperature) === "dew" &&
    dewPoint(vapourPressure) - surfaceTemperature >= dewMargin
  );
}

/** A single reading lasts no time; between two in a row that both show dew it is taken to have settled all the while. */
function updateDew(
  dew: Dew | null,
  settles: boolean,
  { vapourPressure, dewWettingTime }: DampInput,
  at: Instant,
): Dew | null {
  if (settles) {
    const more = dew?.isSettling ? at - dew.at : 0;
    const settledFor = Math.min((dew?.settlingTime ?? 0) + more, dewWettingTime) as Span;
    return { at, isSettling: settles, settlingTime: settledFor, drySince: null };
  }
  // A report that says nothing of humidity interrupts nothing.
  return dew === null || !dew.isSettling || vapourPressure === null ? dew : { ...dew, isSettling: settles };
}

/** What of the water a reading leaves that adds none. */
function remainingWater<Water extends Pick<Wet, "at" | "drySince">>(water: Water | null, drying: boolean, at: Instant) {
  if (water === null || at - water.at > wetTimeMax) return null;
  if (!drying) return water.drySince === null ? water : { ...water, drySince: null };
  const drySince = water.drySince ?? at;
  if (at - drySince >= driesWithin) return null;
  return drySince === water.drySince ? water : { ...water, drySince };
}

/** Against the air outside where it is measured: in a box that its board warms the same vapour reads as drier. */
function isSaturated(vapour: number | null, { air, inside }: Readings): boolean {
  const outside = air ?? inside;
  return (
    vapour !== null &&
    outside !== null &&
    outside > 0 &&
    vapour >= saturatedShare * saturationPressure(overWater, outside)
  );
}

/** Common practice, no source: dew is gone after two hours in air at less than 80 % over the surface. */
const dryingShare = 0.8;
const driesWithin = hours(2);
const wetTimeMax = hours(24);
/** Cheap humidity sensors are 2 to 3 % off at the wet end: a full hour of it isn't noise. Common practice, no source. */
const saturatedShare = 0.98;
const soaksWithin = hours(1);
