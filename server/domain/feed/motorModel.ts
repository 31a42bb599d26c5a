import { type Instant, inHours, type Span } from "../instant.ts";
import type { Celsius, Milliamps } from "../units.ts";
import type { Hypothesis } from "./faultSignatures.ts";

/**
 * What the motor draws on portions that go well. Currents are compared by their logarithm: cold grease and a weak supply
 * change them by a factor. Value and slope on temperature are learnt together by a Kalman filter, which is least squares
 * that forgets (Welch & Bishop, TR 95-041); without a temperature the filter only forgets faster.
 */
export interface MotorModel {
  readonly portionsLearnt: number; // portions learnt from, at most `portionsRememberedMax`
  readonly meanLogCurrent: number; // ln(mA) at `reference`
  readonly slope: number; // of ln(mA), per kelvin
  readonly meanVariance: number;
  readonly slopeVariance: number;
  readonly covariance: number;
  readonly variance: number; // of ln(mA), from portion to portion
  readonly referenceCelsius: number | null; // °C; null until a temperature was reported
  readonly lastCelsius: number | null; // as last reported
  readonly learntAt: Instant | null; // the last portion that was learnt from
  readonly lastMilliamps: number | null; // of the last portion; null where it reported none
  readonly lastPeakMilliamps: number | null; // of the same portion
  readonly step: number; // mA, by which its meter's values differ at the least; 0 while that isn't known
  /** Offset of currents that weren't learnt from, if grease and weather explain it; null: the last was learnt from. */
  readonly unlearntOffset: CurrentOffset | null;
  /** The first well-known model, to measure wear against; left out until then. */
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
  lastPeakMilliamps: null,
  step: 0,
  unlearntOffset: null,
};

/** The usual current is unknown before so many portions. */
const portionsKnownMin = 8;
const portionsRememberedMax = 100;
const earlyOutlierMin = 0.5;
/** A meter of 8 bit and a supply of a few volts leave at least such a spread. Common practice, no source. */
const spreadMin = 0.025;
const spreadMax = 0.3;
/** What grease, wear and supply do by themselves, as spread of ln(mA) after an hour; more where no temperature is reported. */
const driftPerHour = 0.008;
const driftPerHourUnmeasured = 0.033;
const driftVarianceMax = 0.15 ** 2;
const offsetMax = 0.15;

export interface ExpectedCurrent {
  readonly mean: number; // of ln(mA), as learnt
  readonly variance: number; // variance of one portion around its mean
  /** Where a healthy motor's mean may be by now against the learnt one, with its variance; the same for all portions. */
  readonly shift: number;
  readonly shiftVariance: number;
  readonly shiftVarianceGrowth: number; // by which that variance has grown since the last portion
  readonly step: number; // of ln(mA), by the meter: what differs by less says nothing
}

/** What a loaded tray should draw now; null while too few portions were seen. `drawn`: what it did, which may be the first to show the meter's step. */
export function expectedCurrent(
  motor: MotorModel,
  at: Instant,
  inside: Celsius | null,
  drawn: Milliamps,
): ExpectedCurrent | null {
  if (motor.portionsLearnt < portionsKnownMin) return null;
  const kelvinAboveReference = degreesAboveReference(motor, inside);
  const mean = motor.meanLogCurrent + motor.slope * kelvinAboveReference;
  const { unlearntOffset } = motor;
  const step = Math.min(updatedMeterStep(motor, drawn) / Math.exp(mean), meterStepShareMax);
  if (unlearntOffset === null) {
    const addedVariance = driftVariance(motor.learntAt, at, inside);
    return {
      mean,
      variance: motor.variance,
      shift: 0,
      shiftVariance: meanVarianceAt(motor, kelvinAboveReference) + addedVariance,
      shiftVarianceGrowth: addedVariance,
      step,
    };
  }
  const addedVariance = driftVariance(unlearntOffset.at, at, inside);
  return {
    mean,
    variance: motor.variance,
    shift: unlearntOffset.shift,
    shiftVariance: unlearntOffset.variance + addedVariance,
    shiftVarianceGrowth: addedVariance,
    step,
  };
}

/**
 * A meter of few bits shows the same value for a day and the next one for another: that is no change of the motor. Readings of a fine meter
 * differ by little, which one lucky pair must not hide.
 */
function updatedMeterStep({ step, lastMilliamps }: MotorModel, drawn: Milliamps): number {
  const difference = lastMilliamps === null ? 0 : Math.abs(drawn - lastMilliamps);
  if (difference < meterStepMin || difference > meterStepShareMax * drawn) return step;
  return step === 0 || difference < step ? difference : Math.min(difference, step * meterStepGrowth);
}
const meterStepMin = 0.05; // mA
const meterStepGrowth = 1.02; // a reading, towards what is seen
/** No meter is so coarse that a seventh more would be one step of it. Our choice. */
const meterStepShareMax = 0.15;

/** ln(mA), never minus infinity: a wire that is off reads zero. */
export const logCurrent = (current: Milliamps): number => Math.log(Math.max(current, 1));

