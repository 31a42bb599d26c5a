import { clamp, roundTo } from "./numbers.ts";
import type { Random } from "./random.ts";
import { day } from "./time.ts";

/** A brushed gear motor on the screw, and the cheap sensor in its wire. */
export class Motor {
  readonly #traits: MotorTraits;
  readonly #supply: SupplyTraits;
  readonly #sensor: CurrentSensor;
  readonly #random: Random;
  #age = 1; // friction by that of the first day
  #agedAt: number;

  constructor(random: Random, begin: number) {
    this.#random = random;
    this.#traits = drawMotor(random);
    this.#supply = drawSupply(random);
    this.#sensor = drawSensor(random, this.#traits.runningMilliamps);
    this.#agedAt = begin;
  }

  /** @param load what the screw has to move, by a usual portion */
  run(at: number, celsius: number, resistance: Resistance): MotorRun {
    this.#grow(at);
    const open = this.voltsAt(at);
    const ran = resistance.kind === "wireOff" ? this.#deadRun(open) : this.#turningRun(open, celsius, resistance);
    const milliseconds = Math.max(20, Math.round(ran.milliseconds * (1 + 0.006 * this.#random.normal())));
    const mean = this.#measured(ran.mean);
    return {
      milliseconds,
      meanMilliamps: mean,
      peakMilliamps: Math.max(mean, this.#measured(ran.peak * clamp(1 + 0.05 * this.#random.normal(), 0.8, 1.2))),
      lowestVolts: roundTo(0.01, ran.lowestVolts),
    };
  }

  /** The supply without the motor. */
  voltsAt(at: number): number {
    const { nominal, swing, phase, noise } = this.#supply;
    const wave = Math.sin((2 * Math.PI * at) / day + phase);
    return nominal * (1 + swing * wave + noise * this.#random.normal());
  }

  #turningRun(open: number, celsius: number, resistance: Resistance): TrueRun {
    const { runningMilliamps, stallRatio, windUp, runMs, isIndexed, timeoutMs, driverLimit } = this.#traits;
    const byVolts = open / this.#supply.nominal;
    // Stall current is voltage by winding resistance; that of copper rises by 0.39 % a kelvin.
    const stall = Math.min((runningMilliamps * stallRatio * byVolts) / (1 + 0.0039 * (celsius - 20)), driverLimit);
    const isStalled = resistance.kind === "stalled";
    const free = Math.min(runningMilliamps * this.#torque(celsius, resistance) * (0.75 + 0.25 * byVolts), 0.93 * stall);
    const running = isStalled ? stall : free;
    // The speed of such a motor falls in a straight line from no load to stall.
    const speed = (byVolts * (1 - running / stall)) / (1 - 1 / stallRatio);
    const turning = isIndexed ? Math.min(runMs / Math.max(speed, 0.05), timeoutMs) : runMs;
    const milliseconds = isStalled && isIndexed ? timeoutMs : turning;
    return {
      milliseconds,
      mean: running + (stall - running) * Math.min(1, windUp / milliseconds),
      peak: running + (stall - running) * this.#sensor.peakCaught,
      lowestVolts: open - (stall / 1_000) * this.#supply.sourceOhms,
    };
  }

  #torque(celsius: number, resistance: Resistance): number {
    const { viscousShare, doublingKelvin, loadShare } = this.#traits;
    if (resistance.kind !== "turns") return 1;
    const grease = clamp(1 - viscousShare + viscousShare * 2 ** ((20 - celsius) / doublingKelvin), 0.6, 3.5);
    return this.#age * ((1 - loadShare) * grease + loadShare * resistance.load) * resistance.extra;
  }

  #deadRun(open: number): TrueRun {
    const { isIndexed, timeoutMs, runMs } = this.#traits;
    return { milliseconds: isIndexed ? timeoutMs : runMs, mean: 0, peak: 0, lowestVolts: open };
  }

  #measured(milliamps: number): number {
    const { gain, offset, noise, step } = this.#sensor;
    const raw = milliamps * gain + offset + noise * this.#random.normal();
    return Math.max(0, roundTo(0.1, roundTo(step, raw)));
  }

  /** Brushes and gears wear, grease moves: a walk with a trend. */
  #grow(at: number): void {
    const days = (at - this.#agedAt) / day;
    if (days < 0.25) return;
    const { trendPerDay, walkPerDay } = this.#traits;
    this.#age = clamp(this.#age + trendPerDay * days + walkPerDay * Math.sqrt(days) * this.#random.normal(), 0.75, 1.9);
    this.#agedAt = at;
  }
}

/** What the motor turns against. */
export type Resistance =
  | { readonly kind: "turns"; readonly load: number; readonly extra: number }
  | { readonly kind: "stalled" }
  | { readonly kind: "wireOff" };

export interface MotorRun {
  readonly milliseconds: number;
  readonly meanMilliamps: number;
  readonly peakMilliamps: number;
  readonly lowestVolts: number;
}

interface TrueRun {
  readonly milliseconds: number;
  readonly mean: number;
  readonly peak: number;
  readonly lowestVolts: number;
}

interface MotorTraits {
  readonly runningMilliamps: number;
  readonly stallRatio: number;
  readonly viscousShare: number;
  readonly doublingKelvin: number;
  readonly loadShare: number;
  readonly windUp: number; // milliseconds in which the start-up current falls
  readonly runMs: number;
  readonly isIndexed: boolean; // a switch at the screw ends the run; otherwise the clock does
  readonly timeoutMs: number;
  readonly driverLimit: number;
  readonly trendPerDay: number;
  readonly walkPerDay: number;
}

function drawMotor(random: Random): MotorTraits {
  const runningMilliamps = random.logBetween(60, 700);
  const stallRatio = random.between(3, 8);
  const runMs = random.logBetween(350, 4_500);
  return {
    // Small plastic gear motors stall at 800 to 1,250 mA at 4.5 V (a shop's data of a 120:1 motor), and run at an eighth to a third of it.
    runningMilliamps,
    stallRatio,
    // Greases thicken about twofold each 10 to 25 K (from memory); how much of the friction is grease differs from gear to gear.
    viscousShare: random.between(0.08, 0.4),
    doublingKelvin: random.between(10, 25),
    loadShare: random.between(0.03, 0.3),
    windUp: random.between(15, 80),
    runMs,
    isIndexed: random.chance(0.5),
    timeoutMs: runMs * random.between(1.5, 3),
    // Some drivers limit the current below the stall of the motor.
    driverLimit: random.chance(0.25)
      ? runningMilliamps * random.between(2.2, Math.max(2.3, stallRatio))
      : Number.POSITIVE_INFINITY,
    trendPerDay: random.between(-0.0004, 0.0015),
    walkPerDay: random.between(0.001, 0.007), // 0.3 to 2 % in a week; common practice, no source
  };
}

interface SupplyTraits {
  readonly nominal: number;
  readonly swing: number;
  readonly phase: number;
  readonly noise: number;
  readonly sourceOhms: number;
}

function drawSupply(random: Random): SupplyTraits {
  const isBattery = random.chance(0.4);
  return {
    nominal: random.pick([5, 6, 12]),
    swing: isBattery ? random.between(0.01, 0.05) : random.between(0, 0.008), // charged by day; common practice, no source
    phase: random.between(0, 2 * Math.PI),
    noise: random.between(0.001, 0.006),
    sourceOhms: random.logBetween(0.05, 0.4),
  };
}

interface CurrentSensor {
  readonly gain: number;
  readonly offset: number;
  readonly noise: number;
  readonly step: number;
  readonly peakCaught: number; // how much of the start-up peak a slow sampling catches
}

const drawSensor = (random: Random, running: number): CurrentSensor => ({
  gain: random.between(0.94, 1.06),
  offset: random.between(-0.08, 0.08) * Math.min(running, 200),
  noise: random.logBetween(0.5, 8),
  step: random.logBetween(1, 12),
  peakCaught: random.between(0.3, 1),
});
