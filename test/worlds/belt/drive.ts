import { day } from "./agenda.ts";
import { type Chance, Drifting } from "./chance.ts";
import type { Planted } from "./planted.ts";
import type { Sky } from "./weather.ts";

/** What the motor's driver measured in one run. */
export interface Turning {
  readonly ms: number;
  readonly meanMilliamps: number;
  readonly peakMilliamps: number;
  readonly trueMilliamps: number; // mean that the supply gave
  readonly isProtected: boolean; // the program stopped it for its current
}

/**
 * A gear motor with a worm. Its current: a part for itself and a part for the belt's load, both stiffer in the cold (grease); at a
 * standstill what the winding lets through, five to twelve times the usual (data sheets of small gear motors, from memory).
 */
export class Drive {
  readonly #chance: Chance;
  readonly #planted: Planted;
  readonly #wear: Drifting;
  readonly #msPerStep: number;
  readonly #countsTurns: boolean; // runs a way; else for a time
  readonly #givesUpAfter: number; // by the usual time, where it counts turns
  readonly #usual: number; // mA
  readonly #stall: number;
  readonly #loadPart: number;
  readonly #grease: number; // per K below 15 °C
  readonly #inrushSeen: number; // share of the standstill current that the slow sampling sees at the start
  readonly #sensor: { readonly gain: number; readonly offset: number; readonly step: number };
  readonly #protectsAfter: number | null; // ms

  constructor(chance: Chance, planted: Planted, begin: number) {
    this.#chance = chance;
    this.#planted = planted;
    this.#wear = new Drifting(chance, 20 * day, begin);
    this.#msPerStep = chance.factorBetween(120, 900);
    this.#countsTurns = chance.happens(0.4);
    this.#givesUpAfter = chance.between(1.8, 4);
    this.#usual = chance.factorBetween(60, 420);
    this.#stall = this.#usual * chance.between(5, 12);
    this.#loadPart = chance.between(0.1, 0.5);
    this.#grease = chance.between(0.002, 0.018);
    this.#inrushSeen = chance.between(0.25, 0.95);
    this.#sensor = {
      gain: chance.between(0.9, 1.1),
      offset: chance.between(-6, 12),
      step: chance.pick([0.8, 2, 5, 12, 24]),
    };
    this.#protectsAfter = chance.happens(0.35) ? chance.between(200, 900) : null;
  }

  /** How many steps it makes where so many are ordered: in a given time it gets less far in the cold or on a weak supply. */
  stepsFor(ordered: number, sky: Sky, supplyRatio: number): number {
    if (this.#countsTurns) return ordered;
    const speed = supplyRatio * (1 - 0.0025 * Math.max(0, -sky.air));
    return Math.max(1, this.#chance.rounded(ordered * Math.min(1.1, Math.max(0.6, speed))));
  }

  /** @param load of the belt, 1 as built and full */
  turn(orderedSteps: number, madeSteps: number, load: number, sky: Sky, now: number): Turning {
    const planted = this.#planted;
    const usualMs = this.#msPerStep * (this.#countsTurns ? orderedSteps : Math.max(orderedSteps, madeSteps));
    if (planted.is("motorWireOff")) return this.#measured(this.#noTurnMs(usualMs), 0, 0);
    const grease = 1 + this.#grease * Math.max(0, 15 - sky.air);
    const wear = 1 + 0.06 * this.#wear.valueAt(now);
    const stall = this.#stall * (1 - 0.002 * (sky.air - 20)); // copper resists less in the cold: 0.4 % per K, in part
    if (planted.is("motorStalled")) return this.#stalled(usualMs, stall);
    const jam = planted.is("trayJammed") ? planted.shows.jamLoad : 1;
    const torque = planted.is("trayPartlyJammed") ? 0.5 + 0.5 * planted.shows.jamLoad : jam;
    const part = 1 - this.#loadPart + this.#loadPart * load;
    const mean = this.#usual * part * grease * wear * torque * this.#chance.spread(0.05);
    const inrush = stall * this.#inrushSeen * this.#chance.spread(0.08);
    const ms = this.#countsTurns ? usualMs * this.#chance.spread(0.03) * (2 - Math.min(1, 1 / grease)) : usualMs;
    return this.#measured(ms, Math.min(mean, 0.9 * stall), Math.max(1.15 * mean, inrush));
  }

  #stalled(usualMs: number, stall: number): Turning {
    const ms = this.#protectsAfter ?? this.#noTurnMs(usualMs);
    const turning = this.#measured(ms, stall * this.#chance.between(0.85, 0.98), stall);
    return { ...turning, isProtected: this.#protectsAfter !== null };
  }

  #noTurnMs(usualMs: number): number {
    return this.#countsTurns ? usualMs * this.#givesUpAfter : usualMs;
  }

  #measured(ms: number, mean: number, peak: number): Turning {
    const { gain, offset, step } = this.#sensor;
    const shown = (milliamps: number) =>
      Math.max(
        0,
        Math.round(step * Math.round((gain * milliamps + offset + 0.5 * step * this.#chance.gauss()) / step)),
      );
    const meanMilliamps = shown(mean);
    return {
      ms: Math.round(ms),
      meanMilliamps,
      peakMilliamps: Math.max(meanMilliamps, shown(peak)),
      trueMilliamps: mean,
      isProtected: false,
    };
  }
}
