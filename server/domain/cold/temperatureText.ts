import type { Celsius } from "../units.ts";

/** Rounded to the accuracy of a cheap thermometer. Near freezing half degrees matter. */
export function temperatureText(temperature: Celsius): string {
  const step = Math.abs(temperature) < 3 ? 0.5 : 1;
  const rounded = Math.round(temperature / step) * step;
  return `${String(rounded || 0).replace("-", "−")} °C`;
}
