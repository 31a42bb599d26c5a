import type { RandomSource } from "../random.ts";
import { boardVolts } from "./motor.ts";
import type { Weather } from "./weather.ts";

export interface ThermometerReadings {
  readonly airCelsius: number;
  readonly insideCelsius: number;
  readonly lidCelsius: number;
  readonly humidityPercent: number;
}

/** `noise`: 1, or 0 for a sensor that repeats its last value to the last digit. */
export const readAirThermometer = (weather: Weather, noise: 0 | 1, random: RandomSource): number =>
  rounded(weather.airCelsius + noise * random.normal(0, 0.05), 2);

/** The sensors inside the box. */
export const readBoxSensors = (
  weather: Weather,
  noise: 0 | 1,
  random: RandomSource,
): Omit<ThermometerReadings, "airCelsius"> => ({
  insideCelsius: rounded(weather.insideCelsius + noise * random.normal(0, 0.05), 2),
  lidCelsius: rounded(weather.lidCelsius + noise * random.normal(0, 0.05), 2),
  humidityPercent: rounded(Math.min(100, weather.humidityPercent + noise * random.normal(0, 0.5)), 1),
});

export const readSupplyVolts = (random: RandomSource): number => rounded(random.normal(boardVolts, 0.01), 2);

/** In a storm wet branches sway in the radio's way. */
export const readRadioDbm = (windMetersPerSecond: number, random: RandomSource): number =>
  Math.round(random.normal(windMetersPerSecond > 12 ? -70 : -64, 1.5));

/** The metal detector's signal of a cap that falls past it, 0 to 1. */
export const detectorSignal = (spread: number, random: RandomSource): number =>
  Math.min(1, Math.max(0.4, random.normal(0.82, spread)));

export const rounded = (value: number, decimals: number): number => Math.round(value * 10 ** decimals) / 10 ** decimals;
