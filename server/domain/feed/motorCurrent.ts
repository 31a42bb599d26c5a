import { type Instant, inHours, type Span } from "../instant.ts";
import type { Celsius, Milliamps } from "../units.ts";

/**
 * What the motor draws on portions that go well. Currents are compared by their logarithm: cold grease and a weak supply
 * change them by a factor. Value and slope on temperature are learnt together by a Kalman filter, which is least squares
 * that forgets (Welch & Bishop, TR 95-041); a temperature that isn't told only makes the filter trust its memory for less long.
 */
export interface MotorHabit {
  readonly learnt: number; // portions learnt from, at most `portionsRemembered`
  readonly value: number; // ln(mA) at `reference`
  readonly slope: number; // of ln(mA), per kelvin
  readonly valueVariance: number;
  readonly slopeVariance: number;
  readonly covariance: number;
  readonly variance: number; // of ln(mA), from portion to portion
  readonly reference: number | null; // °C; null until a temperature was told
  readonly celsius: number | null; // as last told
  readonly at: Instant | null; // the last portion that was learnt from
  readonly lastMilliamps: number | null;
  /** How far off currents have been that weren't learnt from, if all of it is grease and weather; null: the last was learnt from. */
  readonly strayed: Strayed | null;
  /** As it was first well known, to tell wear by; left out until then, and of habits from before it was kept. */
  readonly first?: FirstHabit;
}

export interface FirstHabit {
  readonly value: number; // ln(mA) at `reference`
  readonly variance: number; // of that
  readonly at: Instant;
  readonly portions: number; // learnt from since then
}

export interface Strayed {
  readonly shift: number; // of ln(mA)
  readonly variance: number;
  readonly at: Instant;
}

export const unknownMotor: MotorHabit = {
  learnt: 0,
  value: 0,
  slope: 0,
  valueVariance: 1,
  slopeVariance: 0.01 ** 2, // cold grease: up to 1 % a kelvin, common practice, no source
  covariance: 0,
  variance: 0.07 ** 2,
  reference: null,
  celsius: null,
  at: null,
  lastMilliamps: null,
  strayed: null,
};

/** Nothing is said about a current before so many portions went well. */
const portionsNeeded = 8;
const portionsRemembered = 100;
const oddAtFirst = 0.5;
/** A meter of 8 bit and a supply of a few volts leave at least such a spread. Common practice, no source. */
const spreadMin = 0.025;
const spreadMax = 0.3;
/** What grease, wear and supply do by themselves, as spread of ln(mA) after an hour; more where nobody tells how cold it is. */
const wanderPerHour = 0.008;
const wanderPerHourUntold = 0.033;
const wanderMax = 0.15 ** 2;
const strayedMost = 0.15;

export interface CurrentForeseen {
  readonly mean: number; // of ln(mA), as learnt
  readonly spread: number; // variance of one portion around its mean
  /** Where a healthy motor's mean may be by now against the learnt one, and the doubt of that (a variance), the same one for all portions. */
  readonly shift: number;
  readonly doubt: number;
  readonly wander: number; // by which that doubt has grown since the last portion
}

/** What a loaded tray should draw now; null while too few portions were seen. */
export function foreseenCurrent(motor: MotorHabit, at: Instant, inside: Celsius | null): CurrentForeseen | null {
  if (motor.learnt < portionsNeeded) return null;
  const warmth = warmer(motor, inside);
  const mean = motor.value + motor.slope * warmth;
  const { strayed } = motor;
  if (strayed === null) {
    const wander = wandered(motor.at, at, inside);
    return { mean, spread: motor.variance, shift: 0, doubt: ofMean(motor, warmth) + wander, wander };
  }
  const wander = wandered(strayed.at, at, inside);
  return { mean, spread: motor.variance, shift: strayed.shift, doubt: strayed.variance + wander, wander };
}

/** ln(mA), never minus infinity: a wire that is off reads zero. */
export const logCurrent = (current: Milliamps): number => Math.log(Math.max(current, 1));

