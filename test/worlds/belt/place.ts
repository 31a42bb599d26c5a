import { day, hour, minute } from "./agenda.ts";
import type { Chance } from "./chance.ts";

/** Where the feeder stands, and its climate in round numbers (atlas values, from memory). */
export interface Place {
  readonly zone: string;
  readonly latitude: number; // degrees, north positive
  readonly longitude: number; // degrees, east positive
  readonly yearMean: number; // °C
  readonly yearSwing: number; // K, from the year's mean to its warmest month
  readonly sunWarms: number; // K, how much a clear noon adds
  readonly frontSpread: number; // K, standard deviation of the weather's changes
  readonly wetShare: number; // of the hours
  readonly windMean: number; // m/s
  readonly dryness: number; // K, usual distance from air to dew point
}

type Site = Omit<Place, "latitude" | "longitude"> & { readonly near: readonly [latitude: number, longitude: number] };
const site = (zone: string, near: Site["near"], climate: Omit<Site, "zone" | "near">): Site => ({
  zone,
  near,
  ...climate,
});

const sites: readonly Site[] = [
  site("Europe/Zagreb", [45, 16.4], {
    ...{ yearMean: 11.5, yearSwing: 10.5, sunWarms: 9 },
    ...{ frontSpread: 4, wetShare: 0.1, windMean: 2, dryness: 5 },
  }),
  site("Europe/Amsterdam", [52, 4.6], {
    ...{ yearMean: 10.5, yearSwing: 7, sunWarms: 5 },
    ...{ frontSpread: 3, wetShare: 0.14, windMean: 5, dryness: 3 },
  }),
  site("Europe/Stockholm", [59.5, 17.8], {
    ...{ yearMean: 6.5, yearSwing: 10.5, sunWarms: 6 },
    ...{ frontSpread: 4.2, wetShare: 0.1, windMean: 3, dryness: 3.5 },
  }),
  site("Europe/Oslo", [68, 15], {
    ...{ yearMean: 4, yearSwing: 8, sunWarms: 5 },
    ...{ frontSpread: 4, wetShare: 0.18, windMean: 5, dryness: 3 },
  }),
  site("Australia/Sydney", [-35, 149.2], {
    ...{ yearMean: 13.5, yearSwing: 7.5, sunWarms: 10 },
    ...{ frontSpread: 3.5, wetShare: 0.07, windMean: 2.5, dryness: 7 },
  }),
  site("Europe/Zurich", [46.6, 9.8], {
    ...{ yearMean: 3, yearSwing: 8, sunWarms: 11 }, // at 1,600 m
    ...{ frontSpread: 4.5, wetShare: 0.12, windMean: 2.2, dryness: 5 },
  }),
];

export function drawPlace(chance: Chance): Place {
  const { near, ...climate } = chance.pick(sites);
  const moved = (degrees: number) => Math.round(100 * (degrees + chance.between(-0.3, 0.3))) / 100;
  return { ...climate, latitude: moved(near[0]), longitude: moved(near[1]) };
}

/** Of the year since midsummer of this half of the earth: 0 and 1 are the warmest weeks, 0.5 the coldest. */
export function sinceMidsummer(at: number, { latitude }: Place): number {
  const share = ((at / day + 10 - 30) % 365.2425) / 365.2425 + (latitude > 0 ? 0.5 : 0); // weather follows the sun by a month
  return share - Math.floor(share);
}

/** By the sun, without the equation of time: what people's days follow closely enough. */
export const hourOfDay = (at: number, { longitude }: Place): number => {
  const hours = at / hour + longitude / 15;
  return hours - 24 * Math.floor(hours / 24);
};
export const midnightBefore = (at: number, place: Place): number => at - hourOfDay(at, place) * hour;

const radians = Math.PI / 180;

/**
 * The sine of the sun's height, without refraction, by Spencer's series for declination and equation of time ("Fourier series
 * representation of the position of the sun", Search 2, 1971; from memory): right to about 0.3 degrees, ample for twilight.
 */
export function sunSine(at: number, { latitude, longitude }: Pick<Place, "latitude" | "longitude">): number {
  const days = at / day;
  const year = ((days - 0.5) % 365.2425) / 365.2425; // 1970-01-01 12:00 is where Spencer's year begins, near enough
  const angle = 2 * Math.PI * year;
  const [sin1, cos1, sin2, cos2] = [Math.sin(angle), Math.cos(angle), Math.sin(2 * angle), Math.cos(2 * angle)];
  const declination =
    0.006918 -
    0.399912 * cos1 +
    0.070257 * sin1 -
    0.006758 * cos2 +
    0.000907 * sin2 -
    0.002697 * Math.cos(3 * angle) +
    0.00148 * Math.sin(3 * angle);
  const equation = 229.18 * (0.000075 + 0.001868 * cos1 - 0.032077 * sin1 - 0.014615 * cos2 - 0.040849 * sin2); // minutes
  const turned = (days - Math.floor(days)) * 360 + longitude + equation / 4 - 180;
  return (
    Math.sin(latitude * radians) * Math.sin(declination) +
    Math.cos(latitude * radians) * Math.cos(declination) * Math.cos(turned * radians)
  );
}

/** Civil twilight ends when the sun is 6 degrees below the horizon. */
const twilightSine = Math.sin(-6 * radians);
export const isLight = (at: number, place: Place): boolean => sunSine(at, place) > twilightSine;

/** First and last light of the day that begins at `midnight`, to ten minutes; null where there is none. */
export function lightOf(midnight: number, place: Place): { readonly from: number; readonly to: number } | null {
  const step = 10 * minute;
  let [from, to] = [Number.NaN, Number.NaN];
  for (let at = midnight; at < midnight + day; at += step) {
    if (!isLight(at, place)) continue;
    if (Number.isNaN(from)) from = at;
    to = at + step;
  }
  return Number.isNaN(from) ? null : { from, to };
}