/** The motor is healthy now. `didFoodFall`: food was seen to fall, so whatever current the motor drew is healthy. */
export function updateMotorModel(
  motor: MotorModel,
  current: Milliamps,
  at: Instant,
  inside: Celsius | null,
  didFoodFall: boolean,
): MotorModel {
  const drawn = logCurrent(current);
  if (motor.portionsLearnt === 0) return firstMotorModel(motor, current, at, inside);
  const kelvinAboveReference = degreesAboveReference(motor, inside);
  if (!didFoodFall && isEarlyOutlier(motor, drawn)) return recordMilliamps(motor, current);
  const valueVariance = Math.min(motor.meanVariance + driftVariance(motor.learntAt, at, inside), 1);
  const meanCovariance = valueVariance + motor.covariance * kelvinAboveReference;
  const slopeCovariance = motor.covariance + motor.slopeVariance * kelvinAboveReference;
  const meanVariance = Math.max(meanCovariance + slopeCovariance * kelvinAboveReference, 0);
  const residual = drawn - motor.meanLogCurrent - motor.slope * kelvinAboveReference;
  const expectedVariance = meanVariance + motor.variance;
  // Another motor or supply: food falls, so this is usual from now on.
  const isReplaced = didFoodFall && residual * residual > 16 * expectedVariance;
  const addedVariance = isReplaced ? residual * residual : 0;
  const portionsLearnt = Math.min(motor.portionsLearnt + 1, portionsRememberedMax);
  const gain = (meanCovariance + addedVariance) / (expectedVariance + addedVariance);
  const slopeGain = isReplaced ? 0 : slopeCovariance / expectedVariance;
  return {
    portionsLearnt,
    meanLogCurrent: motor.meanLogCurrent + gain * residual,
    slope: motor.slope + slopeGain * residual,
    meanVariance: Math.max(valueVariance + addedVariance - gain * (meanCovariance + addedVariance), 1e-6),
    slopeVariance: Math.max(motor.slopeVariance - slopeGain * slopeCovariance, 1e-8),
    covariance: motor.covariance - gain * slopeCovariance,
    variance: updatedPortionVariance(motor, residual, expectedVariance, portionsLearnt),
    referenceCelsius: motor.referenceCelsius ?? inside,
    lastCelsius: inside ?? motor.lastCelsius,
    learntAt: at,
    lastMilliamps: current,
    lastPeakMilliamps: motor.lastPeakMilliamps,
    step: updatedMeterStep(motor, current),
    unlearntOffset: null,
    ...updateMotorBaseline(motor, isReplaced, portionsLearnt, at),
  };
}

/** With few portions the usual current is unknown: an outlier is not learnt unless food was seen to fall. */
const isEarlyOutlier = ({ portionsLearnt, meanLogCurrent }: MotorModel, drawn: number): boolean =>
  portionsLearnt < portionsKnownMin && Math.abs(drawn - meanLogCurrent) > earlyOutlierMin;

const firstMotorModel = (motor: MotorModel, current: Milliamps, at: Instant, inside: Celsius | null): MotorModel => ({
  ...motor,
  meanLogCurrent: logCurrent(current),
  meanVariance: motor.variance,
  referenceCelsius: motor.referenceCelsius ?? inside,
  lastCelsius: inside,
  learntAt: at,
  portionsLearnt: 1,
  lastMilliamps: current,
});

function updatedPortionVariance(
  motor: MotorModel,
  residual: number,
  expectedVariance: number,
  portionsLearnt: number,
): number {
  const surprise = Math.min(residual * residual, 9 * expectedVariance) - expectedVariance;
  const variance = motor.variance + surprise / (portionsLearnt + 10);
  return Math.min(Math.max(variance, spreadMin * spreadMin), spreadMax * spreadMax);
}

/** A day's portions or so, and a mean with a standard deviation of at most a twentieth. Common practice, no source. */
const baselinePortionsMin = 30;
const baselineVarianceMax = 0.05 ** 2;

/** The first model of this motor: another motor or supply starts again. */
function updateMotorBaseline(
  motor: MotorModel,
  isReplaced: boolean,
  portionsLearnt: number,
  at: Instant,
): Pick<MotorModel, "baseline"> {
  if (isReplaced) return {};
  if (motor.baseline !== undefined) return { baseline: { ...motor.baseline, portions: motor.baseline.portions + 1 } };
  if (portionsLearnt < baselinePortionsMin || motor.meanVariance > baselineVarianceMax) return {};
  return { baseline: { meanLogCurrent: motor.meanLogCurrent, variance: motor.meanVariance, at, portions: 0 } };
}

export interface CurrentDrift {
  readonly logRatio: number; // of today's current over the first, at one temperature
  readonly share: number; // the same as a share: 0.25 is a quarter more
  readonly deviation: number; // standard deviation of `logRatio`
  readonly since: Instant;
  readonly portions: number;
}

