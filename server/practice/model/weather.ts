import { overIce, overWater, saturationPressure } from "../../domain/cold/psychrometrics.ts";
import { after, hours, type Instant, type Span } from "../../domain/instant.ts";
import type { Place } from "../../domain/settings.ts";
import { celsius } from "../../domain/units.ts";
import { hashedRandom } from "../random.ts";
import { sunAltitudeDegrees } from "./light.ts";

/**
 * Weather around one feeder: seasons, days and nights, storms and snow. Any moment can be computed, in any order: there is no
 * state.
 */
export interface Weather {
  readonly airCelsius: number;
  readonly lidCelsius: number; // the lid sees the sky and is the coldest surface on a clear night
  readonly insideCelsius: number;
  readonly humidityPercent: number; // inside the box, over liquid water also in frost
  readonly windMetersPerSecond: number;
  readonly cloud: number; // 0 clear .. 1 overcast
  readonly snowing: boolean;
}

export interface Climate {
  readonly nightCoolingMax: number; // K by which a lid under a clear and calm night sky is colder than the air
  readonly humidity: "belowDew" | "humid";
}

/**
 * Never so damp that the lid gathers dew or frost: a healthy practice feeder must have no alarms, or a new keeper can't
 * distinguish the chosen fault from the weather. Dew, frost and ice come with the fault `coldNight`.
 */
export const mildClimate: Climate = { nightCoolingMax: 1.2, humidity: "belowDew" };
/** Lids cool by 2 to 5 K (common practice) and gather dew and frost, as in a real garden. */
export const humidClimate: Climate = { nightCoolingMax: 5, humidity: "humid" };

const day: Span = hours(24);

export function weatherAt(seed: number, place: Place, at: Instant, climate: Climate): Weather {
  const atSixty = airAt(seed, place, at);
  const airCelsius = atSixty - 0.7 * Math.max(0, place.latitudeDegrees - 59.5);
  const cloud = cloudAt(seed, at);
  const wind = windAt(seed, at);
  const sun = sunAltitudeDegrees(place, at);
  const cooling = sun < 0 ? climate.nightCoolingMax * (1 - cloud) * Math.max(0, 1 - wind / 8) : 0;
  const lidCelsius = airCelsius - cooling + Math.max(0, sun) * 0.2 * (1 - cloud);
  const insideCelsius = airCelsius + 2.5 + Math.max(0, sun) * 0.15 * (1 - cloud); // the board's own warmth, and the sun's
  return {
    airCelsius,
    lidCelsius,
    insideCelsius,
    humidityPercent:
      climate.humidity === "humid"
        ? humidHumidity(seed, at, airCelsius, insideCelsius)
        : humidityBelowDew(seed, at, lidCelsius, insideCelsius),
    windMetersPerSecond: wind,
    cloud,
    // The north is colder, but gets no more snow for it.
    snowing: atSixty < 1 && cloud > 0.6 && slowNoise(seed, 4, at, hours(5)) > 0.6,
  };
}

/** Seasonal mean of about -3 °C in January and 17 °C in July, with spells of some days and a daily swing. Invented, no source. */
function airAt(seed: number, place: Place, at: Instant): number {
  const season = Math.cos((2 * Math.PI * (dayOfYear(at) - 20)) / 365.25); // 1 in mid-January
  const solarHour = ((at / 3_600_000 + place.longitudeDegrees / 15) % 24) + 24;
  const swing = (2.8 - 1.6 * season) * Math.cos((2 * Math.PI * (solarHour - 15)) / 24);
  const spell = 9 * (slowNoise(seed, 1, at, hours(60)) - 0.5);
  return 7 - 10 * season + spell + swing;
}

const cloudAt = (seed: number, at: Instant): number => slowNoise(seed, 2, at, hours(9));

const windAt = (seed: number, at: Instant): number =>
  isStormy(seed, at) ? 14 + 6 * slowNoise(seed, 3, at, hours(1)) : 1 + 6 * slowNoise(seed, 3, at, hours(6));

/** A stormy day comes about once in two weeks. */
export const isStormy = (seed: number, at: Instant, stormShare = 0.07): boolean =>
  hashedRandom(seed, 5, Math.floor(at / day)) > 1 - stormShare;

/** Damp in winter, drier in summer, with a tenth of room to the dew point of the lid. */
function humidityBelowDew(seed: number, at: Instant, lidCelsius: number, insideCelsius: number): number {
  const damp = 62 + 30 * slowNoise(seed, 6, at, hours(12)) - Math.max(0, insideCelsius - 12);
  return Math.min(damp, humidityBelow(0.9, lidCelsius, insideCelsius));
}

/** Outdoor air up to saturation over ice in frost, warmed by the box; what makes it damp wanders apart from the clouds. */
function humidHumidity(seed: number, at: Instant, airCelsius: number, insideCelsius: number): number {
  const air = celsius(airCelsius);
  const wettest = 100 * Math.min(1, saturationPressure(overIce, air) / saturationPressure(overWater, air));
  const inAir = Math.min(Math.min(100, 68 + 32 * cloudAt(seed + 7_919, after(at, hours(31)))), wettest);
  const vapour = (inAir / 100) * saturationPressure(overWater, air);
  return Math.min(100, (100 * vapour) / saturationPressure(overWater, celsius(insideCelsius)));
}

/** Vapour pressure in hPa at which dew (above 0 °C) or frost (below) starts on a surface. */
const saturationOver = (surfaceCelsius: number): number =>
  saturationPressure(surfaceCelsius < 0 ? overIce : overWater, celsius(surfaceCelsius));

/** Humidity at a thermometer, in percent over water, of air with this share of the vapour that would settle on the surface. */
export const humidityBelow = (share: number, surfaceCelsius: number, thermometerCelsius: number): number =>
  (100 * share * saturationOver(surfaceCelsius)) / saturationPressure(overWater, celsius(thermometerCelsius));

/** A value in 0..1 that changes smoothly: a fixed random number at every node, a cosine between them. */
function slowNoise(seed: number, series: number, at: Instant, every: Span): number {
  const node = Math.floor(at / every);
  const share = (1 - Math.cos(Math.PI * (at / every - node))) / 2;
  return hashedRandom(seed, series, node) * (1 - share) + hashedRandom(seed, series, node + 1) * share;
}

const dayOfYear = (at: Instant): number => {
  const year = new Date(at).getUTCFullYear();
  return (at - Date.UTC(year, 0, 1)) / day;
};
