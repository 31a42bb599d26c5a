import { day } from "./agenda.ts";
import type { Malfunction } from "./malfunction.ts";
import type { Build, Run } from "./mechanism.ts";
import type { Sky } from "./sky.ts";
import type { Stream } from "./stream.ts";

/** What the motor did in one run, as its driver measures it. */
export interface Turn {
  readonly ms: number;
  readonly meanMilliamps: number;
  readonly peakMilliamps: number;
  readonly trueMilliamps: number; // what the supply had to give at most
}

/**
 * The motor and the current sensor in its lead. A DC motor draws V/R when it stands and a fraction when it turns; its current goes
 * with torque (any textbook on electrical machines). Grease stiffens in the cold; brushes and gears wear.
 */
export class Drive {
  readonly #stream: Stream;
  readonly #malfunction: Malfunction;
  readonly #ms: number;
  readonly #endsBySwitch: boolean;
  readonly #timeoutMs: number;
  readonly #milliamps: number;
  readonly #startPeak: number;
  readonly #stall: number; // over the mean
  readonly #tripMs: number | null; // after which a fuse or the driver cuts a stalled motor off
  readonly #stiffens: number; // per 10 °C below 15 °C
  readonly #wearPerYear: number;
  readonly #unlike: number; // run by run
  readonly #offset: number; // of the current sensor, mA
  readonly #step: number; // of the current sensor, mA
  readonly #begin: number;

  constructor(stream: Stream, build: Build, malfunction: Malfunction, at: number) {
    this.#stream = stream;
    this.#malfunction = malfunction;
    this.#ms = Math.round(stream.logUniform(...build.runMs));
    this.#endsBySwitch = stream.chance(build.endsBySwitch);
    this.#timeoutMs = Math.round(this.#ms * stream.uniform(1.8, 5));
    this.#milliamps = stream.logUniform(...build.milliamps);
    this.#startPeak = stream.uniform(...build.startPeak);
    this.#stall = stream.uniform(2.4, 6);
    this.#tripMs = stream.chance(0.3) ? stream.uniform(300, 1_500) : null;
    this.#stiffens = stream.uniform(0.02, 0.14);
    this.#wearPerYear = stream.uniform(-0.05, 0.3);
    this.#unlike = stream.uniform(0.02, 0.12);
    this.#offset = stream.uniform(-8, 12);
    this.#step = stream.pick([0.5, 1, 1, 2, 5, 10, 24]);
    this.#begin = at;
  }

  /** @param volts the supply over its nominal value */
  turn(now: number, sky: Sky, run: Run, volts: number): Turn {
    const { kind } = this.#malfunction;
    if (kind === "motorWireOff") return this.#measured(this.#endsBySwitch ? this.#timeoutMs : this.#ms, 0, 0);
    if (kind === "motorStalled") return this.#stalled(volts);
    const stiff = 1 + (this.#stiffens * Math.max(-10, 15 - sky.air)) / 10;
    const worn = 1 + (this.#wearPerYear * (now - this.#begin)) / (365 * day);
    const mean = this.#milliamps * (0.45 + 0.55 * run.load) * stiff * worn * this.#stream.factor(this.#unlike);
    const ceiling = this.#milliamps * this.#stall * volts;
    const peak = Math.max(mean * 1.1, mean * this.#startPeak * volts * this.#stream.factor(0.1));
    return this.#measured(this.#runMs(run.load * stiff, volts), Math.min(mean, ceiling), Math.min(peak, ceiling * 1.1));
  }

  /** To the end switch it takes longer with less voltage and more load; by the clock it is the clock. */
  #runMs(load: number, volts: number): number {
    if (!this.#endsBySwitch) return this.#ms + this.#stream.whole(0, 4);
    const ms = ((this.#ms * (0.85 + 0.15 * load)) / Math.max(0.4, volts)) * this.#stream.factor(0.025);
    return Math.min(this.#timeoutMs, Math.round(ms));
  }

  #stalled(volts: number): Turn {
    const ms = this.#endsBySwitch ? this.#timeoutMs : this.#ms;
    const milliamps = this.#milliamps * this.#stall * volts * this.#stream.factor(0.04);
    const share = this.#tripMs === null ? 1 : Math.min(1, this.#tripMs / ms);
    return this.#measured(ms, milliamps * share, milliamps * this.#stream.uniform(1, 1.1));
  }

  #measured(ms: number, mean: number, peak: number): Turn {
    const sensed = (milliamps: number) => {
      const noisy = milliamps + this.#offset + this.#step * 0.5 * this.#stream.normal();
      return Math.max(0, Math.round(noisy / this.#step) * this.#step);
    };
    const meanMilliamps = sensed(mean);
    return { ms, meanMilliamps, peakMilliamps: Math.max(meanMilliamps, sensed(peak)), trueMilliamps: peak };
  }
}
