import type { PlantedFault } from "./fault.ts";
import type { Random } from "./random.ts";
import type { SentReadings } from "./sentReadings.ts";
import type { Sky } from "./weather.ts";

/**
 * Thermometers and the hygrometer, each with its offset and resolution. The first one that the feeder has is the one that gets stuck.
 */
interface Thermometer {
  readonly name: "airCelsius" | "insideCelsius" | "lidCelsius";
  readonly offset: number;
  readonly resolution: number;
}

export class Thermometers {
  private readonly thermometers: readonly Thermometer[];
  private readonly hygrometerOffset: number | null; // null: it has none
  private readonly selfHeating: number;
  private readonly random: Random;
  private readonly fault: PlantedFault;
  private stuckAt: number | null = null;

  constructor(random: Random, fault: PlantedFault) {
    this.random = random;
    this.fault = fault;
    this.selfHeating = random.between(0.5, 5); // K, of electronics in a box: common practice, no source
    const hasAir = random.chance(0.88);
    const names = [
      ...(hasAir ? (["airCelsius"] as const) : []),
      ...(!hasAir || random.chance(0.4) ? (["insideCelsius"] as const) : []),
      ...(random.chance(0.15) ? (["lidCelsius"] as const) : []),
    ];
    this.thermometers = names.map((name) => ({ name, ...drawErrors(random) }));
    // +-2 to +-5 % with capacitive ones of the cheap kind (data sheets, from memory); they age in the damp.
    this.hygrometerOffset = random.chance(0.35) ? 3 * random.normal() : null;
  }

  addReadings(readings: SentReadings, sky: Sky, sunDegrees: number): void {
    for (const thermometer of this.thermometers) {
      readings[thermometer.name] = this.measure(thermometer, sky, sunDegrees);
    }
    this.getStuck(readings);
    if (this.hygrometerOffset !== null) {
      const humidity = sky.humidity + this.hygrometerOffset + 0.4 * this.random.normal();
      readings.humidityPercent = Math.round(10 * Math.min(100, Math.max(1, humidity))) / 10;
    }
  }

  private getStuck(readings: SentReadings): void {
    const name = this.thermometers[0]?.name;
    if (this.fault.active !== "thermometerStuck" || name === undefined) return;
    this.stuckAt ??= readings[name] ?? 0;
    readings[name] = this.stuckAt;
  }

  private measure({ name, offset, resolution }: Thermometer, sky: Sky, sunDegrees: number): number {
    const measured = this.truth(name, sky, sunDegrees) + offset + 0.05 * this.random.normal();
    return Math.round(Math.round(measured / resolution) * resolution * 1e4) / 1e4;
  }

  /** The lid cools by radiation on clear nights and heats in the sun: some kelvin and up to twenty, from memory. */
  private truth(name: Thermometer["name"], { air, cloud, wind }: Sky, sunDegrees: number): number {
    if (name === "airCelsius") return air;
    const calm = 1 / (1 + 0.3 * wind);
    const sun = sunDegrees > 0 ? 25 * Math.sin((sunDegrees * Math.PI) / 180) : 0;
    const lid = air + calm * (1 - cloud) * (sun - 6);
    return name === "lidCelsius" ? lid : air + this.selfHeating + 0.3 * (lid - air);
  }
}

/**
 * Digital thermometers: +-0.5 K at 0.0625 K (DS18B20 data sheet; +-2 K below -30 °C, and copies are worse), +-0.3 K at 0.1 K, and
 * +-2 K at 1 K for the cheapest (data sheets, from memory).
 */
function drawErrors(random: Random): { offset: number; resolution: number } {
  const resolution = random.pick([0.0625, 0.0625, 0.1, 0.5, 1]);
  return { resolution, offset: (resolution === 1 ? 1.2 : 0.5) * random.normal() };
}
