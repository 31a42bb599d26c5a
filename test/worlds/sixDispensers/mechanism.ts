import { day } from "./agenda.ts";
import type { Hopper, Taken } from "./hopper.ts";
import type { Malfunction } from "./malfunction.ts";
import type { Sky } from "./sky.ts";
import { type Stream, Wander } from "./stream.ts";

type Range = readonly [low: number, high: number];

/** A way to bring food out of a hopper, as people build it at home. All ranges: common practice, no source, unless said otherwise. */
export interface Build {
  readonly name: "trapDoor" | "pushSlide" | "vibratingTray" | "bucketChain" | "scoopArm" | "brushRoll";
  readonly portion: Range; // grams, with plenty above
  readonly spread: Range; // of one portion around its mean, as a factor
  readonly levelPower: Range; // the portion goes with the fullness to this power
  readonly dampLoss: Range; // share of the portion that wet food keeps back
  readonly coldLoss: Range; // share lost per 10 °C below 15 °C: stiff springs, slow motors, hard grease
  readonly emptyRate: Range; // runs that by nature begin a row of empty ones
  readonly emptyRow: Range; // mean length of such a row
  readonly voltPower: Range; // the portion goes with the supply to this power
  readonly runMs: Range;
  readonly endsBySwitch: number; // share of builds whose motor runs to an end switch, not for a time
  readonly milliamps: Range;
  readonly startPeak: Range; // highest over mean
  readonly fallMs: Range; // over which the pieces fall past the chute's beam
}

const builds: readonly Build[] = [
  {
    name: "trapDoor", // a flap that a servo opens for a moment
    portion: [1, 9],
    spread: [0.12, 0.4],
    levelPower: [0, 0.12],
    dampLoss: [0.05, 0.35],
    coldLoss: [0, 0.04],
    emptyRate: [0.002, 0.02],
    emptyRow: [1, 2.5],
    voltPower: [0, 0.3],
    runMs: [250, 1_200],
    endsBySwitch: 0,
    milliamps: [120, 420],
    startPeak: [1.6, 3],
    fallMs: [80, 350],
  },
  {
    name: "pushSlide", // a slide with a hole, pushed from under the hopper to over the chute and back
    portion: [0.8, 6],
    spread: [0.06, 0.2],
    levelPower: [0, 0.06],
    dampLoss: [0.02, 0.2],
    coldLoss: [0, 0.02],
    emptyRate: [0.001, 0.012],
    emptyRow: [1, 2],
    voltPower: [0, 0],
    runMs: [700, 3_500],
    endsBySwitch: 0.7,
    milliamps: [90, 500],
    startPeak: [1.5, 3.5],
    fallMs: [60, 200],
  },
  {
    name: "vibratingTray",
    portion: [0.7, 5],
    spread: [0.2, 0.5],
    levelPower: [0, 0.2],
    dampLoss: [0.15, 0.55],
    coldLoss: [0.02, 0.08],
    emptyRate: [0.003, 0.018],
    emptyRow: [1.2, 3],
    voltPower: [1, 2],
    runMs: [800, 5_000],
    endsBySwitch: 0,
    milliamps: [50, 220],
    startPeak: [1.2, 2.2],
    fallMs: [600, 4_000],
  },
  {
    name: "bucketChain", // small cups on a belt
    portion: [0.8, 5],
    spread: [0.1, 0.3],
    levelPower: [0.02, 0.15],
    dampLoss: [0, 0.15],
    coldLoss: [0, 0.03],
    emptyRate: [0.002, 0.02],
    emptyRow: [1, 1.6],
    voltPower: [0, 0.2],
    runMs: [900, 4_000],
    endsBySwitch: 0.5,
    milliamps: [110, 450],
    startPeak: [1.6, 4],
    fallMs: [150, 900],
  },
  {
    name: "scoopArm", // a spoon that digs into the food and tips over the chute
    portion: [1, 8],
    spread: [0.18, 0.45],
    levelPower: [0.1, 0.4],
    dampLoss: [0, 0.25],
    coldLoss: [0, 0.03],
    emptyRate: [0.003, 0.018],
    emptyRow: [1, 2.5],
    voltPower: [0, 0],
    runMs: [1_000, 4_500],
    endsBySwitch: 0.4,
    milliamps: [130, 600],
    startPeak: [1.4, 3],
    fallMs: [100, 400],
  },
  {
    name: "brushRoll", // a round brush under a slot
    portion: [0.7, 4],
    spread: [0.12, 0.35],
    levelPower: [0, 0.1],
    dampLoss: [0.05, 0.3],
    coldLoss: [0, 0.05],
    emptyRate: [0.002, 0.015],
    emptyRow: [1, 2.5],
    voltPower: [0.6, 1],
    runMs: [500, 3_000],
    endsBySwitch: 0.1,
    milliamps: [90, 350],
    startPeak: [1.8, 5],
    fallMs: [300, 2_500],
  },
];

