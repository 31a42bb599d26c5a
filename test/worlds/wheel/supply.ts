import type { Random } from "./random.ts";
import type { SentReadings } from "./sentReadings.ts";
import { day, hour, minute, second } from "./time.ts";

/**
 * What feeds the feeder: a mains adapter at a long cable, or a battery, which is weak in the cold. Some boards restart when the motor
 * starts in frost (brown-out). How often: common practice, no source.
 */
export type SupplyKind = "adapter" | "leadAcid" | "lithiumIronPhosphate" | "lithiumIon";

/** Rest voltage, full and at the level where the keeper charges it again; resistance (ohms) at 20 °C; from memory of data sheets. */
const kinds: { readonly [Kind in SupplyKind]: { full: number; low: number; ohms: number; coldGrowth: number } } = {
  adapter: { full: 5.15, low: 5.15, ohms: 0.25, coldGrowth: 0.002 },
  leadAcid: { full: 12.8, low: 12.1, ohms: 0.08, coldGrowth: 0.02 },
  lithiumIronPhosphate: { full: 13.4, low: 12.9, ohms: 0.06, coldGrowth: 0.06 },
  lithiumIon: { full: 4.15, low: 3.65, ohms: 0.12, coldGrowth: 0.06 },
};

export class Supply {
  readonly kind: SupplyKind;
  private readonly random: Random;
  private readonly ohms: number;
  private readonly drainDays: number; // from full to low
  private readonly hasPanel: boolean;
  private readonly reports: { readonly supply: boolean; readonly battery: boolean; readonly lowest: boolean };
  private readonly voltmeterGain: number;
  private readonly brownOutRate: number; // of a motor start at 0 °C
  private level = 1; // 1 full, 0 where the keeper charges it
  private updatedAt: number;

  constructor(random: Random, begin: number) {
    this.random = random;
    this.updatedAt = begin;
    this.kind = random.pick(["adapter", "adapter", "leadAcid", "leadAcid", "lithiumIronPhosphate", "lithiumIon"]);
    this.ohms = kinds[this.kind].ohms * random.logBetween(0.5, 3);
    this.drainDays = random.between(12, 60);
    this.hasPanel = this.kind !== "adapter" && random.chance(0.5);
    this.voltmeterGain = 1 + 0.01 * random.normal();
    this.brownOutRate = random.chance(0.5) ? 0 : random.logBetween(1e-6, 1e-4);
    const hasBattery = this.kind !== "adapter";
    const reportsBattery = hasBattery && random.chance(0.7);
    this.reports = { supply: random.chance(0.5), battery: reportsBattery, lowest: random.chance(0.3) };
  }

  /** A battery is carried home and charged. */
  charge(): void {
    this.level = 1;
  }

  /** @returns V while the motor starts, as the feeder measures it; null where it doesn't */
  lowestVolts(peakMilliamps: number, air: number): number | null {
    if (!this.reports.lowest) return null;
    const drop = (peakMilliamps / 1_000) * this.resistance(air);
    return this.measured(Math.max(0.7 * this.rest, this.rest - drop) + 0.01 * this.random.normal());
  }

  /** Whether the board restarts as the motor starts: 60 times likelier at -30 °C than at -5 °C. */
  failsAtStart(air: number): boolean {
    return this.random.chance(Math.min(0.02, this.brownOutRate * Math.exp(Math.max(0, -air) / 6)));
  }

  /** How long it is off after a failure: it mostly starts at once, now and then only when it is less cold. */
  offAfterFailure(air: number): number {
    if (air < -15 && this.random.chance(0.08)) return this.random.between(1 * hour, 10 * hour);
    return this.random.between(4 * second, 1.5 * minute);
  }

  /** The battery drains and charges up to now. */
  addReadings(readings: SentReadings, now: number, inside: number, sunDegrees: number): void {
    const charge = this.chargeMilliamps(inside, sunDegrees);
    const span = (now - this.updatedAt) / day;
    this.updatedAt = now;
    this.level = Math.min(1, Math.max(0, this.level - span / this.drainDays + (span * charge) / 2_000));
    if (this.reports.supply) readings.supplyVolts = this.measured(this.railVolts(inside) + 0.01 * this.random.normal());
    if (this.reports.battery) {
      readings.batteryVolts = this.measured(this.rest - 0.06 * this.resistance(inside) + 0.01 * this.random.normal());
      if (this.hasPanel) readings.chargeMilliamps = Math.round(charge);
      if (this.hasPanel) readings.batteryCelsius = Math.round(10 * inside) / 10;
    }
  }

  /** A guard keeps lithium cells from being charged in frost. */
  private chargeMilliamps(inside: number, sunDegrees: number): number {
    if (!this.hasPanel || sunDegrees <= 3 || this.level >= 1) return 0;
    if (this.kind !== "leadAcid" && inside < 2) return 0;
    return 400 * Math.sin((sunDegrees * Math.PI) / 180) * this.random.between(0.2, 1);
  }

  private railVolts(air: number): number {
    return this.kind === "adapter" ? this.rest - 0.15 * this.resistance(air) : 5.05;
  }

  private get rest(): number {
    const { full, low } = kinds[this.kind];
    return low + (full - low) * this.level;
  }

  private resistance(air: number): number {
    return this.ohms * (1 + kinds[this.kind].coldGrowth * Math.max(0, 20 - air));
  }

  private measured(volts: number): number {
    return Math.round(100 * volts * this.voltmeterGain) / 100;
  }
}
