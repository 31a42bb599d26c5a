import { logNormalTail, logSqrtTwoPi } from "../normalTail.ts";
import type { Celsius } from "../units.ts";

/**
 * How strong a cap looks to the detector, and how that goes with the temperature: a straight line learnt from every deposit
 * that it took, old ones fading. Few numbers, so that a feeder remembers years in them.
 */
export interface SignalModel {
  /** How much the deposits weigh together; each new one takes a little from all that were before. */
  readonly weight: number;
  readonly meanTemperature: number; // means, °C and 0..1
  readonly meanSignal: number;
  readonly temperatureSquares: number; // sums about the means
  readonly crossProducts: number;
  readonly signalSquares: number;
  /** How far the last twenty or so lie above the line: who turns up the detector's gain need not wait for the line. */
  readonly recentResidual: number;
  /** The smallest signals that were taken as metal, in this block of deposits and the one before. */
  readonly smallest: number | null;
  readonly previousSmallest: number | null;
  readonly blockCount: number;
  /** How many fell in mild weather, how they spread about the line, and how far off it the weakest of them lay. */
  readonly mildCount: number;
  readonly mildVariance: number;
  readonly mildResidualMin: number;
}

export const initialSignalModel = (): SignalModel => ({
  weight: 0,
  meanTemperature: 0,
  meanSignal: 0,
  temperatureSquares: 0,
  crossProducts: 0,
  signalSquares: 0,
  recentResidual: 0,
  smallest: null,
  previousSmallest: null,
  blockCount: 0,
  mildCount: 0,
  mildVariance: 0,
  mildResidualMin: 0,
});

export function updateSignalModel(before: SignalModel, signal: number, temperature: Celsius): SignalModel {
  const fade = before.weight < rememberedDeposits ? 1 : 1 - 1 / rememberedDeposits;
  const weight = before.weight * fade + 1;
  const dTemperature = temperature - before.meanTemperature;
  const dSignal = signal - before.meanSignal;
  const known = before.weight >= knownFrom;
  const steepness = known ? signalSlope(before, residualSpread(before)) : 0;
  const offLine = dSignal - steepness * dTemperature;
  const isMild = known && temperature >= mildFrom;
  const mildCount = isMild ? Math.min(before.mildCount + 1, rememberedDeposits) : before.mildCount;
  const share = 1 - 1 / weight; // West 1979: a weighted mean and its squares, one value at a time
  const turned = before.blockCount >= blockLength;
  const least = turned ? null : before.smallest;
  return {
    weight,
    meanTemperature: before.meanTemperature + dTemperature / weight,
    meanSignal: before.meanSignal + dSignal / weight,
    temperatureSquares: fade * before.temperatureSquares + share * dTemperature * dTemperature,
    crossProducts: fade * before.crossProducts + share * dTemperature * dSignal + 0, // + 0: JSON has no minus zero
    signalSquares: fade * before.signalSquares + share * dSignal * dSignal,
    recentResidual: before.recentResidual + (offLine - before.recentResidual) / Math.min(weight, recentDeposits) + 0,
    smallest: least === null ? signal : Math.min(least, signal),
    previousSmallest: turned ? before.smallest : before.previousSmallest,
    blockCount: turned ? 1 : before.blockCount + 1,
    mildCount,
    mildVariance: isMild
      ? before.mildVariance + (offLine * offLine - before.mildVariance) / mildCount
      : before.mildVariance,
    mildResidualMin: isMild ? Math.min(before.mildResidualMin * mildFades, offLine) + 0 : before.mildResidualMin,
  };
}

/** The smallest signal that is known to be taken as metal: what is weaker may pass unseen. Null before the first. */
export const smallestAcceptedSignal = ({ smallest, previousSmallest }: SignalModel): number | null =>
  smallest === null ? previousSmallest : previousSmallest === null ? smallest : Math.min(smallest, previousSmallest);

/**
 * Signal per °C. Copper alone moves a coil's quality, and with it the signal, by 0.4 % a degree; ferrite and capacitors add
 * to that with either sign. So that is how far a few deposits are believed (a normal prior of that width about no slope).
 */
export function signalSlope(model: SignalModel, spread: number): number {
  const width = copperPerDegree * model.meanSignal;
  const doubt = width === 0 ? Number.POSITIVE_INFINITY : (spread / width) ** 2;
  return model.crossProducts / (model.temperatureSquares + doubt) + 0;
}

/** Spread about the line; a floor for sensors that say round numbers. */
export function residualSpread(model: SignalModel): number {
  const explained = model.temperatureSquares > 0 ? model.crossProducts ** 2 / model.temperatureSquares : 0;
  return Math.max(spreadMin, Math.sqrt(Math.max(0, model.signalSquares - explained) / Math.max(1, model.weight - 2)));
}

/**
 * The share of caps whose signal at this temperature would be too weak, by the normal tail, beyond what the same reckoning
 * says of mild weather, when whoever set the detector up saw that it heard. So signals that aren't normal are forgiven: what
 * always ends near its mean (a narrow slot keeps caps close to the coil, two kinds of caps lie apart) puts the same into both.
 */
export function missedShare(model: SignalModel, temperature: Celsius): number {
  return shareBeyondMild(model, temperature, normalTail);
}

/**
 * The same set right for what is lost: what was taken is but the upper part of what fell, so that its mean lies above the
 * truth, and by the mean of a cut normal the truth is told. Nearer than the other and less steady where little is missed.
 */
export function estimatedMissedShare(model: SignalModel, temperature: Celsius): number {
  return shareBeyondMild(model, temperature, truncatedTail);
}

/** `shareOf`: of what is missed, by how many spreads the mean of what was taken lies above the limit. */
function shareBeyondMild(model: SignalModel, temperature: Celsius, shareOf: (above: number) => number): number {
  const least = smallestAcceptedSignal(model);
  if (least === null || model.mildCount < knownFrom || temperature >= mildFrom) return 0;
  const spread = Math.max(spreadMin, Math.sqrt(model.mildVariance));
  const slope = signalSlope(model, spread);
  // Half a spread is three standard errors of such a mean: more than chance, someone turned up the gain.
  const level = model.meanSignal + Math.max(0, model.recentResidual - spread / 2);
  const tooWeak = shareOf((level + slope * (temperature - model.meanTemperature) - least) / spread);
  const usual = shareOf(-model.mildResidualMin / spread);
  return Math.max(0, (tooWeak - usual) / (1 - usual));
}

/** The mean of a standard normal that is cut at a lies φ(a)/(1 − Φ(a)) - a above the cut; by halving, since it only falls. */
function truncatedTail(above: number): number {
  let [low, high] = [-8, 2];
  while (high - low > 1e-3) {
    const cut = (low + high) / 2;
    const meanAbove = Math.exp(-0.5 * cut * cut - logSqrtTwoPi - logNormalTail(cut)) - cut;
    if (meanAbove > above) low = cut;
    else high = cut;
  }
  return normalTail(-low);
}

const normalTail = (x: number): number => Math.exp(logNormalTail(x));

/** Resistance of a copper coil against that at 20 °C: 0.393 % a degree (physics text). */
export const relativeCoilResistance = (at: Celsius): number => 1 + copperPerDegree * (at - 20);

const copperPerDegree = 0.00393;
/** °C from which nothing is taken to be wrong with a detector that hears at all. */
const mildFrom = 3;
/** So that one odd cap doesn't stay the measure for ever. */
const mildFades = 1 - 1 / 4_000;
const rememberedDeposits = 400;
const recentDeposits = 20;
const blockLength = 500;
const knownFrom = 30;
const spreadMin = 0.01;
