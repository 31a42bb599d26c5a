/** Where the garden lies, and where the sun stands there. Times are milliseconds since 1970. */

export const minuteMs = 60_000;
export const hourMs = 3_600_000;
export const dayMs = 86_400_000;

export interface Place {
  readonly latitudeDegrees: number;
  readonly longitudeDegrees: number;
  readonly zone: string;
  /** Of the air over a year, half its swing between seasons, and half that between a clear summer day and its night (from memory). */
  readonly climate: { readonly mean: number; readonly season: number; readonly day: number };
}

export const places: readonly Place[] = [
  {
    latitudeDegrees: 45,
    longitudeDegrees: 1.2,
    zone: "Europe/Paris",
    climate: { mean: 12.5, season: 8.5, day: 6 },
  },
  {
    latitudeDegrees: 59.5,
    longitudeDegrees: 17.8,
    zone: "Europe/Stockholm",
    climate: { mean: 7, season: 10.5, day: 5 },
  },
  {
    latitudeDegrees: 68,
    longitudeDegrees: 20.5,
    zone: "Europe/Stockholm",
    climate: { mean: -1, season: 14, day: 4.5 },
  },
  {
    latitudeDegrees: -35,
    longitudeDegrees: 149,
    zone: "Australia/Sydney",
    climate: { mean: 14, season: 7.5, day: 7 },
  },
];

/** Days since the year began, with fractions; the leap day is of no account here. */
export const dayOfYear = (at: number): number => (at / dayMs) % 365.2422;

/** Degrees, after Cooper, 1969 (from memory). */
const declination = (at: number): number => 23.45 * Math.sin((2 * Math.PI * (285 + dayOfYear(at))) / 365.2422);

/** Hours by the sun, 0 to 24. The equation of time has its usual two-term form (from memory). */
export function solarHour(place: Place, at: number): number {
  const angle = (2 * Math.PI * (dayOfYear(at) - 81)) / 364;
  const equationMinutes = 9.87 * Math.sin(2 * angle) - 7.53 * Math.cos(angle) - 1.5 * Math.sin(angle);
  const hours = (at % dayMs) / hourMs + place.longitudeDegrees / 15 + equationMinutes / 60;
  return ((hours % 24) + 24) % 24;
}

/** Degrees above the horizon, by the usual spherical triangle. */
export function sunElevation(place: Place, at: number): number {
  const latitude = radians(place.latitudeDegrees);
  const tilt = radians(declination(at));
  const hourAngle = radians(15 * (solarHour(place, at) - 12));
  const sine = Math.sin(latitude) * Math.sin(tilt) + Math.cos(latitude) * Math.cos(tilt) * Math.cos(hourAngle);
  return (Math.asin(Math.max(-1, Math.min(1, sine))) * 180) / Math.PI;
}

export const noonElevation = (place: Place, at: number): number =>
  90 - Math.abs(place.latitudeDegrees - declination(at));

/** The sun's upper edge with the mean refraction of air: the sunrise of almanacs. */
export const isDaylight = (place: Place, at: number): boolean => sunElevation(place, at) > -0.833;

export interface LightSpan {
  readonly from: number;
  readonly noon: number;
  readonly to: number;
}

/**
 * When birds are up on the solar day that begins at `midnight`: while the sun is at most 4 degrees down. In the midnight sun they
 * still rest some hours; in the polar night they come in the twilight about noon.
 */
export function lightSpan(place: Place, midnight: number): LightSpan {
  const noon = midnight + 12 * hourMs;
  let from = noon - 1.5 * hourMs;
  let to = noon + 1.5 * hourMs;
  while (from > midnight + 3.2 * hourMs && sunElevation(place, from) > -4) from -= 10 * minuteMs;
  while (to < midnight + 21.5 * hourMs && sunElevation(place, to) > -4) to += 10 * minuteMs;
  return { from, noon, to };
}

/** The last midnight by the sun. */
export const solarMidnight = (place: Place, at: number): number => at - solarHour(place, at) * hourMs;

const radians = (degrees: number) => (degrees * Math.PI) / 180;
