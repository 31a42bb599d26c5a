import type { WorldSensors } from "../world.ts";
import type { Computer } from "./computer.ts";
import { Dispenser, drawBuild, type Fall, type Surroundings } from "./dispenser.ts";
import type { Fault } from "./fault.ts";
import { type Batch, drawBatch, drawFood, type Food, type Hopper } from "./food.ts";
import {
  type Current,
  drawMotor,
  type MotorPart,
  type MotorState,
  measuredCurrent,
  motorCurrent,
  Supply,
} from "./motor.ts";
import type { Random } from "./random.ts";
import { dayMs } from "./sky.ts";
import { type ChutePart, countedPieces, drawChute } from "./smallSensors.ts";
import type { Weather } from "./weather.ts";

/** Dispenser, motor and chute as one: what one turn gives, and what the computer sees of it. */

export interface Turned {
  readonly fall: Fall;
  readonly motorMs: number;
  readonly counted: number | null; // null without a chute sensor
  readonly current: object; // as reported
  readonly lowestVolts: number | null;
  readonly isCut: boolean; // ended by the program, since the current was too high
  readonly saysCut: boolean;
}

export interface MachineParts {
  readonly sensors: WorldSensors;
  readonly hopper: Hopper;
  readonly weather: Weather;
  readonly computer: Computer;
  readonly fault: Fault;
  readonly random: Random;
  readonly begin: number;
}

export class Machine {
  readonly food: Food;
  readonly dispenser: Dispenser;
  readonly motor: MotorPart;
  readonly chute: ChutePart;
  readonly supply: Supply;
  readonly #parts: MachineParts;
  readonly #random: Random;
  readonly #guard: { readonly isSet: boolean; readonly saysCut: boolean; readonly afterMs: number };
  #batch: Batch;
  #cleanedAt: number;

  constructor(parts: MachineParts, food: Food, build: ReturnType<typeof drawBuild>) {
    const random = parts.random.branch("machine");
    this.food = food;
    this.#parts = parts;
    this.#random = random;
    this.dispenser = new Dispenser(build, food, parts.hopper, random.branch("dispenser"));
    this.motor = drawMotor(build, random);
    this.chute = drawChute(random);
    this.supply = new Supply(random.branch("supply"));
    this.#batch = drawBatch(food, random);
    this.#cleanedAt = parts.begin;
    this.#guard = {
      isSet: parts.sensors.motorCurrent && build.kind.motor !== "solenoid" && random.chance(0.5),
      saysCut: random.chance(0.5),
      afterMs: random.uniform(200, 700),
    };
  }

  /** Food of another bag is in the hopper now. */
  refill(): void {
    this.#batch = drawBatch(this.food, this.#random);
  }

  clean(at: number): void {
    this.#cleanedAt = at;
  }

  /** Grams of a portion now, on the whole. */
  usualGrams(at: number): number {
    return this.dispenser.usualGrams(this.#batch, this.#around(at));
  }

  #around(at: number): Surroundings {
    const { weather, begin } = this.#parts;
    const days = (at - begin) / dayMs;
    const { foodDamp: damp, boxCelsius: celsius } = weather;
    return { damp, celsius, days, speed: this.supply.speed, obstacle: this.#obstacle(at) };
  }

  turn(at: number): Turned {
    const state = this.#state(at);
    const around = this.#around(at);
    const isMoving = state === "turns" || state === "against";
    const fall = isMoving ? this.dispenser.run(this.#batch, around) : { grams: 0, pieces: 0 };
    const isEmpty = this.#parts.hopper.reachable <= 0;
    const current = motorCurrent(this.dispenser.build, this.motor, { ...around, state, isEmpty }, this.#random);
    const counted = this.#counted(at, fall.pieces);
    const isCut = this.#guard.isSet && state === "stalled";
    return {
      fall,
      motorMs: isCut ? this.#guard.afterMs : this.#motorMs(counted),
      counted,
      current: this.#reportedCurrent(current),
      lowestVolts: this.supply.reportsLowest ? this.supply.measured(current.peak) : null,
      isCut,
      saysCut: isCut && this.#guard.saysCut,
    };
  }

  #state(at: number): MotorState {
    const { fault } = this.#parts;
    if (fault.is("motorWireOff", at)) return "wireOff";
    if (fault.is("motorStalled", at)) return "stalled";
    return fault.is("trayJammed", at) ? "against" : "turns";
  }

  #obstacle(at: number): Surroundings["obstacle"] {
    const { fault } = this.#parts;
    if (fault.is("trayJammed", at)) return "jam";
    return fault.is("trayPartlyJammed", at) ? "partJam" : "none";
  }

  /** A shaker goes on for longer where its chute sensor has seen nothing yet. */
  #motorMs(counted: number | null): number {
    const { motorMs, kind } = this.dispenser.build;
    const usual = motorMs * this.#random.normal(1, 0.008);
    if (kind.motor !== "shaker" || counted === null) return usual;
    return counted === 0 ? 1.5 * motorMs : motorMs * (0.35 + 0.55 * this.#random.uniform());
  }

  #counted(at: number, pieces: number): number | null {
    const { sensors, computer, fault } = this.#parts;
    if (!sensors.chute) return null;
    const dirt = Math.max(0.4, 1 - (this.chute.dirtPerDay * (at - this.#cleanedAt)) / dayMs);
    const counted = countedPieces(pieces, this.chute, dirt * fault.chuteSight(at), this.#random);
    computer.count("chute", counted);
    return counted;
  }

  #reportedCurrent(current: Current): object {
    const isReported = this.#parts.sensors.motorCurrent && this.#random.chance(this.motor.reportedShare);
    if (!isReported) return {};
    const { mean, peak } = measuredCurrent(current, this.motor, this.#random);
    return {
      ...(this.motor.says !== "peak" && { meanMilliamps: mean }),
      ...(this.motor.says !== "mean" && { peakMilliamps: peak }),
    };
  }
}

/** What it is made of, before there is a hopper: the hopper's size follows from the portions. */
export function drawMachine(random: Random): { readonly food: Food; readonly build: ReturnType<typeof drawBuild> } {
  const food = drawFood(random.branch("food"));
  return { food, build: drawBuild(food, random.branch("build")) };
}
