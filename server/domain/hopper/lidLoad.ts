import type { Surroundings } from "./weighing.ts";

/**
 * Snow on what the scale carries. It comes slowly, only in the cold, and goes within hours of thaw, or in one slide. Nobody
 * tells of it: that something lies there must show in the readings, and what has begun to lie there will grow.
 */
export interface LidWeather {
  readonly kept: (hours: number) => number; // share that is still there
  /** g², by how much what lies there may have changed in so many hours, where so many grams lie there now. */
  readonly variance: (hours: number, load: number) => number;
}

const cold: LidWeather = {
  kept: () => 1,
  variance: (hours, load) => hours * (firstFlakes + Math.min(load, heavy) ** 2),
};
const thaw: LidWeather = {
  kept: (hours) => Math.exp(-hours / thawHours),
  variance: (hours, load) => hours * 0.1 * load * load,
};
/** Nobody says how cold it is: snow may come, and doesn't stay for ever. */
const unknown: LidWeather = {
  kept: (hours) => Math.exp(-hours / 24),
  variance: (hours, load) => hours * (0.25 * firstFlakes + 0.5 * Math.min(load, heavy) ** 2),
};
const firstFlakes = 2 ** 2; // g² an hour
const heavy = 15;
const thawHours = 1.5;
/** Wet snow falls up to about a degree above zero. */
const snowBelow = 1;

export function lidWeather({ air, lid, inside }: Surroundings): LidWeather {
  const outside = air ?? lid ?? inside;
  return outside === null ? unknown : outside < snowBelow ? cold : thaw;
}
