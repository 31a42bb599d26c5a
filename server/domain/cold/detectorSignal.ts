import { logNormalTail } from "../normalTail.ts";
import type { Celsius } from "../units.ts";

/**
 * How strong a cap looks to the detector, and how that goes with the temperature: a straight line learnt from every deposit
 * that it took, old ones fading. Few numbers, so that a feeder remembers years in them.
 */
export interface SignalModel {
  /** How much the deposits weigh together; each new one takes a little from all that were before. */
  readonly weight: number;
  readonly temperature: number; // means, °C and 0..1
  readonly signal: number;
  readonly temperatureSquares: number; // sums about the means
  readonly product: number;
  readonly signalSquares: number;
  /** How far the last twenty or so lie above the line: who turns up the detector's gain need not wait for the line. */
  readonly above: number;
  /** The smallest signals that were taken as metal, in this block of deposits and the one before. */
  readonly least: number | null;
  readonly leastBefore: number | null;
  readonly inBlock: number;
}

export const unheardSignal = (): SignalModel => ({
  weight: 0,
  temperature: 0,
  signal: 0,
  temperatureSquares: 0,
  product: 0,
  signalSquares: 0,
  above: 0,
  least: null,
  leastBefore: null,
  inBlock: 0,
});

export function heardSignal(before: SignalModel, signal: number, temperature: Celsius): SignalModel {
  const fade = before.weight < rememberedDeposits ? 1 : 1 - 1 / rememberedDeposits;
  const weight = before.weight * fade + 1;
  const dTemperature = temperature - before.temperature;
  const dSignal = signal - before.signal;
  const steepness = before.weight < knownFrom ? 0 : slopeOf(before, spreadOf(before));
  const share = 1 - 1 / weight; // West 1979: a weighted mean and its squares, one value at a time
  const turned = before.inBlock >= blockLength;
  const least = turned ? null : before.least;
  return {
    weight,
    temperature: before.temperature + dTemperature / weight,
    signal: before.signal + dSignal / weight,
    temperatureSquares: fade * before.temperatureSquares + share * dTemperature * dTemperature,
    product: fade * before.product + share * dTemperature * dSignal + 0, // + 0: JSON has no minus zero
    signalSquares: fade * before.signalSquares + share * dSignal * dSignal,
    above: before.above + (dSignal - steepness * dTemperature - before.above) / Math.min(weight, recentDeposits) + 0,
    least: least === null ? signal : Math.min(least, signal),
    leastBefore: turned ? before.least : before.leastBefore,
    inBlock: turned ? 1 : before.inBlock + 1,
  };
}

/** The smallest signal that is known to be taken as metal: what is weaker may pass unseen. Null before the first. */
export const leastTaken = ({ least, leastBefore }: SignalModel): number | null =>
  least === null ? leastBefore : leastBefore === null ? least : Math.min(least, leastBefore);

/**
 * Signal per °C. Copper alone moves a coil's quality, and with it the signal, by 0.4 % a degree; ferrite and capacitors add
 * to that with either sign. So that is how far a few deposits are believed (a normal prior of that width about no slope).
 */
export function slopeOf(model: SignalModel, spread: number): number {
  const width = copperPerDegree * model.signal;
  const doubt = width === 0 ? Number.POSITIVE_INFINITY : (spread / width) ** 2;
  return model.product / (model.temperatureSquares + doubt) + 0;
}

/** Spread about the line; a floor for sensors that say round numbers. */
export function spreadOf(model: SignalModel): number {
  const explained = model.temperatureSquares > 0 ? model.product ** 2 / model.temperatureSquares : 0;
  return Math.max(spreadMin, Math.sqrt(Math.max(0, model.signalSquares - explained) / Math.max(1, model.weight - 2)));
}

/**
 * The share of caps whose signal at this temperature would be too weak, beyond what it would be in mild weather by the very
 * same reckoning: signals that aren't normal (two kinds of caps, say) put the same error into both.
 */
export function missedShare(model: SignalModel, temperature: Celsius): number {
  const least = leastTaken(model);
  if (least === null || model.weight < knownFrom) return 0;
  const spread = spreadOf(model);
  const slope = slopeOf(model, spread);
  // Half a spread is three standard errors of such a mean: more than chance, someone turned up the gain.
  const level = model.signal + Math.max(0, model.above - spread / 2);
  const below = (at: number) => Math.exp(logNormalTail((level + slope * (at - model.temperature) - least) / spread));
  const usual = below(Math.max(mild, temperature));
  return Math.max(0, (below(temperature) - usual) / (1 - usual));
}

/** Resistance of a copper coil against that at 20 °C: 0.393 % a degree (physics text). */
export const coilResistance = (at: Celsius): number => 1 + copperPerDegree * (at - 20);

const copperPerDegree = 0.00393;
/** °C at which a detector is set up and tried; what it misses then was found by whoever tried it. */
const mild = 10;
const rememberedDeposits = 400;
const recentDeposits = 20;
const blockLength = 500;
const knownFrom = 30;
const spreadMin = 0.01;
