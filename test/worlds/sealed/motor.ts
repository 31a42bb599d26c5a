import type { Build } from "./dispenser.ts";
import type { Random } from "./random.ts";

/** The motor, its supply, and the sensor of its current. Ranges: common practice, no source. */

export type MotorState = "turns" | "against" | "stalled" | "wireOff"; // against: it turns against a jam

export interface MotorPart {
  readonly inrush: number; // peak current over mean
  readonly stall: number; // stalled current over mean
  readonly jam: number; // current against a jam over mean
  readonly coldRise: number; // of the current at -20 Celsius, as a share
  readonly wear: number; // of the current in a hundred days, as a share
  readonly noise: number;
  readonly emptyShare: number; // how much less it draws without food
  readonly sensor: { readonly offset: number; readonly step: number; readonly noise: number };
  readonly says: "both" | "mean" | "peak";
  readonly reportedShare: number; // of the portions whose current is reported
}

export function drawMotor({ kind }: Build, random: Random): MotorPart {
  const isSolenoid = kind.motor === "solenoid";
  // A solenoid that doesn't move lacks only the dip of its pull: its current is that of its wire (from memory).
  const stall = isSolenoid ? random.uniform(1.15, 1.6) : random.uniform(2.2, 6);
  return {
    inrush: isSolenoid ? random.uniform(1.02, 1.3) : random.uniform(1.5, 3.5),
    stall,
    jam: isSolenoid ? random.uniform(1.05, stall) : random.uniform(1.25, Math.max(1.5, stall * 0.75)),
    coldRise: isSolenoid ? random.uniform(-0.2, 0) : random.uniform(0.02, 0.5),
    wear: random.uniform(-0.05, 0.15),
    noise: random.logUniform(0.01, 0.1),
    emptyShare: isSolenoid ? 0 : random.uniform(0, 0.15),
    sensor: { offset: random.normal(0, 4), step: random.pick([0.1, 1, 1, 5, 10]), noise: random.logUniform(0.3, 8) },
    says: random.pick(["both", "both", "both", "mean", "peak"] as const),
    reportedShare: random.chance(0.7) ? 1 : random.uniform(0.15, 0.9),
  };
}

export interface Turn {
  readonly state: MotorState;
  readonly celsius: number;
  readonly days: number;
  readonly speed: number;
  readonly isEmpty: boolean;
}

export interface Current {
  readonly mean: number; // milliamps that flow
  readonly peak: number;
}

export function motorCurrent(build: Build, part: MotorPart, turn: Turn, random: Random): Current {
  if (turn.state === "wireOff") return { mean: 0, peak: 0 };
  const cold = 1 + part.coldRise * Math.max(0, Math.min(1.5, (20 - turn.celsius) / 40));
  const free = build.milliamps * cold * (1 + (part.wear * turn.days) / 100) * turn.speed;
  const factor = { turns: turn.isEmpty ? 1 - part.emptyShare : 1, against: part.jam, stalled: part.stall }[turn.state];
  const mean = free * factor * random.logNormal(1, part.noise);
  const inrush = Math.max(free * part.inrush, mean * 1.04) * random.logNormal(1, part.noise);
  return { mean, peak: turn.state === "stalled" ? Math.max(inrush, mean * random.uniform(1.01, 1.1)) : inrush };
}

/** As the sensor has it: a part that is off still has its offset and noise. */
export function measuredCurrent(current: Current, { sensor }: MotorPart, random: Random): Current {
  const measured = (milliamps: number) => {
    const raw = milliamps + sensor.offset + random.normal(0, sensor.noise);
    return Math.max(0, Math.round(Math.round(raw / sensor.step) * sensor.step * 10) / 10);
  };
  const mean = measured(current.mean);
  return { mean, peak: Math.max(mean, measured(current.peak)) };
}

/** Where the volts come from. A battery stays charged here: its keeper swaps it in time. */
export class Supply {
  readonly nominal: number;
  readonly isBattery: boolean;
  readonly reportsVolts: boolean;
  readonly reportsLowest: boolean;
  readonly #ohms: number;
  readonly #speedEffect: number;
  readonly #random: Random;
  #charge: number; // 0.4 to 1

  constructor(random: Random) {
    this.#random = random;
    this.isBattery = random.chance(0.3);
    this.nominal = this.isBattery ? 12.6 : random.pick([5, 5, 5.1, 6, 12, 12]);
    this.reportsVolts = random.chance(0.55);
    this.reportsLowest = this.reportsVolts && random.chance(0.5);
    this.#ohms = random.logUniform(0.02, 0.25);
    this.#speedEffect = random.uniform(0, 0.9);
    this.#charge = random.uniform(0.6, 1);
  }

  /** A day of use; a battery that is low is swapped. */
  age(days: number): void {
    this.#charge -= days * 0.02;
    if (this.#charge < 0.5) this.#charge = 1;
  }

  /** A lead-acid battery at rest falls by some tenths of a volt until half empty (from memory). */
  get volts(): number {
    return this.isBattery ? 12.1 + 0.65 * this.#charge : this.nominal;
  }

  /** Of a motor, 1 at the nominal voltage. */
  get speed(): number {
    return 1 + this.#speedEffect * (this.volts / this.nominal - 1);
  }

  measured(milliamps = 0): number {
    const sag = Math.min(0.06 * this.nominal, (milliamps / 1_000) * this.#ohms);
    return Math.round((this.volts * this.#random.normal(1, 0.002) - sag) * 100) / 100;
  }
}
