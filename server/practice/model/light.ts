import { getPosition } from "suncalc";
import type { Instant } from "../../domain/instant.ts";
import type { Place } from "../../domain/settings.ts";
import { lightAt } from "../../domain/sun.ts";

/** Apparent height of the sun's centre over a flat horizon, in degrees: what the panel sees, refraction included. */
export const sunAltitudeDegrees = (place: Place, at: Instant): number =>
  getPosition(new Date(at), place.latitudeDegrees, place.longitudeDegrees).altitude;

/** Birds are about from civil dawn to civil dusk. */
export const isCivilDaylight = (place: Place, at: Instant): boolean => lightAt(place, at) !== "night";
