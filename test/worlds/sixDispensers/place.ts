import { day, hour, minute } from "./agenda.ts";
import type { Stream } from "./stream.ts";

/** Where the feeder stands, and the climate there. */
export interface Place {
  readonly zone: string;
  readonly latitude: number; // degrees, north is positive
  readonly longitude: number; // degrees, east is positive
  readonly yearMean: number; // °C
  readonly yearSwing: number; // °C from the year's mean to the warmest month
  readonly daySwing: number; // °C, half of a clear day's range
  readonly fronts: number; // °C, standard deviation of what the days bring
  readonly wetShare: number; // of all hours
  readonly windMean: number; // m/s at the feeder
  readonly humidDay: number; // percent, where the air's own moisture puts the mean of a day
}

interface Region {
  readonly zone: string;
  readonly latitude: readonly [number, number];
  readonly longitude: readonly [number, number];
  readonly inland: readonly [number, number]; // 0 at a mild coast, 1 deep inside a continent
  readonly wet: readonly [number, number];
}

/** Crows live in all of them. Shares of wet hours are rough, from memory. */
const regions: readonly Region[] = [
  { zone: "Europe/Helsinki", latitude: [60, 65.5], longitude: [22, 29], inland: [0.4, 0.8], wet: [0.08, 0.16] },
  { zone: "Europe/London", latitude: [50.5, 57.5], longitude: [-4, 0.5], inland: [0, 0.25], wet: [0.08, 0.18] },
  { zone: "Europe/Warsaw", latitude: [49.5, 54], longitude: [16, 23], inland: [0.4, 0.7], wet: [0.07, 0.12] },
  { zone: "Europe/Madrid", latitude: [37.5, 43], longitude: [-6, -0.5], inland: [0.3, 0.7], wet: [0.03, 0.08] },
  { zone: "America/Toronto", latitude: [43, 47.5], longitude: [-82, -76], inland: [0.6, 1], wet: [0.07, 0.13] },
  { zone: "America/Denver", latitude: [36, 41], longitude: [-108, -104], inland: [0.7, 1], wet: [0.03, 0.06] },
  { zone: "Asia/Tokyo", latitude: [34, 43], longitude: [133, 141], inland: [0.4, 0.7], wet: [0.07, 0.15] },
  { zone: "Australia/Melbourne", latitude: [-38.5, -36], longitude: [142, 148], inland: [0, 0.4], wet: [0.05, 0.1] },
  { zone: "Africa/Johannesburg", latitude: [-31, -26], longitude: [25, 30], inland: [0.2, 0.5], wet: [0.03, 0.06] },
  { zone: "Asia/Kolkata", latitude: [21, 28], longitude: [75, 86], inland: [0.3, 0.7], wet: [0.04, 0.12] },
];

/** The year's mean and swing follow the latitude: a fit by eye to climate normals, from memory. */
export function drawPlace(stream: Stream): Place {
  const region = stream.pick(regions);
  const latitude = stream.uniform(...region.latitude);
  const inland = stream.uniform(...region.inland);
  const height = stream.exponential(150); // m; the air is 6.5 °C colder a kilometre higher up (standard atmosphere)
  const cosine = Math.cos((latitude * Math.PI) / 180);
  return {
    zone: region.zone,
    latitude,
    longitude: stream.uniform(...region.longitude),
    yearMean: 28 * cosine ** 2 - 3 * inland * (Math.abs(latitude) > 42 ? 1 : 0) - 0.0065 * height,
    yearSwing: Math.abs(latitude) * (0.1 + 0.16 * inland) + 1,
    daySwing: stream.uniform(2.5, 4.5) + 3 * inland,
    fronts: stream.uniform(1.5, 2.5) + 0.045 * Math.max(0, Math.abs(latitude) - 20),
    wetShare: stream.uniform(...region.wet),
    windMean: stream.logUniform(0.6, 4),
    humidDay: stream.uniform(58, 84) - 12 * inland,
  };
}

/** The share of the year since 1 January, by Greenwich. */
export const yearShare = (at: number): number => ((at / day + 0.25) % 365.25) / 365.25;

/** Local solar time of day in hours, without the equation of time: what a keeper's habits follow closely enough. */
export const localHour = (at: number, longitude: number): number => (((at / hour + longitude / 15) % 24) + 24) % 24;

/** The begin of the local solar day in which `at` lies. */
export const dayBegin = (at: number, longitude: number): number => at - localHour(at, longitude) * hour;

/**
 * The sun by the low-precision formulas of the Astronomical Almanac, as Michalsky (1988) writes them, without refraction. They are
 * far better than this world needs; sixDispensers.test.ts compares them with a library.
 */
export class Sun {
  readonly #sine: number;
  readonly #cosine: number;
  readonly #longitude: number;
  #slot = Number.NaN;
  #declination = 0;
  #ascension = 0;

  constructor(place: Pick<Place, "latitude" | "longitude">) {
    const latitude = (place.latitude * Math.PI) / 180;
    this.#sine = Math.sin(latitude);
    this.#cosine = Math.cos(latitude);
    this.#longitude = place.longitude;
  }

  /** The sine of the sun's height over the horizon. */
  heightSine(at: number): number {
    const days = at / day - 10_957.5; // since 2000-01-01T12:00Z
    const slot = Math.floor(days * 12);
    if (slot !== this.#slot) this.#follow(slot);
    const sidereal = (18.697374558 + 24.06570982441908 * days) * 15 + this.#longitude; // degrees
    const hourAngle = (sidereal * Math.PI) / 180 - this.#ascension;
    return this.#sine * Math.sin(this.#declination) + this.#cosine * Math.cos(this.#declination) * Math.cos(hourAngle);
  }

  isDaylight(at: number): boolean {
    return this.heightSine(at) > horizonSine;
  }

  /** When the sun rises and sets in the local day that begins at `begin`; where it doesn't, noon or the whole day stands. */
  rises(begin: number): { readonly rise: number; readonly set: number } {
    const step = 5 * minute;
    const noon = begin + 12 * hour;
    let rise = noon;
    while (rise > begin && this.isDaylight(rise - step)) rise -= step;
    let set = noon;
    while (set < begin + day && this.isDaylight(set + step)) set += step;
    return { rise, set };
  }

  /** The sun moves a twelfth of a degree among the stars in two hours, so that one place serves for that long. */
  #follow(slot: number): void {
    this.#slot = slot;
    const days = (slot + 0.5) / 12;
    const anomaly = radians(357.528 + 0.9856003 * days);
    const ecliptic = radians(280.46 + 0.9856474 * days + 1.915 * Math.sin(anomaly) + 0.02 * Math.sin(2 * anomaly));
    const tilt = radians(23.439 - 0.0000004 * days);
    this.#declination = Math.asin(Math.sin(tilt) * Math.sin(ecliptic));
    this.#ascension = Math.atan2(Math.cos(tilt) * Math.sin(ecliptic), Math.cos(ecliptic));
  }
}

/** Sunrise is when the upper edge of the refracted sun is at the horizon: 0.833° below it (the almanac's convention). */
const horizonSine = Math.sin(radians(-0.833));

function radians(degrees: number): number {
  return (degrees * Math.PI) / 180;
}
