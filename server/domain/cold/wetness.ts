import { hours, type Instant, type Span } from "../instant.ts";
import type { Readings } from "../report.ts";
import type { Celsius } from "../units.ts";
import { dewPoint, overWater, saturation, settling } from "./psychrometrics.ts";

/** Water on the box that a frost would turn to ice. */
export interface Wetness {
  readonly wet: Wet | null; // null once it has had time to dry
  readonly dew: Dew | null; // too little to count as wet until it has settled for long enough
  readonly saturatedSince: Instant | null; // since when the air has been full of water
}

export interface Wet {
  readonly at: Instant; // when it was last seen
  /** Dew on a cold lid; rain, fog or wet snow, by air that stayed saturated; or ice that was there and thawed. */
  readonly by: "dew" | "saturatedAir" | "thaw";
  readonly estimated: boolean; // the lid's temperature was guessed
  readonly drySince: Instant | null; // null while the air doesn't dry it
}

/** Dew that has settled since the surface was last dry. */
export interface Dew {
  readonly at: Instant; // when it was last seen to settle
  readonly settles: boolean; // by the newest reading of humidity
  readonly settledFor: Span; // in sum, counted no further than what wets
  readonly drySince: Instant | null; // null while the air doesn't dry it
}

export const dry = (): Wetness => ({ wet: null, dew: null, saturatedSince: null });

export interface Damp {
  readonly vapour: number | null; // hPa; null where nothing tells of humidity
  readonly surface: Celsius;
  readonly estimated: boolean;
  /** A guessed surface takes a clearer case of dew than a measured one. */
  readonly dewMargin: number; // °C
  /** Where the lid is as warm as the air there is no dew to reason from. */
  readonly dewKnown: boolean;
  /** How long dew must settle, in sum, to count as water that could lock a tray. */
  readonly dewWetsFrom: Span;
}

/** Remembers water until the air has had time to dry it off, or a day has passed. */
export function feltWetness(before: Wetness, damp: Damp, readings: Readings, at: Instant): Wetness {
  const { vapour, surface, estimated } = damp;
  const saturatedSince = surface > 0 && isSaturated(vapour, readings) ? (before.saturatedSince ?? at) : null;
  const settles = dewSettles(damp);
  // Ice hardly dries: only a thawed surface in air well below saturation does.
  const drying = vapour !== null && surface > 0 && vapour < dryingShare * saturation(overWater, surface);
  const dew = feltDew(left(before.dew, drying, at), settles, damp, at);

  if (settles && dew !== null && dew.settledFor >= damp.dewWetsFrom) {
    return { wet: { at, by: "dew", estimated, drySince: null }, dew, saturatedSince };
  }
  if (vapour !== null && saturatedSince !== null && at - saturatedSince >= soaksWithin) {
    return { wet: { at, by: "saturatedAir", estimated, drySince: null }, dew, saturatedSince };
  }
  return { wet: left(before.wet, drying, at), dew, saturatedSince };
}

/** The ice that was on it has just become water. */
export const thawed = (before: Wetness, at: Instant, estimated: boolean): Wetness => ({
  ...before,
  wet: { at, by: "thaw", estimated, drySince: null },
});

function dewSettles({ vapour, surface, dewMargin, dewKnown }: Damp): boolean {
  if (vapour === null || !dewKnown || surface < 0) return false;
  return settling(vapour, surface) === "dew" && dewPoint(vapour) - surface >= dewMargin;
}

/** A single reading lasts no time; between two in a row that both show dew it is taken to have settled all the while. */
function feltDew(dew: Dew | null, settles: boolean, { vapour, dewWetsFrom }: Damp, at: Instant): Dew | null {
  if (settles) {
    const more = dew?.settles ? at - dew.at : 0;
    const settledFor = Math.min((dew?.settledFor ?? 0) + more, dewWetsFrom) as Span;
    return { at, settles, settledFor, drySince: null };
  }
  // A report that says nothing of humidity interrupts nothing.
  return dew === null || !dew.settles || vapour === null ? dew : { ...dew, settles };
}

/** What of the water a reading leaves that adds none. */
function left<Water extends Pick<Wet, "at" | "drySince">>(water: Water | null, drying: boolean, at: Instant) {
  if (water === null || at - water.at > wetFor) return null;
  if (!drying) return water.drySince === null ? water : { ...water, drySince: null };
  const drySince = water.drySince ?? at;
  if (at - drySince >= driesWithin) return null;
  return drySince === water.drySince ? water : { ...water, drySince };
}

/** Against the air outside where it is measured: in a box that its board warms the same vapour reads as drier. */
function isSaturated(vapour: number | null, { air, inside }: Readings): boolean {
  const outside = air ?? inside;
  return (
    vapour !== null && outside !== null && outside > 0 && vapour >= saturatedShare * saturation(overWater, outside)
  );
}

/** Common practice, no source: dew is gone after two hours in air at less than 80 % over the surface. */
const dryingShare = 0.8;
const driesWithin = hours(2);
const wetFor = hours(24);
/** Cheap humidity sensors are 2 to 3 % off at the wet end: a full hour of it isn't noise. Common practice, no source. */
const saturatedShare = 0.98;
const soaksWithin = hours(1);
