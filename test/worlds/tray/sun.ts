import { day, hour, localDay, localMidnight, minute, place } from "./time.ts";

const radians = Math.PI / 180;
const latitude = place.latitudeDegrees * radians;

/** Spencer 1971, "Fourier series representation of the position of the sun", from memory; checked against astronomy-engine. */
function seriesAt(at: number): { readonly declination: number; readonly clockAhead: number } {
  const yearBegin = Date.UTC(new Date(at).getUTCFullYear(), 0, 1);
  const angle = (2 * Math.PI * (at - yearBegin - day / 2)) / (365.2425 * day);
  const [c, s, c2, s2] = [Math.cos(angle), Math.sin(angle), Math.cos(2 * angle), Math.sin(2 * angle)];
  return {
    declination:
      0.006918 -
      0.399912 * c +
      0.070257 * s -
      0.006758 * c2 +
      0.000907 * s2 -
      0.002697 * Math.cos(3 * angle) +
      0.00148 * Math.sin(3 * angle),
    clockAhead: 229.18 * minute * (0.000075 + 0.001868 * c - 0.032077 * s - 0.014615 * c2 - 0.040849 * s2),
  };
}

export interface Daylight {
  readonly declination: number;
  readonly noon: number;
  readonly sunrise: number;
  readonly sunset: number;
}

const horizon = -0.833 * radians; // refraction and half the sun's disc
let latest: { readonly ofDay: number; readonly daylight: Daylight } | null = null;

/** Of the local day; the last answer is kept, which changes no answer. */
export function daylightOf(ofDay: number): Daylight {
  if (latest?.ofDay === ofDay) return latest.daylight;
  const middle = localMidnight(ofDay) + day / 2;
  const { declination, clockAhead } = seriesAt(middle);
  const utcMidday = Math.floor(middle / day) * day + day / 2;
  const noon = utcMidday - (place.longitudeDegrees / 15) * hour - clockAhead;
  const cosine =
    (Math.sin(horizon) - Math.sin(latitude) * Math.sin(declination)) / (Math.cos(latitude) * Math.cos(declination));
  const half = (Math.acos(cosine) / (2 * Math.PI)) * day;
  const daylight = { declination, noon, sunrise: noon - half, sunset: noon + half };
  latest = { ofDay, daylight };
  return daylight;
}

export function isDaylight(at: number): boolean {
  const { sunrise, sunset } = daylightOf(localDay(at));
  return at >= sunrise && at <= sunset;
}

/** Sine of the sun's altitude, without refraction. */
export function sunHeight(at: number): number {
  const { declination, noon } = daylightOf(localDay(at));
  const hourAngle = ((at - noon) / day) * 2 * Math.PI;
  return Math.sin(latitude) * Math.sin(declination) + Math.cos(latitude) * Math.cos(declination) * Math.cos(hourAngle);
}
