import type { PlantedFault } from "./fault.ts";
import type { Random } from "./random.ts";
import { hour, minute } from "./time.ts";
import type { Sky } from "./weather.ts";

/**
 * A cheap load cell with its amplifier under the hopper, mostly on a lever with friction. Errors of such cells: zero 0.02 to 0.1 % of
 * full scale each 10 K, span 0.02 to 0.1 % each 10 K, creep 0.03 to 0.1 % of full scale in some minutes to half an hour, non-linearity
 * left out (data sheets of bar cells, from memory). Outdoors makers of hive scales report more, some grams a kelvin (forum reports).
 */
export interface Load {
  readonly food: number; // grams
  readonly roof: number; // snow and ice
  readonly birds: number;
  readonly hands: number;
}

export class Scale {
  private readonly random: Random;
  private readonly fault: PlantedFault;
  private readonly resolution: number;
  private readonly noise: number;
  private readonly carries: number; // share of snow, birds and wind that it feels: 0 where only the hopper hangs on it
  private readonly sticks: number; // g: so much the load changes before the lever moves; 0: no lever
  private readonly slides: number; // g: so far from the true load it comes to rest again
  private readonly tareError: number;
  private readonly gain: number;
  private readonly zeroDrift: number; // g/K
  private readonly spanDrift: number; // 1/K
  private readonly creep: number; // share of the load
  private readonly creepTime: number;
  private readonly ageing: number; // g in a day, as a random walk
  private readonly fullScale: number;
  private readonly isNullWhenDead: boolean;
  private readonly flickersWhenStuck: boolean;
  private lever: number | null = null;
  private followed = 0; // the load as it was felt over the creep's time
  private cellCelsius: number | null = null; // lags behind the air
  private walk = 0;
  private readAt: number | null = null;
  private last: number | null = null;

  constructor(random: Random, fault: PlantedFault, capacity: number, portion: number) {
    this.random = random;
    this.fault = fault;
    this.resolution = random.pick([0.5, 1, 1, 2, 5, 5, 10]);
    this.noise = random.logBetween(0.2, 4);
    this.carries = random.chance(0.45) ? 0 : random.between(0.3, 1);
    const hasLever = random.chance(0.6);
    this.sticks = hasLever ? portion * random.logBetween(0.3, 4) : 0;
    this.slides = this.sticks * random.between(0, 0.5);
    this.fullScale = random.pick([2_000, 5_000, 10_000, 20_000].filter((full) => full > 1.2 * capacity) as [number]);
    this.tareError = random.chance(0.2) ? 80 * random.normal() : 10 * random.normal();
    this.gain = 1 + (random.chance(0.2) ? 0.06 : 0.01) * random.normal();
    this.zeroDrift = 0.000_1 * this.fullScale * random.logBetween(0.2, 1.5) * random.pick([-1, 1]);
    this.spanDrift = 0.000_1 * random.normal();
    this.creep = random.between(0, 0.002);
    this.creepTime = random.between(10 * minute, 2 * hour);
    this.ageing = random.logBetween(0.1, 4);
    this.isNullWhenDead = random.chance(0.5);
    this.flickersWhenStuck = random.chance(0.5);
  }

  /** @returns grams; null: the reading is null; undefined: it is left out */
  read(now: number, load: Load, sky: Sky): number | null | undefined {
    const measured = this.measure(now, load, sky);
    if (this.fault.active === "scaleDead") return this.isNullWhenDead ? null : undefined;
    if (this.fault.active === "scaleStuck" && this.last !== null) return this.stuckReading(this.last);
    this.last = measured;
    return measured;
  }

  private stuckReading(last: number): number {
    const flicker = this.flickersWhenStuck && this.random.chance(0.03) ? this.random.pick([-1, 1]) : 0;
    return rounded(last + flicker * this.resolution);
  }

  private measure(now: number, load: Load, sky: Sky): number {
    const { random } = this;
    const span = now - (this.readAt ?? now);
    this.readAt = now;
    this.cellCelsius = follow(this.cellCelsius ?? sky.air, sky.air, span / (1.5 * hour));
    const felt = this.throughLever(load, sky, span);
    this.followed = follow(this.followed, felt, span / this.creepTime);
    if (span > 0) this.walk += this.ageing * Math.sqrt(span / (24 * hour)) * random.normal();
    const warmer = this.cellCelsius - 15;
    const grams =
      felt * this.gain * (1 + this.spanDrift * warmer) +
      this.creep * this.followed +
      this.tareError +
      this.zeroDrift * warmer +
      this.walk +
      this.noise * random.normal();
    const limited = Math.min(1.2 * this.fullScale, Math.max(-1_900, grams));
    return rounded(Math.round(limited / this.resolution) * this.resolution);
  }

  /** Dry friction: the lever stands until the load has changed by more than holds it, then slides (stick-slip). */
  private throughLever({ food, roof, birds, hands }: Load, { wind }: Sky, span: number): number {
    const gusts = this.carries > 0 ? this.carries * 0.25 * wind * wind * this.random.normal() : 0; // g; from memory
    const load = food + this.carries * (roof + birds) + hands;
    if (this.sticks === 0) return load + gusts;
    const pushed = load + gusts;
    const lever = this.lever ?? load;
    const isShaken = birds > 0 || this.random.chance(Math.min(0.5, (span / hour) * 0.02 * wind));
    if (hands !== 0 || (isShaken && this.random.chance(0.3))) this.lever = load;
    else if (Math.abs(pushed - lever) > this.sticks) this.lever = load - Math.sign(pushed - lever) * this.slides;
    else this.lever = lever;
    return this.lever;
  }
}

const follow = (from: number, to: number, spans: number): number => from + (to - from) * (1 - Math.exp(-spans));
const rounded = (value: number): number => Math.round(100 * value) / 100;
