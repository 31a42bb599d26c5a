import type { Readings } from "../facts.ts";
import { hours, type Instant } from "../instant.ts";
import type { Celsius } from "../units.ts";
import { dewPoint, overWater, saturation, settling } from "./psychrometrics.ts";

/** Water on the box that a frost would turn to ice. */
export interface Wetness {
  readonly wet: Wet | null; // null once it has had time to dry
  readonly saturatedSince: Instant | null; // since when the air has been full of water
}

export interface Wet {
  readonly at: Instant; // when it was last seen
  /** Dew on a cold lid; rain, fog or wet snow, by air that stayed saturated; or ice that was there and thawed. */
  readonly by: "dew" | "saturatedAir" | "thaw";
  readonly estimated: boolean; // the lid's temperature was guessed
  readonly drySince: Instant | null; // null while the air doesn't dry it
}

export const dry = (): Wetness => ({ wet: null, saturatedSince: null });

export interface Damp {
  readonly vapour: number | null; // hPa; null where nothing tells of humidity
  readonly surface: Celsius;
  readonly estimated: boolean;
  /** A guessed surface takes a clearer case of dew than a measured one. */
  readonly dewMargin: number; // °C
  /** Where the lid is as warm as the air there is no dew to reason from. */
  readonly dewKnown: boolean;
}

/** Remembers water until the air has had time to dry it off, or a day has passed. */
export function feltWetness(before: Wetness, damp: Damp, readings: Readings, at: Instant): Wetness {
  const { vapour, surface, estimated } = damp;
  const saturatedSince = surface > 0 && isSaturated(vapour, readings) ? (before.saturatedSince ?? at) : null;
  const settled = wetted({ ...before, saturatedSince }, damp, at);
  if (settled !== null) return { wet: { at, by: settled, estimated, drySince: null }, saturatedSince };

  const { wet } = before;
  if (wet === null || at - wet.at > wetFor) return { wet: null, saturatedSince };
  // Ice hardly dries: only a thawed surface in air well below saturation does.
  const drying = vapour !== null && surface > 0 && vapour < dryingShare * saturation(overWater, surface);
  if (!drying) return { wet: wet.drySince === null ? wet : { ...wet, drySince: null }, saturatedSince };
  const drySince = wet.drySince ?? at;
  if (at - drySince >= driesWithin) return { wet: null, saturatedSince };
  return { wet: drySince === wet.drySince ? wet : { ...wet, drySince }, saturatedSince };
}

/** The frost or ice that was on it has just become water. */
export const thawed = (before: Wetness, at: Instant, estimated: boolean): Wetness => ({
  ...before,
  wet: { at, by: "thaw", estimated, drySince: null },
});

function wetted({ saturatedSince }: Wetness, damp: Damp, at: Instant): "dew" | "saturatedAir" | null {
  const { vapour, surface, dewMargin, dewKnown } = damp;
  if (vapour === null) return null;
  if (dewKnown && surface >= 0 && settling(vapour, surface) === "dew" && dewPoint(vapour) - surface >= dewMargin) {
    return "dew";
  }
  return saturatedSince !== null && at - saturatedSince >= soaksWithin ? "saturatedAir" : null;
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
