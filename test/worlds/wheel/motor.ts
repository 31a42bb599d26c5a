import type { Random } from "./random.ts";

/**
 * The motor at the wheel, and the cheap sensor of its current.
 *
 * A stepper behind a chopping driver draws the same current whatever the load. A small stepper on bare switches draws what its winding
 * lets through: 50 ohms at 5 V (28BYJ-48, makers' tables), more in the cold. Neither notices that the wheel doesn't turn. A servo
 * draws 100 to 250 mA in free running, and 0.65 to 2.5 A when it is stalled (measured values for hobby servos, from memory and makers'
 * pages).
 */
export type MotorState = "turning" | "against jam" | "stalled" | "wire off";

export interface MotorRun {
  readonly milliseconds: number;
  readonly meanMilliamps: number;
  readonly peakMilliamps: number; // the true one, which the supply feels
}

export interface MeasuredCurrent {
  readonly meanMilliamps: number;
  readonly peakMilliamps: number;
}

export type MotorKind = "chopped stepper" | "plain stepper" | "servo";

export class Motor {
  readonly kind: MotorKind;
  private readonly random: Random;
  private readonly milliseconds: number; // for a portion
  private readonly freeMilliamps: number;
  private readonly stallMilliamps: number;
  private readonly load: number; // share of the servo's torque that the wheel usually takes
  private readonly timeout: number; // a servo that doesn't arrive gives up after so many times the usual time

  constructor(random: Random, pockets: number) {
    this.random = random;
    this.kind = random.pick(["chopped stepper", "plain stepper", "servo", "servo"]);
    this.milliseconds = pockets * random.logBetween(300, 2_500);
    const isServo = this.kind === "servo";
    this.freeMilliamps = isServo ? random.between(100, 250) : random.logBetween(90, 600);
    this.stallMilliamps = isServo ? random.logBetween(650, 2_500) : this.freeMilliamps;
    this.load = random.between(0.05, 0.25);
    this.timeout = random.pick([1, 1, 2, 3]);
  }

  /** @param torque of the wheel; 1 is as usual */
  run(state: MotorState, torque: number, air: number): MotorRun {
    if (state === "wire off") return { ...zero, milliseconds: this.time(state, 1, air) };
    if (this.kind !== "servo") return this.runStepper(torque, air);
    const range = this.stallMilliamps - this.freeMilliamps;
    // Against a jam the coupling gives way again and again; a stalled one stands, with all that its supply gives.
    const share = this.servoShare(state, torque);
    const meanMilliamps = this.freeMilliamps + range * share;
    const inrush = this.stallMilliamps * this.random.between(0.5, 0.9);
    const peakMilliamps = state === "turning" ? Math.max(inrush, meanMilliamps) : this.stallMilliamps;
    return { milliseconds: this.time(state, torque, air), meanMilliamps, peakMilliamps };
  }

  private servoShare(state: MotorState, torque: number): number {
    if (state === "stalled") return this.random.between(0.85, 1);
    if (state === "against jam") return this.random.between(0.35, 0.8);
    return Math.min(0.7, this.load * torque);
  }

  private runStepper(torque: number, air: number): MotorRun {
    // Copper: 0.393 % a kelvin (IEC 60028).
    const winding = this.kind === "plain stepper" ? 1 / (1 + 0.003_93 * (air - 20)) : 1;
    const meanMilliamps = this.freeMilliamps * winding * (1 + 0.004 * (torque - 1)) * this.random.factor(0.01);
    const milliseconds = this.milliseconds + this.random.between(-2, 2); // steps are counted, not felt
    return { milliseconds, meanMilliamps, peakMilliamps: meanMilliamps * this.random.between(1.05, 1.25) };
  }

  private time(state: MotorState, torque: number, air: number): number {
    if (this.kind !== "servo") return this.milliseconds;
    if (state !== "turning") return this.milliseconds * this.timeout;
    const cold = 1 + 0.006 * Math.max(0, -air);
    return this.milliseconds * cold * (0.97 + 0.03 * torque) * this.random.factor(0.03);
  }
}

const zero = { meanMilliamps: 0, peakMilliamps: 0 };

/** A Hall sensor (some 30 mA of noise, an offset that drifts: ACS712 data sheet, from memory) or a shunt (about 1 mA). */
export class CurrentSensor {
  private readonly random: Random;
  private readonly gain: number;
  private readonly offset: number;
  private readonly drift: number; // mA a kelvin
  private readonly noise: number;
  private readonly resolution: number;
  private readonly seesPeaks: number; // a slow one misses most of a short peak

  constructor(random: Random) {
    this.random = random;
    const isHall = random.chance(0.5);
    this.gain = 1 + (isHall ? 0.05 : 0.02) * random.normal();
    this.offset = (isHall ? 25 : 2) * random.normal();
    this.drift = (isHall ? 0.4 : 0.02) * random.normal();
    this.noise = isHall ? random.between(8, 35) : random.between(1, 5);
    this.resolution = isHall ? random.pick([5, 10, 26]) : 1;
    this.seesPeaks = random.between(0.1, 1);
  }

  measure({ meanMilliamps, peakMilliamps }: MotorRun, air: number): MeasuredCurrent {
    const { random } = this;
    const mean = this.shown(meanMilliamps, 0.3 * this.noise, air);
    const seen =
      meanMilliamps + (peakMilliamps - meanMilliamps) * Math.min(1, this.seesPeaks * random.between(0.5, 1.3));
    const peak = this.shown(seen, this.noise, air) + Math.abs(this.noise * random.normal());
    return { meanMilliamps: mean, peakMilliamps: Math.max(mean, this.round(peak)) };
  }

  private shown(milliamps: number, noise: number, air: number): number {
    const value = milliamps * this.gain + this.offset + this.drift * (air - 15) + noise * this.random.normal();
    return this.round(Math.max(0, value));
  }

  private round(value: number): number {
    return Math.round(value / this.resolution) * this.resolution;
  }
}
