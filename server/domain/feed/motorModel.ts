import { type Instant, inHours, type Span } from "../instant.ts";
import type { Celsius, Milliamps } from "../units.ts";

/**
 * What the motor draws on portions that go well. Currents are compared by their logarithm: cold grease and a weak supply
 * change them by a factor. Value and slope on temperature are learnt together by a Kalman filter, which is least squares
 * that forgets (Welch & Bishop, TR 95-041); a temperature that isn't told only makes the filter trust its memory for less long.
 */
export interface MotorModel {
  readonly portionsLearnt: number; // portions learnt from, at most `portionsRemembered`
  readonly meanLogCurrent: number; // ln(mA) at `reference`
  readonly slope: number; // of ln(mA), per kelvin
  readonly meanVariance: number;
  readonly slopeVariance: number;
  readonly covariance: number;
  readonly variance: number; // of ln(mA), from portion to portion
  readonly referenceCelsius: number | null; // °C; null until a temperature was told
  readonly lastCelsius: number | null; // as last told
  readonly learntAt: Instant | null; // the last portion that was learnt from
  readonly lastMilliamps: number | null;
  /** How far off currents have been that weren't learnt from, if all of it is grease and weather; null: the last was learnt from. */
  readonly unlearntOffset: CurrentOffset | null;
  /** As it was first well known, to tell wear by; left out until then, and of habits from before it was kept. */
  readonly baseline?: MotorBaseline;
}

export interface MotorBaseline {
  readonly meanLogCurrent: number; // ln(mA) at `reference`
  readonly variance: number; // of that
  readonly at: Instant;
  readonly portions: number; // learnt from since then
}

export interface CurrentOffset {
  readonly shift: number; // of ln(mA)
  readonly variance: number;
  readonly at: Instant;
}

export const initialMotorModel: MotorModel = {
  portionsLearnt: 0,
  meanLogCurrent: 0,
  slope: 0,
  meanVariance: 1,
  slopeVariance: 0.01 ** 2, // cold grease: up to 1 % a kelvin, common practice, no source
  covariance: 0,
  variance: 0.07 ** 2,
  referenceCelsius: null,
  lastCelsius: null,
  learntAt: null,
  lastMilliamps: null,
  unlearntOffset: null,
};

/** Nothing is said about a current before so many portions went well. */
const portionsKnownMin = 8;
const portionsRememberedMax = 100;
const outlierShareAtFirst = 0.5;
/** A meter of 8 bit and a supply of a few volts leave at least such a spread. Common practice, no source. */
const spreadMin = 0.025;
const spreadMax = 0.3;
/** What grease, wear and supply do by themselves, as spread of ln(mA) after an hour; more where nobody tells how cold it is. */
const wanderPerHour = 0.008;
const wanderPerHourUnmeasured = 0.033;
const wanderMax = 0.15 ** 2;
const offsetMax = 0.15;

export interface ExpectedCurrent {
  readonly mean: number; // of ln(mA), as learnt
  readonly variance: number; // variance of one portion around its mean
  /** Where a healthy motor's mean may be by now against the learnt one, and the doubt of that (a variance), the same one for all portions. */
  readonly shift: number;
  readonly shiftVariance: number;
  readonly shiftVarianceGrowth: number; // by which that doubt has grown since the last portion
}

/** What a loaded tray should draw now; null while too few portions were seen. */
export function expectedCurrent(motor: MotorModel, at: Instant, inside: Celsius | null): ExpectedCurrent | null {
  if (motor.portionsLearnt < portionsKnownMin) return null;
  const warmth = degreesAboveReference(motor, inside);
  const mean = motor.meanLogCurrent + motor.slope * warmth;
  const { unlearntOffset } = motor;
  if (unlearntOffset === null) {
    const wander = wanderVariance(motor.learntAt, at, inside);
    return {
      mean,
      variance: motor.variance,
      shift: 0,
      shiftVariance: meanVarianceAt(motor, warmth) + wander,
      shiftVarianceGrowth: wander,
    };
  }
  const wander = wanderVariance(unlearntOffset.at, at, inside);
  return {
    mean,
    variance: motor.variance,
    shift: unlearntOffset.shift,
    shiftVariance: unlearntOffset.variance + wander,
    shiftVarianceGrowth: wander,
  };
}

/** ln(mA), never minus infinity: a wire that is off reads zero. */
export const logCurrent = (current: Milliamps): number => Math.log(Math.max(current, 1));

