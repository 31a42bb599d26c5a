import { overIce, overWater, saturationPressure } from "../../server/domain/cold/psychrometrics.ts";
import { hours, type Instant } from "../../server/domain/instant.ts";
import type { Place } from "../../server/domain/settings.ts";
import { celsius } from "../../server/domain/units.ts";
import { sunAltitudeDegrees } from "../../server/practice/light.ts";
import { weatherAt } from "../../server/practice/weather.ts";

/** Weather around one simulated feeder, harsher than the practice yard's: lids cool under clear skies and gather dew and frost. */
export interface Climate {
  readonly airCelsius: number;
  readonly lidCelsius: number;
  readonly insideCelsius: number;
  readonly humidityPercent: number; // inside, over liquid water
  readonly wind: number; // m/s
  readonly snowing: boolean;
}

export function climateAt(seed: number, place: Place, at: Instant): Climate {
  const { airCelsius: mild, wind, cloud, snowing, humidity } = rawAt(seed, place, at);
  const airCelsius = mild - 0.7 * Math.max(0, place.latitudeDegrees - 59.5);
  const sun = sunAltitudeDegrees(place, at);
  const insideCelsius = airCelsius + 2.5 + Math.max(0, sun) * 0.15 * (1 - cloud);
  // 2 to 5 K below the air on a clear and calm night (common practice).
  const cooling = sun < 0 ? 5 * (1 - cloud) * Math.max(0, 1 - wind / 8) : 0;
  const wettest =
    100 *
    Math.min(1, saturationPressure(overIce, celsius(airCelsius)) / saturationPressure(overWater, celsius(airCelsius)));
  const inAir = Math.min(humidity, wettest);
  const vapour = (inAir / 100) * saturationPressure(overWater, celsius(airCelsius));
  return {
    airCelsius,
    lidCelsius: airCelsius - cooling + Math.max(0, sun) * 0.2 * (1 - cloud),
    insideCelsius,
    humidityPercent: Math.min(100, (100 * vapour) / saturationPressure(overWater, celsius(insideCelsius))),
    wind,
    snowing: snowing && airCelsius < 1,
  };
}

function rawAt(seed: number, place: Place, at: Instant) {
  const { airCelsius, windMetersPerSecond, cloud, snowing } = weatherAt(seed, place, at);
  // The practice yard's own humidity is kept below dew; here it is another hour's weather, stretched to the wet end.
  const other = weatherAt(seed + 7_919, place, (at + hours(31)) as Instant);
  return { airCelsius, wind: windMetersPerSecond, cloud, snowing, humidity: Math.min(100, 68 + 32 * other.cloud) };
}
