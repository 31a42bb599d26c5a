import { expectedReading, type LevelEstimate } from "./levelFilter.ts";
import { outsideTemperature, type ScaleTemperatures } from "./scaleTemperatures.ts";

/**
 * Snow on what the scale carries. It comes slowly, only in the cold, and goes within hours of thaw, or in one slide. It
 * shows as a scale that rises, hour by hour, against what food and drift explain. Only while it rises may the load grow.
 */
export interface LidLoadState {
  readonly riseRate: number; // g an hour, recent rise of the scale above what was expected
  readonly portionRate: number; // an hour, recent
}

export const initialLidLoad: LidLoadState = { riseRate: 0, portionRate: 0 };

/** Of both: what is older than this counts a third. */
const memoryHours = 1;

export interface LidReading {
  readonly before: LevelEstimate; // the estimate before the reading
  readonly after: LevelEstimate; // and after it
  readonly kelvinAboveTare: number; // K above the temperature at taring
  readonly portions: number; // portions since the reading before
  readonly hours: number; // since then
}

export function updateLidLoad(
  { riseRate, portionRate }: LidLoadState,
  { before, after: read, kelvinAboveTare: warmer, portions: given, hours }: LidReading,
): LidLoadState {
  const keptShare = Math.exp(-hours / memoryHours);
  const rise = expectedReading(read, warmer) - expectedReading(before, warmer);
  return {
    riseRate: keptShare * riseRate + rise / memoryHours,
    portionRate: keptShare * portionRate + given / memoryHours,
  };
}

/** What happens by itself to a load on the lid. */
export interface LidLoadChange {
  readonly keptShare: number; // share that is still there
  readonly variance: number; // g², by how much it may have changed
}

/**
 * `usualVariance`: g² an hour, of the scale's error without snow. A rise within two standard deviations of it is ignored:
 * beyond lies about one quiet hour in forty.
 */
export function lidLoadChange(
  temperatures: ScaleTemperatures,
  state: LidLoadState,
  load: number,
  usualVariance: number,
  hours: number,
): LidLoadChange {
  const outside = outsideTemperature(temperatures);
  // An exponential window of an hour averages a random walk down to the root of half of its hourly variance.
  const rise = Math.max(0, Math.abs(state.riseRate) - 2 * Math.sqrt(usualVariance / 2));
  const changeVariance = state.riseRate > 0 || load > 0 ? rise * rise : 0;
  if (outside !== null && outside >= snowBelow) {
    const melted = meltedPerKelvinHour * Math.max(outside, meltKelvinMin) * hours;
    const keptShare = Math.max(Math.exp(-hours / dryingHours), 1 - melted / Math.max(load, 1));
    return { keptShare, variance: hours * 0.02 * load * load };
  }
  const unseenSnow = outside === null || hours <= gapHours ? 0 : (snowGramsPerHour * hours) ** 2;
  return {
    keptShare: outside === null ? Math.exp(-hours / 24) : 1,
    variance: hours * ((load < loadedGrams ? loadRateMin : stillLoad) + changeVariance) + unseenSnow,
  };
}
/** After so long without a reading it may have snowed. */
const gapHours = 1;
/** Standard deviation, on a small roof: an hour of snow brings up to a hundred grams, most hours none. Common practice, no source. */
const snowGramsPerHour = 25;
/** g² an hour: hoarfrost, spray, a leaf. Common practice, no source. */
const loadRateMin = 0.25;
/** What lies there already stays as it is, but for the wind. */
const loadedGrams = 8; // g
const stillLoad = 0.02; // g² an hour
/**
 * g an hour and kelvin: 2.5 to 11 mm a day and kelvin melt (Hock, "Temperature index melt modelling in mountain areas", J. Hydrol. 282, 2003,
 * from memory), on a small lid. A large load is told from food by its not being eaten, so it may melt much faster or more slowly.
 */
const meltedPerKelvinHour = 4;
const meltKelvinMin = 1;
/** Rain on the lid and in the wood is gone within so many hours, by two thirds. Common practice, no source. */
const dryingHours = 6;
/** Wet snow falls up to about two degrees above zero. */
export const snowBelow = 2;
