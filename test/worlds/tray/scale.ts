import { type Grams, grams } from "../../../server/domain/units.ts";
import type { PlantedFault } from "./plantedFault.ts";
import type { Random } from "./random.ts";
import { day, minute } from "./time.ts";
import type { Warmth } from "./warmth.ts";
import { type Sky, weatherStep } from "./weather.ts";

/**
 * The load cell that carries the hopper. Widths of steps, drift with warmth, creep and hysteresis: from cheap amplifiers with 24
 * bits on 5 and 10 kg cells as their data sheets have them, and wooden mounts that add more of their own (from memory).
 */
export class Scale {
  private readonly random: Random;
  private readonly fault: PlantedFault;
  private readonly build;
  private settled: number | null = null; // the load as it was, by and by: creep follows it
  private settledAt = 0;
  private most = 0;
  private soaked = 0; // grams of water in the wood
  private dust = 0; // grams of dust, leaves and droppings on the lid
  private walk = 0;
  private stuckAt: number | null = null;

  constructor(random: Random, fault: PlantedFault) {
    this.random = random;
    this.fault = fault;
    this.build = {
      step: random.pick([0.1, 0.2, 0.5, 1, 1, 2, 5]),
      zero: random.normal(0, 12),
      span: 1 + random.normal(0, 0.008),
      zeroPerKelvin: random.sign() * random.logBetween(0.03, 1.2),
      spanPerKelvin: random.normal(0, 0.00008),
      creep: random.logBetween(0.0002, 0.003),
      creepSpan: random.between(8, 45) * minute,
      hysteresis: random.logBetween(0.0001, 0.001),
      noise: random.logBetween(0.05, 1.5),
      windGrams: random.logBetween(0.005, 0.25), // by the square of the wind's speed
      lidSquareMetres: random.pick([0, random.between(0.04, 0.2)]), // 0: the lid stands on its own posts
      woodMost: random.pick([0, random.logBetween(4, 120)]),
      hopperGrams: random.between(250, 1400), // its own mass, which the tare hides
      walkDaily: random.logBetween(0.05, 2.5),
      dustDaily: random.logBetween(0.02, 1),
      deadNull: random.chance(0.5), // null, or left out
      stuckNoise: random.pick([0, 0, 0.3, 1]), // in steps
    };
  }

  readonly carriesLid = (): boolean => this.build.lidSquareMetres > 0;

  step(sky: Sky, warmth: Warmth): void {
    const { build, random } = this;
    const share = weatherStep / day;
    const wet = build.woodMost * Math.min(1, warmth.lidWater * 2 + Math.max(0, sky.humidity - 50) / 200);
    this.soaked += share * (wet > this.soaked ? 4 : 0.8) * (wet - this.soaked);
    this.walk += random.normal(0, build.walkDaily * Math.sqrt(share));
    this.walk -= (share / 40) * this.walk;
    this.dust += share * build.dustDaily * (1 + 15 * sky.dust);
    if (sky.rain > 1) this.dust *= 0.97;
  }

  wipeLid(): void {
    this.dust = 0;
  }

  /** @param load food and its water. @param extra birds and hands. @returns undefined where the reading is left out */
  read(at: number, load: number, extra: number, places: ScalePlaces): Grams | null | undefined {
    if (this.fault.is("scaleDead", at)) return this.build.deadNull ? null : undefined;
    if (this.fault.is("scaleStuck", at)) {
      this.stuckAt ??= this.measured(at, load, 0, places);
      const flicker = Math.round(this.random.normal(0, this.build.stuckNoise)) * this.build.step;
      return grams(round(this.stuckAt + flicker));
    }
    return grams(this.measured(at, load, extra, places));
  }

  private measured(at: number, load: number, extra: number, { sky, warmth, isOff }: ScalePlaces): number {
    const { build, random } = this;
    const passed = 1 - Math.exp(-(at - this.settledAt) / build.creepSpan);
    this.settled = this.settled === null ? load : this.settled + passed * (load - this.settled);
    this.settledAt = at;
    this.most = load > this.most ? load : Math.max(load, this.most - 0.001 * (this.most - load));
    const water = 1000 * build.lidSquareMetres * warmth.lidWater;
    const onLid = build.lidSquareMetres > 0 ? water + this.dust : 0;
    const carried = isOff ? -build.hopperGrams : onLid + this.soaked;
    const kelvin = warmth.inside - 20;
    const wind = build.windGrams * sky.wind ** 2;
    const value =
      (load + carried + extra) * (build.span + build.spanPerKelvin * kelvin) +
      build.zero +
      build.zeroPerKelvin * kelvin +
      this.walk +
      build.creep * this.settled +
      build.hysteresis * (this.most - load) +
      random.normal(0, build.noise + 0.3 * wind) +
      (build.lidSquareMetres > 0 ? 0.3 * wind : 0);
    return round(Math.max(-1999, Math.round(value / build.step) * build.step));
  }
}

interface ScalePlaces {
  readonly sky: Sky;
  readonly warmth: Warmth;
  readonly isOff: boolean;
}

const round = (value: number): number => Math.round(value * 10) / 10;
