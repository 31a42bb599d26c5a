import type { RandomSource } from "../random.ts";
import type { PartFault } from "./faults.ts";
import { leakageMilliamps, loadedMilliamps, loadFactor, type MotorParameters } from "./motor.ts";

/** Food on its way: in the hopper, then on the tray, then down the chute. What is on the tray falls after the hopper has stopped. */
export interface FoodStore {
  readonly hopperGrams: number;
  readonly trayGrams: number;
}

export interface TrayParameters {
  readonly portionSpread: number; // of single portions, as a share of the mean
  readonly grainGrams: number;
  readonly trayPortions: number; // what lies on the tray, and falls after the hopper has stopped feeding it
}

export interface ChuteParameters {
  readonly pieceSeen: number; // share of pieces
  readonly portionMissed: number; // share of portions of which it sees nothing
}

export interface Dispenser {
  readonly tray: TrayParameters;
  readonly motor: MotorParameters;
  readonly chute: ChuteParameters;
}

export interface PortionConditions {
  readonly fault: PartFault | null;
  readonly portionGrams: number; // the true mean just now
  readonly insideCelsius: number;
  readonly runShare?: number; // of a whole run; a run that is cut short gives its share of a portion
}

export interface ReleasedPortion {
  readonly fellGrams: number;
  readonly pieces: number;
  readonly seen: number; // by the chute sensor
  readonly milliamps: number; // mean of the run
}

/** Food of so many grams, with a full tray as far as it goes. */
export function foodStore(grams: number, { trayPortions }: TrayParameters, portionGrams: number): FoodStore {
  const trayGrams = Math.min(grams, trayPortions * portionGrams);
  return { hopperGrams: grams - trayGrams, trayGrams };
}

/** What one run of the motor does, with what is broken. */
export function turnTray(
  store: FoodStore,
  { tray, motor, chute }: Dispenser,
  conditions: PortionConditions,
  random: RandomSource,
): { readonly store: FoodStore; readonly portion: ReleasedPortion } {
  const { fault, portionGrams, insideCelsius } = conditions;
  const full = tray.trayPortions * portionGrams;
  const isTurning = fault !== "wireOff" && fault !== "motorStalled" && fault !== "trayJammed";
  const moved = isTurning ? moveFood(store, tray, conditions, random) : { store, fellGrams: 0 };
  const { fellGrams } = moved;
  const pieces = fellGrams < 0.3 * tray.grainGrams ? 0 : Math.max(1, Math.round(fellGrams / tray.grainGrams));
  const loadedShare = Math.min(1, moved.store.trayGrams / full);
  const usual = loadedMilliamps(motor, insideCelsius) * random.normal(1, motor.spread);
  const seen = seenPieces(chute, pieces, fault, random);
  const milliamps = fault === "wireOff" ? leakageMilliamps(random) : usual * loadFactor(motor, fault, loadedShare);
  return { store: moved.store, portion: { fellGrams, pieces, seen, milliamps } };
}

function moveFood(
  { hopperGrams, trayGrams }: FoodStore,
  tray: TrayParameters,
  { fault, portionGrams, runShare = 1 }: PortionConditions,
  random: RandomSource,
): { readonly store: FoodStore; readonly fellGrams: number } {
  const full = tray.trayPortions * portionGrams;
  // A tray that isn't full any more gives less: the last portions shrink.
  const filled = Math.min(1, trayGrams / full);
  const wanted =
    portionGrams * Math.min(1, 1.25 * Math.sqrt(filled)) * Math.max(0, random.normal(1, tray.portionSpread));
  let fellGrams = Math.min(trayGrams, wanted * runShare);
  let left = trayGrams - fellGrams;
  const followed = fault !== "feedBridged" ? Math.min(hopperGrams, full - left) : 0;
  left += followed;
  if (left < 0.3 * tray.grainGrams) {
    fellGrams += left; // crumbs go with the last portion
    left = 0;
  }
  return { store: { hopperGrams: hopperGrams - followed, trayGrams: left }, fellGrams };
}

/** Pieces that fall close together count as one, which is why a chute sees fewer than fall. */
function seenPieces(chute: ChuteParameters, pieces: number, fault: PartFault | null, random: RandomSource): number {
  if (fault === "chuteBlind" || random.isTrueWith(chute.portionMissed)) return 0;
  if (fault === "chuteHalfBlind" && random.isTrueWith(0.5)) return 0;
  let seen = 0;
  for (let piece = 0; piece < pieces; piece += 1) if (random.isTrueWith(chute.pieceSeen)) seen += 1;
  return seen;
}
