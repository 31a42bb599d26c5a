import type { RandomSource } from "../../server/practice/random.ts";
import type { Disturbance, Plot } from "./plot.ts";

/** Food on its way: in the hopper, then on the tray, then down the chute. What is on the tray falls after the hopper has stopped. */
export interface FoodStore {
  hopperGrams: number;
  trayGrams: number;
}

export interface Turn {
  readonly fellGrams: number;
  readonly pieces: number;
  readonly seen: number; // by the chute sensor
  readonly milliamps: number;
}

/** What one run of the motor does, with what is broken. `portion`: the true mean of this moment. */
export function turnTray(
  store: FoodStore,
  plot: Plot,
  fault: Disturbance | null,
  portion: number,
  insideCelsius: number,
  chance: RandomSource,
): Turn {
  const { food, motor, chute } = plot;
  const full = food.trayPortions * portion;
  const turns = fault !== "wireOff" && fault !== "stalled" && fault !== "jammed";
  let fellGrams = 0;
  if (turns) {
    // A tray that isn't full any more gives less: the last portions shrink.
    const filled = Math.min(1, store.trayGrams / full);
    const wanted = portion * Math.min(1, 1.25 * Math.sqrt(filled)) * Math.max(0, chance.normal(1, food.portionSpread));
    fellGrams = Math.min(store.trayGrams, wanted);
    store.trayGrams -= fellGrams;
    if (fault !== "bridged") {
      const followed = Math.min(store.hopperGrams, full - store.trayGrams);
      store.hopperGrams -= followed;
      store.trayGrams += followed;
    }
    if (store.trayGrams < 0.3 * food.grainGrams) fellGrams += store.trayGrams;
    if (store.trayGrams < 0.3 * food.grainGrams) store.trayGrams = 0;
  }
  const pieces = fellGrams < 0.3 * food.grainGrams ? 0 : Math.max(1, Math.round(fellGrams / food.grainGrams));
  const loaded = Math.min(1, store.trayGrams / full);
  const load = loaded + (1 - loaded) * motor.lightTray;
  const usual = motor.milliamps * (1 + motor.perDegree * (10 - insideCelsius)) * chance.normal(1, motor.spread);
  return {
    fellGrams,
    pieces,
    seen: seenBy(chute, pieces, fault, chance),
    milliamps:
      fault === "wireOff"
        ? chance.between(0, 5)
        : usual * (fault === "jammed" ? motor.jam : fault === "stalled" ? motor.stall : load),
  };
}

function seenBy(chute: Plot["chute"], pieces: number, fault: Disturbance | null, chance: RandomSource): number {
  if (fault === "chuteBlind" || chance.isTrueWith(chute.portionMissed)) return 0;
  if (fault === "chuteHalfBlind" && chance.isTrueWith(0.5)) return 0;
  let seen = 0;
  for (let piece = 0; piece < pieces; piece += 1) if (chance.isTrueWith(chute.pieceSeen)) seen += 1;
  return seen;
}
