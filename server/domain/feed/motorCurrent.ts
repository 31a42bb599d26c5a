import type { Milliamps } from "../units.ts";
import { type Bounds, normalRatio, openTest, type SequentialTest, waldBounds, weigh } from "./sequentialTest.ts";

/**
 * What the motor draws, against what it drew on portions that went well. Currents are compared by their logarithm: cold
 * grease and a weak supply change them by a factor.
 */
export interface MotorState {
  readonly learnt: number; // portions learnt from, at most `portionsRemembered`
  readonly mean: number; // of ln(mA)
  readonly variance: number; // of ln(mA)
  readonly stalled: SequentialTest;
  readonly still: SequentialTest; // motor not turning
  readonly lastMilliamps: number | null;
}

export const unknownMotor: MotorState = {
  learnt: 0,
  mean: 0,
  variance: 0,
  stalled: openTest,
  still: openTest,
  lastMilliamps: null,
};

/** Nothing is said about a current before so many portions went well. */
const portionsNeeded = 8;
const portionsRemembered = 50;
/**
 * Least spread of ln(current): 20 %, so that a night of frost, which stiffens the grease over hours, isn't taken for a
 * fault. Common practice, no source.
 */
const spreadMin = 0.2;
/** A stalled rotor draws several times the running current; twice is the least that is called a stall. Common practice. */
const stallFactor = 2;
/** With a wire off hardly anything flows: less than a third of what is usual. */
const stillFactor = 1 / 3;
/** One portion alone decides nothing: two must agree, since the bound is above one such step. */
const stepMax = 6;
/** One false call in 100,000 tests: at a hundred portions a day, once in several years. */
const bounds: Bounds = waldBounds({ falseAlarm: 1e-5, missed: 0.02 });

/** `fell`: whether food was seen to fall; null where no sensor could tell. */
export function watchCurrent(motor: MotorState, current: Milliamps, fell: boolean | null): MotorState {
  const value = Math.log(Math.max(current, 1));
  // Food fell, so the motor turned and the tray moved, whatever it drew: this is what health looks like now.
  if (fell === true) return told(motor, value, true, openTest, openTest, current);
  if (motor.learnt < portionsNeeded) {
    const odd = motor.learnt > 0 && Math.abs(value - motor.mean) > 4 * spreadMin;
    return told(motor, value, fell === null && !odd, motor.stalled, motor.still, current);
  }
  const variance = Math.max(motor.variance, spreadMin * spreadMin);
  const ordinary = Math.abs(value - motor.mean) < 2.5 * Math.sqrt(variance);
  const stalled = weigh(motor.stalled, step(value, motor.mean, variance, stallFactor), bounds);
  const still = weigh(motor.still, step(value, motor.mean, variance, stillFactor), bounds);
  return told(motor, value, fell === null && ordinary, stalled, still, current);
}

/** What this motor usually draws; null while too few portions were seen. */
export const usualCurrent = (motor: MotorState): number | null =>
  motor.learnt < portionsNeeded ? null : Math.exp(motor.mean);

export const motorFaulty = (motor: MotorState): boolean =>
  motor.stalled.verdict === "faulty" || motor.still.verdict === "faulty";

/** The motor is known to draw what it usually draws, so it turns. */
export const turnsNormally = (motor: MotorState): boolean => {
  const usual = usualCurrent(motor);
  if (usual === null || motor.lastMilliamps === null) return false;
  if (motorFaulty(motor)) return false;
  return motor.lastMilliamps > usual / 2 && motor.lastMilliamps < usual * 2;
};

function step(value: number, mean: number, variance: number, factor: number): number {
  const ratio = normalRatio(value, { mean, variance }, { mean: mean + Math.log(factor), variance });
  return Math.min(Math.max(ratio, -stepMax), stepMax);
}

function told(
  motor: MotorState,
  value: number,
  learns: boolean,
  stalled: SequentialTest,
  still: SequentialTest,
  lastMilliamps: number,
): MotorState {
  const learnt = learns ? Math.min(motor.learnt + 1, portionsRemembered) : motor.learnt;
  const gain = learns ? 1 / learnt : 0;
  const off = value - motor.mean;
  return {
    learnt,
    mean: motor.mean + gain * off,
    variance: (1 - gain) * (motor.variance + gain * off * off),
    stalled,
    still,
    lastMilliamps,
  };
}
