import { expectedReading, type LevelEstimate } from "./levelFilter.ts";
import type { ScaleTemperatures } from "./surroundings.ts";

/**
 * Snow on what the scale carries. It comes slowly, only in the cold, and goes within hours of thaw, or in one slide. Nobody
 * tells of it: what shows is that the scale rises, hour by hour, against all that was expected of food and drift. While it
 * does so, and only then, what rises may lie on the lid.
 */
export interface LidLoadState {
  readonly riseRate: number; // g an hour, by which the scale lately rose above what was expected
  readonly portionRate: number; // an hour, lately
}

export const initialLidLoad: LidLoadState = { riseRate: 0, portionRate: 0 };

/** Of both: what is older than this counts a third. */
const memoryHours = 1;

export interface LidReading {
  readonly before: LevelEstimate; // what was believed before the reading
  readonly read: LevelEstimate; // and after it
  readonly warmer: number; // K above the temperature of the scale's zero
  readonly given: number; // portions since the reading before
  readonly hours: number; // since then
}

export function updateLidLoad(
  { riseRate, portionRate }: LidLoadState,
  { before, read, warmer, given, hours }: LidReading,
): LidLoadState {
  const kept = Math.exp(-hours / memoryHours);
  const rose = expectedReading(read, warmer) - expectedReading(before, warmer);
  return { riseRate: kept * riseRate + rose / memoryHours, portionRate: kept * portionRate + given / memoryHours };
}

/** What happens by itself to a load on the lid. */
export interface LidLoadChange {
  readonly keptShare: number; // share that is still there
  readonly variance: number; // g², by how much it may have changed
}

/**
 * `usual`: g² an hour, by which the scale errs from what is expected without snow. Within two standard deviations of that
 * nothing is made of a rise: about one quiet hour in forty.
 */
export function lidLoadChange(
  { air, lid, inside }: ScaleTemperatures,
  watch: LidLoadState,
  load: number,
  usual: number,
  hours: number,
): LidLoadChange {
  const outside = air ?? lid ?? inside;
  // An exponential window of an hour averages a random walk down to the root of half of its hourly variance.
  const rise = Math.max(0, Math.abs(watch.riseRate) - 2 * Math.sqrt(usual / 2));
  const moves = watch.riseRate > 0 || load > 0 ? rise * rise : 0;
  if (outside !== null && outside >= snowBelow) {
    return { keptShare: Math.exp(-hours / thawHours), variance: hours * 0.1 * load * load };
  }
  return {
    keptShare: outside === null ? Math.exp(-hours / 24) : 1,
    variance: hours * ((load < loadedGrams ? loadRateMin : stillLoad) + moves),
  };
}
/** g² an hour: hoarfrost, spray, a leaf. Common practice, no source. */
const loadRateMin = 0.25;
/** What lies there already stays as it is, but for the wind. */
const loadedGrams = 8; // g
const stillLoad = 0.02; // g² an hour
const thawHours = 1.5;
/** Wet snow falls up to about a degree above zero. */
const snowBelow = 1;