/** The change of the motor's current since the baseline; null while that isn't known. */
export function currentDrift({ baseline, meanLogCurrent, meanVariance }: MotorModel): CurrentDrift | null {
  if (baseline === undefined) return null;
  const logRatio = meanLogCurrent - baseline.meanLogCurrent;
  const deviation = Math.sqrt(meanVariance + baseline.variance);
  return { logRatio, share: Math.expm1(logRatio), deviation, since: baseline.at, portions: baseline.portions };
}

/** A current that isn't learnt from, since a fault may cause it. If the weather does, the next one is expected near it. */
export function recordUnlearntCurrent(
  motor: MotorModel,
  current: Milliamps,
  at: Instant,
  expectedVariance: ExpectedCurrent | null,
): MotorModel {
  if (expectedVariance === null) return recordMilliamps(motor, current);
  const residualVariance = expectedVariance.shiftVariance + expectedVariance.variance;
  const gain = expectedVariance.shiftVariance / residualVariance;
  // Weather doesn't halve or treble a current: what lies further off is not learnt.
  const residualMax = 2 * Math.sqrt(residualVariance);
  const residual = clampWithin(logCurrent(current) - expectedVariance.mean - expectedVariance.shift, residualMax);
  const shift = clampWithin(expectedVariance.shift + gain * residual, offsetMax);
  const unlearntOffset = { shift, variance: (1 - gain) * expectedVariance.shiftVariance, at };
  return { ...recordMilliamps(motor, current), unlearntOffset };
}

export const recordPeak = (motor: MotorModel, peak: Milliamps | null): MotorModel =>
  motor.lastPeakMilliamps === peak ? motor : { ...motor, lastPeakMilliamps: peak };

const recordMilliamps = (motor: MotorModel, current: Milliamps): MotorModel => ({
  ...motor,
  lastMilliamps: current,
  step: updatedMeterStep(motor, current),
});

/** What this motor usually draws, mA, at the temperature last reported; null while too few portions were seen. */
export const usualCurrent = (motor: MotorModel): number | null =>
  motor.portionsLearnt < portionsKnownMin
    ? null
    : Math.exp(motor.meanLogCurrent + motor.slope * degreesAboveReference(motor, null));

/** Of what it usually draws: common practice, no source. A blocked motor draws several times as much, one with a wire off next to nothing. */
const blockedRatioMin = 1.6;
const stillRatioMax = 0.5;

/** Whether the last current is a sign that no healthy motor gives: only this one, or a tray that is jammed so hard that it nearly blocks the motor. */
export function isProvenByCurrent(motor: MotorModel, hypothesis: Hypothesis): boolean {
  const ratio = currentRatio(motor);
  if (ratio === null) return false;
  return (
    (hypothesis === "motorStalled" && ratio >= blockedRatioMin && !hasStarted(motor)) ||
    (hypothesis === "trayJammed" && ratio >= blockedRatioMin) ||
    (hypothesis === "motorNotTurning" && ratio <= stillRatioMax)
  );
}

/**
 * A motor draws its stall current as it starts and less as soon as it turns (textbook; Krishnan, Electric Motor Drives, ch. 2, from memory). One that
 * is blocked goes on drawing it: whose mean is well below its peak has turned.
 */
function hasStarted({ lastMilliamps, lastPeakMilliamps }: MotorModel): boolean {
  return lastMilliamps !== null && lastPeakMilliamps !== null && lastMilliamps < startedShare * lastPeakMilliamps;
}
const startedShare = 0.8;

/** Whether the last current is plain evidence against it. */
export function isRefutedByCurrent(motor: MotorModel, hypothesis: Hypothesis): boolean {
  if (hypothesis === "motorStalled" && hasStarted(motor)) return true;
  const isOfMotor = hypothesis === "motorStalled" || hypothesis === "motorNotTurning";
  return isOfMotor && currentRatio(motor) !== null && !isProvenByCurrent(motor, hypothesis);
}

/** The last current as a share of the usual one; null while either isn't known. */
function currentRatio(motor: MotorModel): number | null {
  const usual = usualCurrent(motor);
  return usual === null || motor.lastMilliamps === null ? null : motor.lastMilliamps / usual;
}

const clampWithin = (value: number, residualMax: number): number =>
  Math.min(Math.max(value, -residualMax), residualMax);

function degreesAboveReference(motor: MotorModel, inside: Celsius | null): number {
  const celsius = inside ?? motor.lastCelsius;
  return celsius === null || motor.referenceCelsius === null ? 0 : celsius - motor.referenceCelsius;
}

const meanVarianceAt = (motor: MotorModel, kelvinAboveReference: number): number =>
  Math.max(
    motor.meanVariance +
      2 * motor.covariance * kelvinAboveReference +
      motor.slopeVariance * kelvinAboveReference * kelvinAboveReference,
    0,
  );

function driftVariance(from: Instant | null, at: Instant, inside: Celsius | null): number {
  if (from === null || at <= from) return 0;
  const perHour = inside === null ? driftPerHourUnmeasured : driftPerHour;
  return Math.min(perHour * perHour * inHours((at - from) as Span), driftVarianceMax);
}
