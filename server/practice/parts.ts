import type { LoadCellParameters } from "./model/loadCell.ts";
import type { Dispenser } from "./model/tray.ts";

/** Two peanut halves that fall as one, or a large kibble, are one piece; one of ten is close behind another. */
export const practiceDispenser: Dispenser = {
  tray: { portionSpread: 0.14, grainGrams: 0.7, trayPortions: 3 },
  // A light tray draws 6 % less: common practice, no source.
  motor: { milliamps: 254, spread: 0.03, perDegree: 0.0057, lightTray: 0.94, jam: 1.12, stall: 3 },
  chute: { pieceSeen: 0.9, portionMissed: 0 },
};

/** A beam cell of 5 kg: 50 ppm of full scale a degree (0.05 % in 10 °C, a data sheet's value), noise of about a gram. */
export const practiceCell: LoadCellParameters = {
  zeroPerDegree: 5_000 * 50e-6,
  lagMinutes: 20,
  wanderGrams: 0.5,
  zeroGrams: 0,
  noiseGrams: 0.8,
  creepShare: 0.0003,
  snowMaxGrams: 60,
};
