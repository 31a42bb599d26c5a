import { inHours, type Span } from "../../domain/instant.ts";
import type { RandomSource } from "../random.ts";
import { rounded } from "./sensors.ts";
import type { Weather } from "./weather.ts";

export interface LoadCellParameters {
  readonly zeroPerDegree: number; // g/K
  readonly lagMinutes: number; // by which the cell follows the box's thermometer
  readonly wanderGrams: number; // of the zero over hours
  readonly zeroGrams: number; // what the keeper's tare missed
  readonly noiseGrams: number;
  readonly creepShare: number; // of a load change, within half an hour
  readonly snowMaxGrams: number; // that can lie on what the cell carries; 0 where none can
}

/**
 * A load cell outdoors: its zero moves with its own temperature, which lags behind the box's, and wanders by itself; it creeps
 * after a change of load; snow lies on what it carries and slides off; a bird may sit there at the moment of reading.
 */
export interface LoadCell {
  readonly tareCelsius: number; // at which it was tared
  readonly ownCelsius: number | null; // null before time has passed
  readonly wanderGrams: number;
  readonly creptGrams: number; // the part of the present load that has crept in
  readonly snowGrams: number;
}

export const initialLoadCell = (tareCelsius: number): LoadCell => ({
  tareCelsius,
  ownCelsius: null,
  wanderGrams: 0,
  creptGrams: 0,
  snowGrams: 0,
});

export function advanceLoadCell(
  cell: LoadCell,
  parameters: LoadCellParameters,
  surroundings: { readonly span: Span; readonly weather: Weather; readonly loadGrams: number },
  random: RandomSource,
): LoadCell {
  const { lagMinutes, wanderGrams, creepShare } = parameters;
  const { span, weather, loadGrams } = surroundings;
  const long = inHours(span);
  const own = cell.ownCelsius ?? weather.insideCelsius;
  const memory = Math.exp(-long / 8);
  return {
    ...cell,
    ownCelsius: own + (1 - Math.exp((-60 * long) / lagMinutes)) * (weather.insideCelsius - own),
    wanderGrams: memory * cell.wanderGrams + Math.sqrt(1 - memory * memory) * random.normal(0, wanderGrams),
    creptGrams: cell.creptGrams + (1 - Math.exp(-long / 0.25)) * (creepShare * loadGrams - cell.creptGrams),
    snowGrams: snowAfter(cell.snowGrams, parameters.snowMaxGrams, long, weather, random),
  };
}

function snowAfter(snowGrams: number, most: number, hours: number, weather: Weather, random: RandomSource): number {
  if (most <= 0) return 0;
  const { snowing, airCelsius, lidCelsius, windMetersPerSecond } = weather;
  const perHour = snowing ? 12 : airCelsius > 0.5 ? -40 : windMetersPerSecond > 10 ? -15 : 0;
  const snow = Math.min(most, Math.max(0, snowGrams + perHour * hours));
  // Sun takes it off in one go.
  const slides = snow > 25 && lidCelsius > airCelsius + 0.5 && random.isTrueWith(1 - Math.exp(-hours / 3));
  return slides ? 0 : snow;
}

/** One reading, in grams. `birdGrams`: what sits on it at that moment. */
export function readLoadCell(
  cell: LoadCell,
  { zeroPerDegree, zeroGrams, noiseGrams }: LoadCellParameters,
  loadGrams: number,
  birdGrams: number,
  random: RandomSource,
): number {
  const drift = zeroPerDegree * ((cell.ownCelsius ?? cell.tareCelsius) - cell.tareCelsius);
  const shown =
    loadGrams +
    drift +
    zeroGrams +
    cell.wanderGrams +
    cell.creptGrams +
    cell.snowGrams +
    birdGrams +
    random.normal(0, noiseGrams);
  return rounded(shown, 1);
}

/** A jackdaw or a crow. */
export const randomBirdGrams = (random: RandomSource): number => random.between(180, 480);
