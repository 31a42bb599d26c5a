import { clamp, roundTo } from "./numbers.ts";
import type { PlantedFault } from "./planted.ts";
import type { Random } from "./random.ts";
import { day, lagShare, minute } from "./time.ts";
import type { WeatherHour } from "./weather.ts";

/** A cheap load cell with its amplifier, somewhere in the sun and the wind. */
export class Scale {
  readonly #traits: ScaleTraits;
  readonly #random: Random;
  #cellCelsius: number;
  #creep = 0;
  #played: number; // what the metal still holds of its loads before
  #wander = 0; // of the zero, over weeks
  #last: number;
  #stuckAt: number | null = null;

  constructor(random: Random, begin: number, celsius: number, loadGrams: number) {
    this.#random = random;
    this.#traits = drawTraits(random);
    this.#cellCelsius = celsius;
    this.#played = loadGrams;
    this.#last = begin;
  }

  /**
   * @param celsius of the air now
   * @returns undefined where the reading is left out
   */
  read(at: number, loadGrams: number, air: WeatherHour, celsius: number, fault: PlantedFault): Reading {
    this.#follow(at, loadGrams, celsius + this.#traits.sunKelvin * air.sunshine);
    if (fault.is("scaleDead", at)) return fault.traits.scaleLeftOut ? undefined : null;
    if (fault.is("scaleStuck", at)) return this.#stuckReading(loadGrams, air, fault);
    return this.#random.chance(this.#traits.failures) ? null : this.#reading(loadGrams, air);
  }

  #reading(loadGrams: number, air: WeatherHour): number {
    const { tareGrams, spanError, zeroPerKelvin, spanPerKelvin, noiseGrams, windGrams, step } = this.#traits;
    const warm = this.#cellCelsius - 20;
    const noise = noiseGrams + windGrams * air.windMetresPerSecond ** 2;
    const grams =
      tareGrams +
      zeroPerKelvin * warm +
      this.#wander +
      loadGrams * (1 + spanError + spanPerKelvin * warm) +
      this.#creep +
      (this.#played - loadGrams) +
      noise * this.#random.normal();
    return clamp(roundTo(step, grams), -2_000, 30_000);
  }

  #stuckReading(loadGrams: number, air: WeatherHour, { traits }: PlantedFault): number {
    this.#stuckAt ??= this.#reading(loadGrams, air);
    const flicker = traits.scaleFlickers && this.#random.chance(0.15) ? this.#random.pick([-1, 1]) : 0;
    return clamp(roundTo(this.#traits.step, this.#stuckAt + flicker * this.#traits.step), -2_000, 30_000);
  }

  #follow(at: number, loadGrams: number, outside: number): void {
    const span = at - this.#last;
    this.#last = at;
    const { thermalTime, creepShare, creepTime, hysteresisGrams, wanderGrams, wanderTime } = this.#traits;
    this.#cellCelsius += (outside - this.#cellCelsius) * lagShare(span, thermalTime);
    this.#creep += (creepShare * loadGrams - this.#creep) * lagShare(span, creepTime);
    // The play operator, the simplest model of hysteresis: it follows a change only beyond half the width of the loop.
    this.#played = clamp(this.#played, loadGrams - hysteresisGrams, loadGrams + hysteresisGrams);
    const share = lagShare(span, wanderTime);
    this.#wander += -share * this.#wander + wanderGrams * Math.sqrt(2 * share) * this.#random.normal();
  }
}

type Reading = number | null | undefined;

interface ScaleTraits {
  readonly tareGrams: number;
  readonly spanError: number;
  readonly zeroPerKelvin: number;
  readonly spanPerKelvin: number;
  readonly creepShare: number;
  readonly creepTime: number;
  readonly hysteresisGrams: number;
  readonly wanderGrams: number;
  readonly wanderTime: number;
  readonly thermalTime: number;
  readonly sunKelvin: number;
  readonly noiseGrams: number;
  readonly windGrams: number;
  readonly step: number;
  readonly failures: number;
}

function drawTraits(random: Random): ScaleTraits {
  const ratedGrams = random.pick([3_000, 5_000, 10_000, 20_000]);
  const isPoor = random.chance(0.35); // half bridges of kitchen and bathroom scales, mounts of wood
  const worse = isPoor ? 3 : 1;
  const sign = () => random.pick([-1, 1]);
  return {
    tareGrams: random.between(-60, 60),
    spanError: 0.008 * random.normal(),
    // A maker of strain gauges: modern cells stay below 0.05 % of the rated load by 10 K at the zero. Cheap ones have up to 0.1 % (data
    // sheets, from memory); beekeepers measure "a few g per K" on larger ones (a forum on hive scales).
    zeroPerKelvin: sign() * ratedGrams * random.between(0.00001, 0.0001) * worse,
    spanPerKelvin: sign() * random.between(0.00001, 0.00008) * worse,
    // OIML R 60 allows 0.7 of the error limit for creep in 30 minutes; sheets of cheap cells say 0.03 to 0.1 % (from memory).
    creepShare: random.between(0.0002, 0.0015) * worse,
    creepTime: random.between(10, 60) * minute,
    hysteresisGrams: ratedGrams * random.between(0.0001, 0.0005), // half a loop; sheets say 0.02 to 0.05 % (from memory)
    wanderGrams: random.logBetween(0.5, 12), // common practice, no source
    wanderTime: random.between(8, 40) * day,
    thermalTime: random.between(15, 90) * minute,
    sunKelvin: random.between(0, 14),
    noiseGrams: random.logBetween(0.03, 1.5),
    windGrams: random.logBetween(0.003, 0.06), // by the square of the wind's speed, as its pressure goes
    step: random.pick([0.1, 0.2, 0.5, 1, 1, 2, 5]),
    failures: random.chance(0.3) ? random.logBetween(0.0002, 0.01) : 0,
  };
}
