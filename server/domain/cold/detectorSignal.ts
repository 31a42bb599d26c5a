import { logNormalTail, logSqrtTwoPi } from "../normalTail.ts";
import type { Celsius } from "../units.ts";

/**
 * How strong the signal of a cap is at each temperature: a straight line learnt from every accepted deposit, old ones fading.
 * Few numbers, so that they hold years.
 */
export interface SignalModel {
  /** The total weight of the deposits; each new one reduces the weight of the earlier ones. */
  readonly weight: number;
  readonly meanTemperature: number; // means, °C and 0..1
  readonly meanSignal: number;
  readonly temperatureSquares: number; // sums about the means
  readonly crossProducts: number;
  readonly signalSquares: number;
  /** Mean residual of the last twenty or so: it follows a change of the detector's gain sooner than the line. */
  readonly recentResidual: number;
  /** The smallest signals that were accepted as metal, in this block of deposits and the one before. */
  readonly smallest: number | null;
  readonly previousSmallest: number | null;
  readonly blockCount: number;
  /** Deposits in mild weather: their number, their variance about the line, and the smallest residual. */
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
  const keptShare = before.weight < depositsRememberedMax ? 1 : 1 - 1 / depositsRememberedMax;
  const weight = before.weight * keptShare + 1;
  const dTemperature = temperature - before.meanTemperature;
  const dSignal = signal - before.meanSignal;
  const isKnown = before.weight >= depositsKnownMin;
  const slope = isKnown ? signalSlope(before, residualSpread(before)) : 0;
  const residual = dSignal - slope * dTemperature;
  const isMild = isKnown && temperature >= mildCelsiusMin;
  const mildCount = isMild ? Math.min(before.mildCount + 1, depositsRememberedMax) : before.mildCount;
  const share = 1 - 1 / weight; // West 1979: a weighted mean and its squares, one value at a time
  const isBlockFull = before.blockCount >= blockLength;
  const smallest = isBlockFull ? null : before.smallest;
  return {
    weight,
    meanTemperature: before.meanTemperature + dTemperature / weight,
    meanSignal: before.meanSignal + dSignal / weight,
    temperatureSquares: keptShare * before.temperatureSquares + share * dTemperature * dTemperature,
    crossProducts: keptShare * before.crossProducts + share * dTemperature * dSignal + 0, // + 0: JSON has no minus zero
    signalSquares: keptShare * before.signalSquares + share * dSignal * dSignal,
    recentResidual: before.recentResidual + (residual - before.recentResidual) / Math.min(weight, recentDeposits) + 0,
    smallest: smallest === null ? signal : Math.min(smallest, signal),
    previousSmallest: isBlockFull ? before.smallest : before.previousSmallest,
    blockCount: isBlockFull ? 1 : before.blockCount + 1,
    mildCount,
    mildVariance: isMild
      ? before.mildVariance + (residual * residual - before.mildVariance) / mildCount
      : before.mildVariance,
    mildResidualMin: isMild
      ? Math.min(before.mildResidualMin * mildMinKeptShare, residual) + 0
      : before.mildResidualMin,
  };
}

/** The smallest signal that is known to be accepted as metal: a weaker one may be missed. Null before the first. */
export const smallestAcceptedSignal = ({ smallest, previousSmallest }: SignalModel): number | null =>
  smallest === null ? previousSmallest : previousSmallest === null ? smallest : Math.min(smallest, previousSmallest);

/**
 * Signal per °C. Copper alone moves a coil's quality, and with it the signal, by 0.4 % a degree; ferrite and capacitors add
 * to that with either sign. So the slope has a normal prior of that width about zero.
 */
export function signalSlope(model: SignalModel, spread: number): number {
  const width = copperPerDegree * model.meanSignal;
  const priorWeight = width === 0 ? Number.POSITIVE_INFINITY : (spread / width) ** 2;
  return model.crossProducts / (model.temperatureSquares + priorWeight) + 0;
}

/** Spread about the line; a floor for sensors that report round numbers. */
export function residualSpread(model: SignalModel): number {
  const explained = model.temperatureSquares > 0 ? model.crossProducts ** 2 / model.temperatureSquares : 0;
  return Math.max(spreadMin, Math.sqrt(Math.max(0, model.signalSquares - explained) / Math.max(1, model.weight - 2)));
}

/**
 * The share of caps whose signal at this temperature would be too weak, by the normal tail, beyond the same share in mild
 * weather, when the detector is known to work. So signals that aren't normally distributed (a narrow slot keeps caps close to the
 * coil, there are two kinds of caps) cause no error: it is the same in both.
 */
export function missedShare(model: SignalModel, temperature: Celsius): number {
  return shareBeyondMild(model, temperature, normalTail);
}

/**
 * The same, corrected for what is lost: the accepted signals are only the upper part, so their mean lies too high, and the mean of
 * a truncated normal corrects it. More accurate than the other, and less stable where little is missed.
 */
export function estimatedMissedShare(model: SignalModel, temperature: Celsius): number {
  return shareBeyondMild(model, temperature, truncatedTail);
}

/** `shareOf`: the share missed, by how many deviations the mean of the accepted signals lies above the limit. */
function shareBeyondMild(model: SignalModel, temperature: Celsius, shareOf: (deviations: number) => number): number {
  const smallest = smallestAcceptedSignal(model);
  if (smallest === null || model.mildCount < depositsKnownMin || temperature >= mildCelsiusMin) return 0;
  const spread = Math.max(spreadMin, Math.sqrt(model.mildVariance));
  const slope = signalSlope(model, spread);
  // Half a spread is three standard errors of such a mean: more than chance, the gain was increased.
  const mean = model.meanSignal + Math.max(0, model.recentResidual - spread / 2);
  const tooWeakShare = shareOf((mean + slope * (temperature - model.meanTemperature) - smallest) / spread);
  const usualShare = shareOf(-model.mildResidualMin / spread);
  return Math.max(0, (tooWeakShare - usualShare) / (1 - usualShare));
}

/** The mean of a standard normal that is cut at a lies φ(a)/(1 − Φ(a)) - a above the cut; by halving, since it only falls. */
function truncatedTail(deviations: number): number {
  let [low, high] = [-8, 2];
  while (high - low > 1e-3) {
    const cut = (low + high) / 2;
    const meanAbove = Math.exp(-0.5 * cut * cut - logSqrtTwoPi - logNormalTail(cut)) - cut;
    if (meanAbove > deviations) low = cut;
    else high = cut;
  }
  return normalTail(-low);
}

const normalTail = (x: number): number => Math.exp(logNormalTail(x));

/** Resistance of a copper coil against that at 20 °C: 0.393 % a degree (physics text). */
export const relativeCoilResistance = (at: Celsius): number => 1 + copperPerDegree * (at - 20);

const copperPerDegree = 0.00393;
/** °C from which a working detector is assumed to miss nothing. */
const mildCelsiusMin = 3;
/** So that one unusual cap doesn't count forever. */
const mildMinKeptShare = 1 - 1 / 4_000;
const depositsRememberedMax = 400;
const recentDeposits = 20;
const blockLength = 500;
const depositsKnownMin = 30;
const spreadMin = 0.01;
