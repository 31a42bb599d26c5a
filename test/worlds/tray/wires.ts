import type { Random } from "./random.ts";
import { day } from "./time.ts";
import { weatherStep } from "./weather.ts";

/**
 * Jumper wires on pins: warmth works them loose day by day, until a keeper's hand pushes them in again. In a healthy feeder
 * this shows as some tenths of an ohm and a reading that is missing now and then. Common practice, no source.
 */
export class Wires {
  private readonly random: Random;
  private readonly creepOhms: number; // a day with a swing of twenty kelvin
  private readonly glitchShare: number;
  private readonly ohmsMin: number;
  private ohmsNow: number;
  private latest: number | null = null;

  constructor(random: Random) {
    this.random = random;
    const soldered = random.chance(0.35);
    this.creepOhms = soldered ? 0 : random.logBetween(0.0005, 0.012);
    this.glitchShare = soldered ? 0 : random.logBetween(0.00001, 0.0015);
    this.ohmsMin = random.logBetween(0.01, 0.12);
    this.ohmsNow = this.ohmsMin;
  }

  step(inside: number): void {
    const moved = Math.abs(inside - (this.latest ?? inside));
    this.latest = inside;
    // A day's way up and down of twenty kelvin each.
    const share = moved / 40 + (0.05 * weatherStep) / day;
    this.ohmsNow += this.creepOhms * share * this.random.exponential(1);
  }

  ohms = (): number => Math.min(0.7, this.ohmsNow);
  isLoose = (): boolean => this.glitchShare > 0 && this.random.chance(this.glitchShare * (1 + 3 * this.ohms()));

  pushIn(): void {
    this.ohmsNow = this.ohmsMin * this.random.between(1, 1.5);
  }
}