export const drawBuild = (stream: Stream): Build => stream.pick(builds);

/** What one run of the motor brought. */
export interface Run extends Taken {
  /** How hard the food or a jam made it for the motor: 1 is a usual run. */
  readonly load: number;
}

const none: Taken = { grams: 0, pieces: 0, counts: [] };

interface Made {
  readonly malfunction: Malfunction;
  readonly portion: number; // grams
  readonly at: number;
}

/** The dispenser between hopper and chute, as this one was built. */
export class Mechanism {
  readonly #stream: Stream;
  readonly #hopper: Hopper;
  readonly #malfunction: Malfunction;
  readonly portion: number; // grams
  readonly #spread: number;
  readonly #levelPower: number;
  readonly #dampLoss: number;
  readonly #coldLoss: number;
  readonly #voltPower: number;
  readonly #emptyRate: number;
  readonly #emptyRow: number;
  readonly #drift: Wander; // week by week, as a logarithm
  readonly #partly: number; // share that a partial jam lets through
  #emptyFor = 0; // runs that are still empty by nature

  constructor(stream: Stream, build: Build, hopper: Hopper, made: Made) {
    this.#stream = stream;
    this.#hopper = hopper;
    this.#malfunction = made.malfunction;
    this.portion = made.portion;
    this.#spread = stream.uniform(...build.spread);
    this.#levelPower = stream.uniform(...build.levelPower);
    this.#dampLoss = stream.uniform(...build.dampLoss);
    this.#coldLoss = stream.uniform(...build.coldLoss);
    this.#voltPower = stream.uniform(...build.voltPower);
    this.#emptyRate = stream.logUniform(...build.emptyRate);
    this.#emptyRow = stream.uniform(...build.emptyRow);
    this.#drift = new Wander(stream, stream.uniform(0.03, 0.18), stream.uniform(5, 25) * day, made.at);
    this.#partly = stream.logUniform(0.04, 0.35);
  }

  /** @param volts the supply over its nominal value */
  run(now: number, sky: Sky, volts: number): Run {
    const { kind } = this.#malfunction;
    if (kind === "motorStalled" || kind === "motorWireOff") return { ...none, load: 1 };
    if (kind === "trayJammed") return { ...none, load: this.#stream.uniform(1.4, 2.4) };
    const isEmpty = this.#isEmptyByNature(sky);
    if (isEmpty || this.#hopper.givable <= 0) return { ...none, load: this.#lightLoad() };
    const isPartly = kind === "trayPartlyJammed";
    const target = this.#target(now, sky, volts) * (isPartly ? this.#partly * this.#stream.factor(0.5) : 1);
    const taken = this.#hopper.take(target);
    const load = taken.pieces === 0 ? this.#lightLoad() : 0.9 + (0.1 * taken.grams) / this.portion;
    return { ...taken, load: isPartly ? load * this.#stream.uniform(1.05, 1.6) : load };
  }

  #target(now: number, sky: Sky, volts: number): number {
    const cold = Math.max(0, 15 - sky.air) / 10;
    return (
      this.portion *
      this.#stream.factor(this.#spread) *
      Math.exp(this.#drift.to(now)) *
      Math.min(1.2, this.#hopper.fullness + 0.3) ** this.#levelPower *
      (1 - this.#dampLoss * sky.damp) *
      Math.max(0.4, 1 - this.#coldLoss * cold) *
      Math.max(0.3, volts) ** this.#voltPower *
      this.#hopper.freedom
    );
  }

  /** A piece that lies across, a short bridge, a crust: more often when it is damp. */
  #isEmptyByNature(sky: Sky): boolean {
    if (this.#emptyFor > 0) {
      this.#emptyFor -= 1;
      return true;
    }
    if (!this.#stream.chance(this.#emptyRate * (0.6 + 1.2 * sky.damp))) return false;
    this.#emptyFor = Math.round(this.#stream.exponential(this.#emptyRow - 1 + 0.2));
    return true;
  }

  /** Without food there is less to move. */
  #lightLoad(): number {
    return this.#stream.uniform(0.78, 0.96);
  }
}
