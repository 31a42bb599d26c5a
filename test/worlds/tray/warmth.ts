import { type Celsius, celsius } from "../../../server/domain/units.ts";
import type { PlantedFault } from "./plantedFault.ts";
import type { Random } from "./random.ts";
import { hour, minute } from "./time.ts";
import { type Sky, weatherStep } from "./weather.ts";

/** How warm the feeder's parts are, and how wet its lid: each part follows air, sun and clear sky at its own pace. */
export class Warmth {
  inside: number;
  lid: number;
  battery: number;
  /** Millimetres of dew and rain that stand on the lid. */
  lidWater = 0;
  private readonly build;

  constructor(random: Random, air: number) {
    this.build = {
      lidSun: random.between(8, 38), // kelvin in full sun: from white wood in half shade to dark sheet metal
      lidSky: random.between(2, 7), // kelvin below the air in a clear calm night
      boxSun: random.between(3, 20),
      boxOwn: random.between(0.3, 4), // from the electronics
      boxSpan: random.between(20, 100) * minute,
      batterySpan: random.between(2, 6) * hour,
    };
    this.inside = this.lid = this.battery = air;
  }

  step(sky: Sky): void {
    const { build } = this;
    const sun = (sky.sunWatts / 1000) * (1 / (1 + sky.wind / 8));
    const night = sky.sunWatts > 20 ? 0 : (1 - sky.cloud) / (1 + sky.wind / 3);
    this.lid += 0.45 * (sky.air + build.lidSun * sun - build.lidSky * night - this.lid);
    this.inside += (weatherStep / build.boxSpan) * (sky.air + build.boxSun * sun + build.boxOwn - this.inside);
    this.battery += (weatherStep / build.batterySpan) * (this.inside - this.battery);
    const dew = Math.max(0, sky.dewPoint - this.lid) * 0.004;
    const drying = 0.0006 * Math.max(0, this.lid - sky.dewPoint) * (1 + sky.wind);
    this.lidWater = Math.min(0.8, Math.max(0, this.lidWater + dew + sky.rain / 12 - drying));
  }
}

export type ThermometerName = "airCelsius" | "insideCelsius" | "lidCelsius" | "batteryCelsius";

/** What is fitted, and what each shows: an own error, own steps, and sun on the one that should be in the shade. */
export class Thermometers {
  readonly fitted: readonly ThermometerName[];
  private readonly random: Random;
  private readonly fault: PlantedFault;
  private readonly stuckName: ThermometerName;
  private readonly build;
  private stuckValue: number | null = null;
  private readonly errors: Readonly<Record<ThermometerName, number>>;

  constructor(random: Random, fault: PlantedFault, hasBattery: boolean) {
    this.random = random;
    this.fault = fault;
    const airOrInside: ThermometerName = random.chance(0.7) ? "airCelsius" : "insideCelsius";
    const fitted = new Set<ThermometerName>([airOrInside]);
    if (random.chance(0.7)) fitted.add("airCelsius");
    if (random.chance(0.5)) fitted.add("insideCelsius");
    if (random.chance(0.3)) fitted.add("lidCelsius");
    if (hasBattery && random.chance(0.4)) fitted.add("batteryCelsius");
    this.fitted = [...fitted];
    this.stuckName = random.pick(this.fitted);
    this.build = {
      step: random.pick([0.0625, 0.1, 0.1, 0.5]), // of usual digital thermometers
      noise: random.logBetween(0.01, 0.15),
      sunOnAir: random.between(0, 5),
      flickers: random.chance(0.3), // a stuck one still flickers in its last digit
      showsPowerOn: random.chance(0.15), // 85 degrees, as a usual kind shows before its first measurement
    };
    const error = () => random.normal(0, 0.35);
    this.errors = { airCelsius: error(), insideCelsius: error(), lidCelsius: error(), batteryCelsius: error() };
  }

  read(name: ThermometerName, at: number, warmth: Warmth, sky: Sky): Celsius {
    const { build, random } = this;
    if (name === this.stuckName && this.fault.is("thermometerStuck", at)) {
      this.stuckValue ??= this.shown(name, warmth, sky);
      const flicker = build.flickers && random.chance(0.2) ? build.step * random.sign() : 0;
      return celsius(round(this.stuckValue + flicker));
    }
    return celsius(this.shown(name, warmth, sky));
  }

  /** The first reading after a start, of a kind that is asked too early. */
  powerOnValue = (): Celsius | null => (this.build.showsPowerOn && this.random.chance(0.15) ? celsius(85) : null);

  private shown(name: ThermometerName, warmth: Warmth, sky: Sky): number {
    const { build } = this;
    const value = trueValue(name, warmth, sky) + (name === "airCelsius" ? (build.sunOnAir * sky.sunWatts) / 1000 : 0);
    const noisy = value + this.errors[name] + this.random.normal(0, build.noise);
    return round(Math.round(noisy / build.step) * build.step);
  }
}

function trueValue(name: ThermometerName, warmth: Warmth, sky: Sky): number {
  switch (name) {
    case "airCelsius":
      return sky.air;
    case "insideCelsius":
      return warmth.inside;
    case "lidCelsius":
      return warmth.lid;
    case "batteryCelsius":
      return warmth.battery;
  }
}

const round = (value: number): number => Math.round(value * 10_000) / 10_000;