/** This is what health looks like now. `surely`: food was seen to fall, so whatever the motor drew is healthy. */
export function learntCurrent(
  motor: MotorHabit,
  current: Milliamps,
  at: Instant,
  inside: Celsius | null,
  surely: boolean,
): MotorHabit {
  const drawn = logCurrent(current);
  const reference = motor.reference ?? inside;
  if (motor.learnt === 0) {
    const first = { value: drawn, valueVariance: motor.variance, reference, celsius: inside, at };
    return { ...motor, ...first, learnt: 1, lastMilliamps: current };
  }
  const warmth = warmer(motor, inside);
  // So early nobody can say what is usual: what is far off the first portions is not learnt unless food was seen to fall.
  if (motor.learnt < portionsNeeded && !surely && Math.abs(drawn - motor.value) > oddAtFirst) {
    return { ...motor, lastMilliamps: current };
  }
  const valueVariance = Math.min(motor.valueVariance + wandered(motor.at, at, inside), 1);
  const crossed = valueVariance + motor.covariance * warmth;
  const slopeCrossed = motor.covariance + motor.slopeVariance * warmth;
  const meanVariance = Math.max(crossed + slopeCrossed * warmth, 0);
  const off = drawn - motor.value - motor.slope * warmth;
  const foreseen = meanVariance + motor.variance;
  // Another motor, another supply: food falls, so this is usual from now on.
  const anew = surely && off * off > 16 * foreseen ? off * off : 0;
  const total = foreseen + anew;
  const learnt = Math.min(motor.learnt + 1, portionsRemembered);
  const spread = motor.variance + (Math.min(off * off, 9 * foreseen) - foreseen) / (learnt + 10);
  const gain = (crossed + anew) / total;
  const slopeGain = anew > 0 ? 0 : slopeCrossed / total;
  return {
    learnt,
    value: motor.value + gain * off,
    slope: motor.slope + slopeGain * off,
    valueVariance: Math.max(valueVariance + anew - gain * (crossed + anew), 1e-6),
    slopeVariance: Math.max(motor.slopeVariance - slopeGain * slopeCrossed, 1e-8),
    covariance: motor.covariance - gain * slopeCrossed,
    variance: Math.min(Math.max(spread, spreadMin * spreadMin), spreadMax * spreadMax),
    reference,
    celsius: inside ?? motor.celsius,
    at,
    lastMilliamps: current,
    strayed: null,
    ...firstAfter(motor, anew > 0, learnt, at),
  };
}

/** A day's portions or so, and a value that isn't in doubt by more than a twentieth. Common practice, no source. */
const firstKnownFrom = 30;
const firstDoubtMax = 0.05 ** 2;

/** The first habit of this very motor: another one, or another supply, begins anew. */
function firstAfter(motor: MotorHabit, anew: boolean, learnt: number, at: Instant): Pick<MotorHabit, "first"> {
  if (anew) return {};
  if (motor.first !== undefined) return { first: { ...motor.first, portions: motor.first.portions + 1 } };
  if (learnt < firstKnownFrom || motor.valueVariance > firstDoubtMax) return {};
  return { first: { value: motor.value, variance: motor.valueVariance, at, portions: 0 } };
}

export interface CurrentDrift {
  readonly log: number; // of today's current over the first, at one temperature
  readonly share: number; // the same as a share: 0.25 is a quarter more
  readonly doubt: number; // standard deviation of `log`
  readonly since: Instant;
  readonly portions: number;
}

/** How far what the motor draws has moved from what it drew at first; null while that isn't known. */
export function currentDrift({ first, value, valueVariance }: MotorHabit): CurrentDrift | null {
  if (first === undefined) return null;
  const log = value - first.value;
  const doubt = Math.sqrt(valueVariance + first.variance);
  return { log, share: Math.expm1(log), doubt, since: first.at, portions: first.portions };
}

/** A current that isn't learnt from: it may be a fault's. If it is the weather's after all, the next is foreseen from it. */
export function drew(motor: MotorHabit, current: Milliamps, at: Instant, foreseen: CurrentForeseen | null): MotorHabit {
  if (foreseen === null) return { ...motor, lastMilliamps: current };
  const total = foreseen.doubt + foreseen.spread;
  const gain = foreseen.doubt / total;
  // Weather doesn't halve or treble a current: what lies further off is no lesson about it.
  const most = 2 * Math.sqrt(total);
  const off = within(logCurrent(current) - foreseen.mean - foreseen.shift, most);
  const shift = within(foreseen.shift + gain * off, strayedMost);
  const strayed = { shift, variance: (1 - gain) * foreseen.doubt, at };
  return { ...motor, lastMilliamps: current, strayed };
}

/** What this motor usually draws, mA, at the temperature last told; null while too few portions were seen. */
export const usualCurrent = (motor: MotorHabit): number | null =>
  motor.learnt < portionsNeeded ? null : Math.exp(motor.value + motor.slope * warmer(motor, null));

const within = (value: number, most: number): number => Math.min(Math.max(value, -most), most);

function warmer(motor: MotorHabit, inside: Celsius | null): number {
  const celsius = inside ?? motor.celsius;
  return celsius === null || motor.reference === null ? 0 : celsius - motor.reference;
}

const ofMean = (motor: MotorHabit, warmth: number): number =>
  Math.max(motor.valueVariance + 2 * motor.covariance * warmth + motor.slopeVariance * warmth * warmth, 0);

function wandered(from: Instant | null, at: Instant, inside: Celsius | null): number {
  if (from === null || at <= from) return 0;
  const perHour = inside === null ? wanderPerHourUntold : wanderPerHour;
  return Math.min(perHour * perHour * inHours((at - from) as Span), wanderMax);
}
