import type { FeederSettings } from "../settings.ts";

/**
 * How a load cell under a hopper errs, outdoors. Data sheets say 0.05 % of full scale per 10 °C for its zero, and 0.05 % of
 * creep in half an hour; a public design note four to ten times as much for the zero (references, load cell). The full scale isn't
 * entered: cells of one to three times the hopper's capacity are usual.
 */
export const fullScale = (settings: FeederSettings): number => 2.2 * settings.hopperCapacity;

/**
 * Noise of one reading: wind on the roof and birds landing, not the cell's own noise (below 1 g for a common bar cell
 * with a 24-bit converter). Common practice, no source. Learning starts from here.
 */
export const scaleNoise = (settings: FeederSettings): number => Math.max(4, 0.002 * settings.hopperCapacity);
/**
 * Slow error of the scale's zero over a day's swing of 10 to 20 °C, where no thermometer shows it. It is not averaged away
 * by many readings. At least 5 g, since a small hopper may hang on a large cell.
 */
export const scaleDrift = (settings: FeederSettings): number => Math.max(5, 0.005 * settings.hopperCapacity);

/** g/K, standard deviation before a night has shown it: between data sheet (0.005 %) and design note (0.05 %). */
export const slopeDeviation = (settings: FeederSettings): number => 0.0002 * fullScale(settings);

/**
 * At which temperature the scale was set to zero, give or take: indoors or in an autumn garden. What the cell is warmer or
 * colder now moves its zero by its slope. Common practice, no source.
 */
export const tareCelsius = 12;
const tareCelsiusDeviation = 6;

/**
 * What a home-built scale reads at zero is off by tens of grams, and on a small hopper no less, since its cell is seldom a small one: the
 * hopper was tared with food in its corners, parts were added later, screws were turned. Common practice, no source.
 */
const taringDeviationMin = 33; // g
/**
 * Of what is weighed: a cell calibrated by the keeper with a known weight of a few hundred grams, read to a gram or two; cells that carry the
 * load off their axis. Common practice, no source.
 */
const spanDeviation = 0.015;
/** Wood that soaks and dries within days, snow that melts and freezes on the roof: grams, and of the capacity. Common practice, no source. */
const soakedDeviationMin = 15; // g
const soakedDeviation = 0.015;

/** Of what lies on the lid, and of the capacity at most: so much of it may be food, or the other way round. Common practice, no source. */
const lidShareDeviation = 0.1;
const lidDeviationMax = 0.04;

/** g², of what the scale shows too much or too little for days, and no reading corrects. */
export const unlearntVariance = ({ level, lidLoad }: Weighed, settings: FeederSettings): number =>
  (spanDeviation * level) ** 2 +
  Math.max(soakedDeviationMin, soakedDeviation * settings.hopperCapacity) ** 2 +
  Math.min(lidShareDeviation * lidLoad, lidDeviationMax * settings.hopperCapacity) ** 2;

/** Both in grams. */
interface Weighed {
  readonly level: number;
  readonly lidLoad: number;
}

/** g², of the zero's lasting offset: the keeper's taring, and the temperature at which it was done. */
export function zeroOffsetVariance(slopeSquared: number, hasThermometer: boolean, settings: FeederSettings): number {
  const taringDeviation = Math.max(taringDeviationMin, 0.006 * fullScale(settings));
  // Without a thermometer the season's own cold is in it.
  const kelvin = hasThermometer ? tareCelsiusDeviation : 10;
  return taringDeviation * taringDeviation + kelvin * kelvin * slopeSquared;
}

/**
 * g², of the zero's drift within hours: hysteresis, the cell's lag behind the thermometer, creep; without a thermometer
 * also the day's swing.
 */
export function zeroDriftVariance(slopeSquared: number, hasThermometer: boolean, settings: FeederSettings): number {
  const ownDeviation = Math.max(3, 0.001 * fullScale(settings));
  const kelvin = hasThermometer ? 0.8 : 4;
  return ownDeviation * ownDeviation + kelvin * kelvin * slopeSquared;
}
/** Hours in which it fades to a third. */
export const zeroDriftHours = 8;

/** g², of the creep in the half hour after so much was poured in or taken out. */
export const creepVariance = (movedGrams: number): number => (0.0005 * movedGrams) ** 2;

/** Hours by which the cell's own temperature follows the thermometer's: a bar of metal in a box. Common practice, no source. */
export const cellLagHours = 0.5;
