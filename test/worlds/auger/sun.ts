import { day, dayBegin, hour, minute } from "./time.ts";

/** A place in a continental plain. */
export const place = { latitudeDegrees: 45.2, longitudeDegrees: 19.4 };
export const zone = "Europe/Budapest";
/** The keeper's clock stays at winter time, an hour before UTC, all year: nothing here depends on that hour. */
export const localTime = (at: number, hours: number): number => dayBegin(at) + (hours - 1) * hour;

export interface Daylight {
  readonly sunrise: number;
  readonly sunset: number;
}

/**
 * Sunrise and sunset of the UTC day, to a minute or two: declination and equation of time by Spencer's series (1971), as in NOAA's
 * "General Solar Position Calculations"; the sun's upper edge stands at the horizon at a zenith of 90.833 degrees.
 */
export function daylightOf(at: number): Daylight {
  const begin = dayBegin(at);
  const year = new Date(begin).getUTCFullYear();
  const angle = ((2 * Math.PI) / 365) * ((begin - Date.UTC(year, 0, 1)) / day);
  const equationMinutes =
    229.18 *
    (0.000075 +
      0.001868 * Math.cos(angle) -
      0.032077 * Math.sin(angle) -
      0.014615 * Math.cos(2 * angle) -
      0.040849 * Math.sin(2 * angle));
  const declination =
    0.006918 -
    0.399912 * Math.cos(angle) +
    0.070257 * Math.sin(angle) -
    0.006758 * Math.cos(2 * angle) +
    0.000907 * Math.sin(2 * angle) -
    0.002697 * Math.cos(3 * angle) +
    0.00148 * Math.sin(3 * angle);
  const latitude = radians(place.latitudeDegrees);
  const halfDay = Math.acos(
    Math.cos(radians(90.833)) / (Math.cos(latitude) * Math.cos(declination)) -
      Math.tan(latitude) * Math.tan(declination),
  );
  const noon = begin + (720 - 4 * place.longitudeDegrees - equationMinutes) * minute;
  const halfSpan = ((halfDay * 180) / Math.PI) * 4 * minute;
  return { sunrise: noon - halfSpan, sunset: noon + halfSpan };
}

const radians = (degrees: number): number => (degrees * Math.PI) / 180;
