import { hours, type Instant, type Span } from "../instant.ts";
import type { Readings } from "../report.ts";
import type { Celsius } from "../units.ts";
import { condensationKind, dewPoint, overWater, saturationPressure } from "./psychrometrics.ts";

/** Water on the box that a frost would turn to ice. */
export interface Wetness {
  readonly wet: Wet | null; // null once it has had time to dry
  readonly dew: Dew | null; // too little to count as wet until it has settled for long enough
  readonly saturatedSince: Instant | null; // since when the air has been saturated
}

export interface Wet {
  readonly at: Instant; // when it was last seen
  /** Dew on a cold lid; rain, fog or wet snow, by air that stayed saturated; or ice that was there and thawed. */
  readonly cause: "dew" | "saturatedAir" | "thaw";
  readonly isEstimated: boolean; // the lid's temperature was estimated
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
  /** An estimated surface takes more dew than a measured one. */
  readonly dewMargin: number; // °C
  /** On a lid as warm as the air there is no dew. */
  readonly canDewForm: boolean;
  /** How long dew must settle, in sum, to count as water that could lock a tray. */
  readonly dewWettingTime: Span;
}

/** Water stays until the air has had time to dry it off, or a day has passed. */
export function updateWetness(before: Wetness, damp: DampInput, readings: Readings, at: Instant): Wetness {
  const { vapourPressure, surfaceTemperature, isEstimated } = damp;
  const saturatedSince =
    surfaceTemperature > 0 && isSaturated(vapourPressure, readings) ? (before.saturatedSince ?? at) : null;
  const isSettling = isDewSettling(damp);
  // Ice hardly dries: only a thawed surface in air well below saturation does.
  const isDrying =
    vapourPressure !== null &&
    surfaceTemperature > 0 &&
    vapourPressure < dryingShare * saturationPressure(overWater, surfaceTemperature);
  const dew = updateDew(remainingWater(before.dew, isDrying, at), isSettling, damp, at);

  if (isSettling && dew !== null && dew.settlingTime >= damp.dewWettingTime) {
    return { wet: { at, cause: "dew", isEstimated, drySince: null }, dew, saturatedSince };
  }
  if (vapourPressure !== null && saturatedSince !== null && at - saturatedSince >= soakingTime) {
    return { wet: { at, cause: "saturatedAir", isEstimated, drySince: null }, dew, saturatedSince };
  }
  return { wet: remainingWater(before.wet, isDrying, at), dew, saturatedSince };
}

/** The ice that was on it has just become water. */
export const recordThaw = (before: Wetness, at: Instant, isEstimated: boolean): Wetness => ({
  ...before,
  wet: { at, cause: "thaw", isEstimated, drySince: null },
});

function isDewSettling({ vapourPressure, surfaceTemperature, dewMargin, canDewForm }: DampInput): boolean {
  if (vapourPressure === null || !canDewForm || surfaceTemperature < 0) return false;
  return (
    condensationKind(vapourPressure, surfaceTemperature) === "dew" &&
    dewPoint(vapourPressure) - surfaceTemperature >= dewMargin
  );
}

/** A single reading counts for no time; between two in a row that both show dew it has settled all the time. */
function updateDew(
  dew: Dew | null,
  isSettling: boolean,
  { vapourPressure, dewWettingTime }: DampInput,
  at: Instant,
): Dew | null {
  if (isSettling) {
    const added = dew?.isSettling ? at - dew.at : 0;
    const settlingTime = Math.min((dew?.settlingTime ?? 0) + added, dewWettingTime) as Span;
    return { at, isSettling, settlingTime, drySince: null };
  }
  // A report without humidity doesn't end it.
  return dew === null || !dew.isSettling || vapourPressure === null ? dew : { ...dew, isSettling };
}

/** What of the water a reading leaves that adds none. */
function remainingWater<Water extends Pick<Wet, "at" | "drySince">>(
  water: Water | null,
  isDrying: boolean,
  at: Instant,
) {
  if (water === null || at - water.at > wetTimeMax) return null;
  if (!isDrying) return water.drySince === null ? water : { ...water, drySince: null };
  const drySince = water.drySince ?? at;
  if (at - drySince >= dryingTime) return null;
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
const dryingTime = hours(2);
const wetTimeMax = hours(24);
/** Cheap humidity sensors are 2 to 3 % off at the wet end: a full hour of it isn't noise. Common practice, no source. */
const saturatedShare = 0.98;
const soakingTime = hours(1);
