import { day, hour } from "./agenda.ts";
import type { Place } from "./place.ts";
import type { Sky } from "./sky.ts";
import type { Stream } from "./stream.ts";

type Battery = "none" | "leadAcid" | "lithiumIronPhosphate" | "lithiumIon";

interface Cell {
  readonly empty: number; // volts at rest
  readonly full: number;
  readonly charging: number; // volts that the charger doesn't exceed
  readonly ohms: readonly [number, number];
}

/** Voltages at rest, from memory of makers' tables; straight between, which none is quite. */
const cells: Record<Exclude<Battery, "none">, Cell> = {
  leadAcid: { empty: 11.9, full: 12.75, charging: 14.1, ohms: [0.03, 0.25] },
  lithiumIronPhosphate: { empty: 12.8, full: 13.35, charging: 14.2, ohms: [0.03, 0.15] },
  lithiumIon: { empty: 3.5, full: 4.12, charging: 4.18, ohms: [0.05, 0.25] },
};

/**
 * Mains adapter, or a battery with or without a panel. A healthy one lasts: where the winter's sun isn't enough, the keeper brings a
 * charged battery. Lithium isn't charged in frost, since a battery guard refuses.
 */
export class Power {
  readonly #stream: Stream;
  readonly battery: Battery;
  readonly #cell: Cell | null;
  readonly #ohms: number; // between source and motor
  readonly #rail: number; // volts, where a converter makes them
  readonly #railIsBattery: boolean;
  readonly #capacity: number; // milliampere-hours
  readonly #loadMilliamps: number;
  readonly #panelMilliamps: number; // in full sun
  readonly #reports: {
    readonly supply: boolean;
    readonly lowest: boolean;
    readonly warmth: boolean;
    readonly charge: boolean;
  };
  readonly #signed: boolean; // the charge reading is what flows in and out
  #stored = 0.9;
  #warmth: number; // °C
  #charge = 0; // milliamps
  readonly #swapBelow: number;

  constructor(stream: Stream, place: Place, sky: Sky) {
    this.#stream = stream;
    const hasMains = stream.chance(Math.abs(place.latitude) > 57 ? 0.6 : 0.4);
    this.battery = hasMains ? "none" : stream.pick(["leadAcid", "lithiumIronPhosphate", "lithiumIon"] as const);
    this.#cell = this.battery === "none" ? null : cells[this.battery];
    this.#ohms = stream.logUniform(0.08, 0.7) + (this.#cell === null ? 0 : stream.uniform(...this.#cell.ohms));
    this.#railIsBattery = this.#cell !== null && stream.chance(0.35);
    this.#rail = stream.pick([5, 5, 12]) * stream.uniform(0.985, 1.035);
    this.#loadMilliamps = stream.logUniform(8, 140);
    this.#capacity = this.#loadMilliamps * 24 * stream.uniform(7, 25);
    this.#panelMilliamps = stream.chance(0.8) ? this.#loadMilliamps * stream.uniform(8, 25) : 0;
    const isMonitored = { supply: stream.chance(0.75), lowest: stream.chance(0.5) };
    this.#reports = { ...isMonitored, warmth: stream.chance(0.4), charge: stream.chance(0.4) };
    this.#signed = stream.chance(0.4);
    this.#warmth = sky.air;
    this.#swapBelow = stream.uniform(0.25, 0.5);
  }

  pass(span: number, sky: Sky): void {
    const hours = span / hour;
    this.#warmth += (sky.air + 1 - this.#warmth) * Math.min(1, hours / 3);
    if (this.#cell === null) return;
    const shine = Math.max(0, sky.sun) * (1 - 0.82 * sky.cloud) * (sky.snow > 0 ? 0.2 : 1);
    const refuses = this.battery !== "leadAcid" && this.#warmth < 1;
    const taper = Math.min(1, (1 - this.#stored) * 12); // a full battery takes little
    this.#charge = refuses ? 0 : this.#panelMilliamps * shine * taper;
    this.#stored = Math.min(1, this.#stored + ((this.#charge - this.#loadMilliamps) * hours) / this.#capacity);
    if (this.#stored < this.#swapBelow && this.#stream.chance(span / (0.7 * day)))
      this.#stored = this.#stream.uniform(0.9, 1);
    this.#stored = Math.max(0.12, this.#stored);
  }

  /** Over its nominal value: what the motor gets. */
  get ratio(): number {
    if (this.#cell === null || !this.#railIsBattery) return 1;
    return this.#batteryVolts() / this.#cell.full;
  }

  /** The lowest while the motor drew so much; undefined where it isn't measured. */
  lowestVolts(milliamps: number): number | undefined {
    if (!this.#reports.lowest) return undefined;
    const sag = (milliamps / 1_000) * this.#ohms * this.#stream.uniform(0.85, 1.1);
    return round(Math.max(0, this.#supply() - Math.min(sag, 0.4 * this.#supply())), 2);
  }

  readInto(readings: Record<string, unknown>): void {
    if (this.#reports.supply) readings.supplyVolts = round(this.#supply() + 0.01 * this.#stream.normal(), 2);
    if (this.#cell === null) return;
    readings.batteryVolts = round(this.#batteryVolts() + 0.008 * this.#stream.normal(), 2);
    if (this.#reports.warmth) readings.batteryCelsius = round(this.#warmth + 0.1 * this.#stream.normal(), 1);
    const flow = this.#signed ? this.#charge - this.#loadMilliamps : this.#charge;
    if (this.#reports.charge && this.#panelMilliamps > 0) readings.chargeMilliamps = Math.round(flow);
  }

  #supply(): number {
    return this.#railIsBattery ? this.#batteryVolts() : this.#rail;
  }

  #batteryVolts(): number {
    if (this.#cell === null) return 0;
    const { empty, full, charging } = this.#cell;
    const rest = empty + (full - empty) * this.#stored;
    const push = this.#charge > 0 ? (charging - rest) * Math.min(1, (3 * this.#charge) / (this.#capacity / 10)) : 0;
    return Math.min(charging, rest + push) - (this.#warmth < 0 ? 0.004 * -this.#warmth : 0);
  }
}

export const round = (value: number, digits: number): number => Math.round(value * 10 ** digits) / 10 ** digits;
