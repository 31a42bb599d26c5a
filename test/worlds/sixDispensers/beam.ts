import { day } from "./agenda.ts";
import type { Mix, Taken } from "./hopper.ts";
import type { Malfunction } from "./malfunction.ts";
import type { Build } from "./mechanism.ts";
import type { Stream } from "./stream.ts";

/**
 * Light across the chute, broken by what falls. It can't count two pieces that pass together: for a dead time t and n pieces in a
 * time T it sees about n / (1 + n t / T) (a counter that isn't paralysed: Knoll, Radiation Detection and Measurement, from memory).
 */
export class ChuteBeam {
  readonly #stream: Stream;
  readonly #malfunction: Malfunction;
  readonly #mix: Mix;
  readonly #covers: number; // share of the chute that the light crosses
  readonly #deadMs: number;
  readonly #fallMs: number;
  readonly #twice: number; // pieces that tumble and are seen twice
  readonly #sizeSeen: number; // mm: of half of the smaller pieces nothing is seen where the light is clear
  readonly #dirtPerDay: number;
  readonly #strayPerDay: number; // insects, drops, dust
  readonly #blindDays: number; // how long planted dirt takes until nothing is seen
  #cleanedAt: number;

  constructor(stream: Stream, build: Build, mix: Mix, malfunction: Malfunction, at: number) {
    this.#stream = stream;
    this.#malfunction = malfunction;
    this.#mix = mix;
    this.#covers = stream.uniform(0.65, 1);
    this.#deadMs = stream.logUniform(2, 25);
    this.#fallMs = stream.logUniform(...build.fallMs);
    this.#twice = stream.uniform(0, 0.07);
    this.#sizeSeen = stream.uniform(1, 4.5);
    this.#dirtPerDay = stream.logUniform(0.0003, 0.006);
    this.#strayPerDay = stream.logUniform(0.02, 3);
    this.#blindDays = stream.uniform(5, 9);
    this.#cleanedAt = at - stream.uniform(0, 20) * day;
  }

  wipe(now: number): void {
    this.#cleanedAt = now;
  }

  /** Pieces counted in one run. */
  count(now: number, taken: Taken): number {
    const sight = this.#sight(now);
    if (sight <= 0) return 0;
    let seen = 0;
    taken.counts.forEach((count, index) => {
      const size = this.#mix.grains[index]?.size ?? 1;
      const clear = 1 / (1 + (this.#sizeSeen / (size * sight)) ** 4); // what dirt leaves of the light, small pieces dim too little
      seen += this.#stream.binomial(count, this.#covers * clear * sight ** 0.25);
    });
    const apart = seen / (1 + (seen * this.#deadMs) / (this.#fallMs * this.#stream.uniform(0.6, 1.3)));
    const counted = Math.floor(apart + this.#stream.unit());
    return counted + this.#stream.binomial(counted, this.#twice) + (this.#stream.chance(0.002) ? 1 : 0);
  }

  /** Counted outside of runs, in the running total only. */
  strays(now: number, span: number): number {
    const isStray = this.#stream.unit() < (this.#strayPerDay * span) / day;
    return isStray && this.#stream.chance(this.#sight(now)) ? 1 : 0;
  }

  /** 1 is clean glass, 0 is none of the light. */
  #sight(now: number): number {
    const { kind, since } = this.#malfunction;
    if (kind === "chuteBlind") return 0;
    const dust = Math.exp(-this.#dirtPerDay * ((now - this.#cleanedAt) / day));
    if (kind !== "chuteDirty" || since === null) return dust;
    // Grease with dust on it, on the inner side where no wiping gets to it.
    return dust * Math.max(0, 1 - ((now - since) / day / this.#blindDays) ** 1.5);
  }
}
