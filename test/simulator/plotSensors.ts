import { type LoadCell, randomBirdGrams, readLoadCell } from "../../server/practice/model/loadCell.ts";
import {
  readAirThermometer,
  readBoxSensors,
  readRadioDbm,
  readSupplyVolts,
} from "../../server/practice/model/sensors.ts";
import type { Weather } from "../../server/practice/model/weather.ts";
import type { RandomSource } from "../../server/practice/random.ts";
import type { Plot, PlotCellParameters } from "./plot.ts";

interface Counts {
  readonly button: number;
  readonly detector: number;
  readonly chute: number;
  readonly perch: number;
}

/** The readings of one report, but for the scale's. `stuck`: the thermometers repeat their last values to the last digit. */
export function readPlotSensors(
  { sensors, thermometer }: Plot,
  weather: Weather,
  { button, detector, chute, perch }: Counts,
  stuck: boolean,
  random: RandomSource,
) {
  const noise = stuck ? 0 : 1;
  return {
    airCelsius: readAirThermometer(weather, noise, random),
    ...(thermometer ? readBoxSensors(weather, noise, random) : {}),
    supplyVolts: readSupplyVolts(random),
    signalDbm: readRadioDbm(weather.windMetersPerSecond, random),
    counts: {
      ...(sensors.button ? { button } : {}),
      ...(sensors.detector ? { detector } : {}),
      ...(sensors.chute ? { chute } : {}),
      ...(sensors.perch ? { perch } : {}),
    },
  };
}

/** One reading of the scale, sometimes with a bird on it. */
export function readPlotCell(
  cell: LoadCell,
  parameters: PlotCellParameters,
  loadGrams: number,
  random: RandomSource,
): number {
  const birdGrams = random.isTrueWith(parameters.perchedShare) ? randomBirdGrams(random) : 0;
  return readLoadCell(cell, parameters, loadGrams, birdGrams, random);
}
