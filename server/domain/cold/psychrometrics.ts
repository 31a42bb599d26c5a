import { type Celsius, celsius, type HumidityPercent } from "../units.ts";

/**
 * Moist air, with pressures in hPa. Humidity is over liquid water below 0 °C too, as WMO defines it and capacitive sensors
 * report it: air in ice fog at -20 °C reads 82 %, never 100. The enhancement factor (0.4 % at sea level) is left out.
 */
export interface MagnusCoefficients {
  readonly pressure: number; // hPa at 0 °C
  readonly slope: number;
  readonly offset: number; // °C
}

/** WMO-No. 8, Part I ch. 4, annex 4.B; coefficients from memory. Water -45…60 °C, ice -65…0 °C. They meet at 0 °C. */
export const overWater: MagnusCoefficients = { pressure: 6.112, slope: 17.62, offset: 243.12 };
export const overIce: MagnusCoefficients = { pressure: 6.112, slope: 22.46, offset: 272.62 };

/** Pressure of vapour that is saturated over the surface, hPa. */
export const saturationPressure = ({ pressure, slope, offset }: MagnusCoefficients, at: Celsius): number =>
  pressure * Math.exp((slope * at) / (offset + at));

/** Pressure of the vapour in the air, hPa. */
export const vapourPressure = (air: Celsius, humidity: HumidityPercent): number =>
  // A dried-out sensor says 0, of which there is no logarithm.
  (Math.max(0.1, humidity) / 100) * saturationPressure(overWater, air);

export const dewPoint = (vapour: number): Celsius => saturationTemperature(overWater, vapour);

/** Where frost begins to grow, 0 °C or less; null for air so moist that dew comes first. */
export function frostPoint(vapour: number): Celsius | null {
  const point = saturationTemperature(overIce, vapour);
  return point > 0 ? null : point;
}

function saturationTemperature({ pressure, slope, offset }: MagnusCoefficients, vapour: number): Celsius {
  const logRatio = Math.log(vapour / pressure);
  return celsius((offset * logRatio) / (slope - logRatio));
}

/** What the air leaves on a surface. */
export function condensationKind(vapour: number, surface: Celsius): "none" | "dew" | "frost" {
  if (surface < 0) return vapour > saturationPressure(overIce, surface) ? "frost" : "none";
  return vapour > saturationPressure(overWater, surface) ? "dew" : "none";
}
