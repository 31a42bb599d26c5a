import type { Celsius } from "../units.ts";

/** Each thaw wets the food and each frost swells it: food that went through it often cakes and jams. */
export interface FreezeThaw {
  readonly isFrozen: boolean;
  readonly cycles: number; // thawed → frozen → thawed, counted at the thaw
}

export const initialFreezeThaw = (): FreezeThaw => ({ isFrozen: false, cycles: 0 });

/**
 * One more temperature. `deadband`, °C: frozen from -deadband, thawed from +deadband; without it the thermometer's noise
 * about 0 °C is counted. 0.5 to 1 °C is common practice.
 */
export function updateFreezeThaw(before: FreezeThaw, temperature: Celsius, deadband: number): FreezeThaw {
  if (!before.isFrozen && temperature <= -deadband && temperature < 0) return { ...before, isFrozen: true };
  if (before.isFrozen && temperature >= deadband && temperature >= 0)
    return { isFrozen: false, cycles: before.cycles + 1 };
  return before;
}
