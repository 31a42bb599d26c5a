import { shiftDate, zonedInstant } from "../text/clock.ts";

/**
 * The daylight of a date at a place, for drawings: by the Astronomical Almanac's low-precision formulas for the sun (from memory). Within
 * three minutes of what the server reckons, which a drawing can't show; test/client/daylight.test.ts compares them.
 */
export interface Daylight {
  /** ms; with the sun's upper edge above a flat horizon. Null: it doesn't rise. */
  readonly day: Extent | null;
  /** ms; with the sun above −6°, when corvids are about. Null: it stays below. */
  readonly lit: Extent | null;
}
export interface Extent {
  readonly from: number;
  readonly to: number;
}
interface Place {
  readonly latitudeDegrees: number;
  readonly longitudeDegrees: number;
}

const dayMs = 86_400_000;
const sunUpDegrees = -0.833; // its radius, and the refraction at the horizon
const civilDegrees = -6;

/** Within the local day: where the sun doesn't set, it is all of it. */
export function daylight(place: Place, date: string, zone: string): Daylight {
  const whole = {
    from: Date.parse(zonedInstant(date, "00:00", zone)),
    to: Date.parse(zonedInstant(shiftDate(date, 1), "00:00", zone)),
  };
  const middle = (whole.from + whole.to) / 2;
  const noon = solarNoonNear(middle, place.longitudeDegrees);
  const { declination } = sunAt(noon);
  const above = (degrees: number) => extentAbove(degrees, noon, declination, place.latitudeDegrees);
  const clip = (extent: Extent | "always" | null): Extent | null => {
    if (extent === null || extent === "always") return extent === null ? null : whole;
    return { from: Math.max(whole.from, extent.from), to: Math.min(whole.to, extent.to) };
  };
  return { day: clip(above(sunUpDegrees)), lit: clip(above(civilDegrees)) };
}

function solarNoonNear(at: number, longitude: number): number {
  const meanNoon = (near: number) => Math.round(near / dayMs + longitude / 360 - 0.5) * dayMs + dayMs / 2;
  const mean = meanNoon(at) - (longitude / 360) * dayMs;
  return mean - sunAt(mean).equationOfTime;
}

const rad = Math.PI / 180;

/** Its declination in radians, and by how much it is ahead of the mean sun in ms. */
function sunAt(at: number): { readonly declination: number; readonly equationOfTime: number } {
  const days = at / dayMs - 10_957.5; // since noon of 1 January 2000, UTC
  const meanLongitude = 280.46 + 0.9856474 * days;
  const anomaly = (357.528 + 0.9856003 * days) * rad;
  const longitude = (meanLongitude + 1.915 * Math.sin(anomaly) + 0.02 * Math.sin(2 * anomaly)) * rad;
  const obliquity = (23.439 - 0.0000004 * days) * rad;
  const rightAscension = Math.atan2(Math.cos(obliquity) * Math.sin(longitude), Math.cos(longitude)) / rad;
  const ahead = ((((meanLongitude - rightAscension + 180) % 360) + 360) % 360) - 180; // degrees
  return { declination: Math.asin(Math.sin(obliquity) * Math.sin(longitude)), equationOfTime: (ahead / 360) * dayMs };
}

function extentAbove(degrees: number, noon: number, declination: number, latitude: number): Extent | "always" | null {
  const phi = latitude * rad;
  const cosine =
    (Math.sin(degrees * rad) - Math.sin(phi) * Math.sin(declination)) / (Math.cos(phi) * Math.cos(declination));
  if (cosine > 1) return null;
  if (cosine < -1) return "always";
  const half = (Math.acos(cosine) / (2 * Math.PI)) * dayMs;
  return { from: noon - half, to: noon + half };
}