/** This is what health looks like now. `surely`: food was seen to fall, so whatever the motor drew is healthy. */
export function updateMotorModel(
  motor: MotorModel,
  current: Milliamps,
  at: Instant,
  inside: Celsius | null,
  surely: boolean,
): MotorModel {
  const drawn = logCurrent(current);
  const reference = motor.referenceCelsius ?? inside;
  if (motor.portionsLearnt === 0) {
    const first = {
      meanLogCurrent: drawn,
      meanVariance: motor.variance,
      referenceCelsius: reference,
      lastCelsius: inside,
      learntAt: at,
    };
    return { ...motor, ...first, portionsLearnt: 1, lastMilliamps: current };
  }
  const warmth = degreesAboveReference(motor, inside);
  // So early nobody can say what is usual: what is far off the first portions is not learnt unless food was seen to fall.
  if (
    motor.portionsLearnt < portionsKnownMin &&
    !surely &&
    Math.abs(drawn - motor.meanLogCurrent) > outlierShareAtFirst
  ) {
    return { ...motor, lastMilliamps: current };
  }
  const valueVariance = Math.min(motor.meanVariance + wanderVariance(motor.learntAt, at, inside), 1);
  const crossed = valueVariance + motor.covariance * warmth;
  const slopeCrossed = motor.covariance + motor.slopeVariance * warmth;
  const meanVariance = Math.max(crossed + slopeCrossed * warmth, 0);
  const off = drawn - motor.meanLogCurrent - motor.slope * warmth;
  const foreseen = meanVariance + motor.variance;
  // Another motor, another supply: food falls, so this is usual from now on.
  const anew = surely && off * off > 16 * foreseen ? off * off : 0;
  const total = foreseen + anew;
  const learnt = Math.min(motor.portionsLearnt + 1, portionsRememberedMax);
  const spread = motor.variance + (Math.min(off * off, 9 * foreseen) - foreseen) / (learnt + 10);
  const gain = (crossed + anew) / total;
  const slopeGain = anew > 0 ? 0 : slopeCrossed / total;
  return {
    portionsLearnt: learnt,
    meanLogCurrent: motor.meanLogCurrent + gain * off,
    slope: motor.slope + slopeGain * off,
    meanVariance: Math.max(valueVariance + anew - gain * (crossed + anew), 1e-6),
    slopeVariance: Math.max(motor.slopeVariance - slopeGain * slopeCrossed, 1e-8),
    covariance: motor.covariance - gain * slopeCrossed,
    variance: Math.min(Math.max(spread, spreadMin * spreadMin), spreadMax * spreadMax),
    referenceCelsius: reference,
    lastCelsius: inside ?? motor.lastCelsius,
    learntAt: at,
    lastMilliamps: current,
    unlearntOffset: null,
    ...updateMotorBaseline(motor, anew > 0, learnt, at),
  };
}

/** A day's portions or so, and a value that isn't in doubt by more than a twentieth. Common practice, no source. */
const baselinePortionsMin = 30;
const baselineVarianceMax = 0.05 ** 2;

/** The first habit of this very motor: another one, or another supply, begins anew. */
function updateMotorBaseline(
  motor: MotorModel,
  anew: boolean,
  learnt: number,
  at: Instant,
): Pick<MotorModel, "baseline"> {
  if (anew) return {};
  if (motor.baseline !== undefined) return { baseline: { ...motor.baseline, portions: motor.baseline.portions + 1 } };
  if (learnt < baselinePortionsMin || motor.meanVariance > baselineVarianceMax) return {};
  return { baseline: { meanLogCurrent: motor.meanLogCurrent, variance: motor.meanVariance, at, portions: 0 } };
}

export interface CurrentDrift {
  readonly logRatio: number; // of today's current over the first, at one temperature
  readonly share: number; // the same as a share: 0.25 is a quarter more
  readonly deviation: number; // standard deviation of `log`
  readonly since: Instant;
  readonly portions: number;
}

/** How far what the motor draws has moved from what it drew at first; null while that isn't known. */
export function currentDrift({ baseline, meanLogCurrent, meanVariance }: MotorModel): CurrentDrift | null {
  if (baseline === undefined) return null;
  const log = meanLogCurrent - baseline.meanLogCurrent;
  const doubt = Math.sqrt(meanVariance + baseline.variance);
  return { logRatio: log, share: Math.expm1(log), deviation: doubt, since: baseline.at, portions: baseline.portions };
}

/** A current that isn't learnt from: it may be a fault's. If it is the weather's after all, the next is foreseen from it. */
export function recordUnlearntCurrent(
  motor: MotorModel,
  current: Milliamps,
  at: Instant,
  foreseen: ExpectedCurrent | null,
): MotorModel {
  if (foreseen === null) return { ...motor, lastMilliamps: current };
  const total = foreseen.shiftVariance + foreseen.variance;
  const gain = foreseen.shiftVariance / total;
  // Weather doesn't halve or treble a current: what lies further off is no lesson about it.
  const most = 2 * Math.sqrt(total);
  const off = clampWithin(logCurrent(current) - foreseen.mean - foreseen.shift, most);
  const shift = clampWithin(foreseen.shift + gain * off, offsetMax);
  const strayed = { shift, variance: (1 - gain) * foreseen.shiftVariance, at };
  return { ...motor, lastMilliamps: current, unlearntOffset: strayed };
}

/** What this motor usually draws, mA, at the temperature last told; null while too few portions were seen. */
export const usualCurrent = (motor: MotorModel): number | null =>
  motor.portionsLearnt < portionsKnownMin
    ? null
    : Math.exp(motor.meanLogCurrent + motor.slope * degreesAboveReference(motor, null));

const clampWithin = (value: number, most: number): number => Math.min(Math.max(value, -most), most);

function degreesAboveReference(motor: MotorModel, inside: Celsius | null): number {
  const celsius = inside ?? motor.lastCelsius;
  return celsius === null || motor.referenceCelsius === null ? 0 : celsius - motor.referenceCelsius;
}

const meanVarianceAt = (motor: MotorModel, warmth: number): number =>
  Math.max(motor.meanVariance + 2 * motor.covariance * warmth + motor.slopeVariance * warmth * warmth, 0);

function wanderVariance(from: Instant | null, at: Instant, inside: Celsius | null): number {
  if (from === null || at <= from) return 0;
  const perHour = inside === null ? wanderPerHourUnmeasured : wanderPerHour;
  return Math.min(perHour * perHour * inHours((at - from) as Span), wanderMax);
}
