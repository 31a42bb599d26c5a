/**
 * The sun's altitude by the low-precision formulas of the Astronomical Almanac, page C5, as they are printed also in Meeus,
 * "Astronomical Algorithms", chapter 25: right to about 0.01 degrees between 1950 and 2050, without refraction.
 */
export interface Place {
  readonly latitudeDegrees: number;
  readonly longitudeDegrees: number;
}

const radians = Math.PI / 180;

/** @returns degrees above the horizon, of the sun's centre */
export function sunAltitude(at: number, { latitudeDegrees, longitudeDegrees }: Place): number {
  const daysSince2000 = at / 86_400_000 - 10_957.5;
  const anomaly = (357.528 + 0.985_600_3 * daysSince2000) * radians;
  const meanLongitude = 280.46 + 0.985_647_4 * daysSince2000;
  const longitude = (meanLongitude + 1.915 * Math.sin(anomaly) + 0.02 * Math.sin(2 * anomaly)) * radians;
  const obliquity = (23.439 - 0.000_000_4 * daysSince2000) * radians;
  const sinLongitude = Math.sin(longitude);
  const rightAscension = Math.atan2(Math.cos(obliquity) * sinLongitude, Math.cos(longitude));
  const sinDeclination = Math.sin(obliquity) * sinLongitude;
  const siderealDegrees = 280.460_618 + 360.985_647_37 * daysSince2000 + longitudeDegrees;
  const hourAngle = siderealDegrees * radians - rightAscension;
  const latitude = latitudeDegrees * radians;
  const cosDeclination = Math.sqrt(1 - sinDeclination * sinDeclination);
  return (
    Math.asin(Math.sin(latitude) * sinDeclination + Math.cos(latitude) * cosDeclination * Math.cos(hourAngle)) / radians
  );
}

/** Civil twilight begins and ends there. Farther north than 66.6 degrees it is all the day that midwinter has. */
const civilTwilightDegrees = -6;

export const isCivilDay = (at: number, place: Place): boolean => sunAltitude(at, place) > civilTwilightDegrees;

/**
 * The first and last civil light of the 24 hours from `from` on, to ten minutes.
 * @returns null where there is none; at the midnight sun the whole day
 */
export function civilDay(from: number, place: Place): { readonly dawn: number; readonly dusk: number } | null {
  const step = 600_000;
  let [dawn, dusk] = [Number.NaN, Number.NaN];
  for (let at = from; at < from + 86_400_000; at += step) {
    if (!isCivilDay(at, place)) continue;
    if (Number.isNaN(dawn)) dawn = at;
    dusk = at + step;
  }
  return Number.isNaN(dawn) ? null : { dawn, dusk };
}
