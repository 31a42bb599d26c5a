import { hour } from "./agenda.ts";
import type { Chance } from "./chance.ts";
import type { Sky } from "./weather.ts";

type Battery = "none" | "leadAcid" | "lithiumIronPhosphate" | "lithiumIon";

/** Volts at rest, empty and full, and what a charger holds at most (data sheets, from memory). */
const cells: Readonly<Record<Exclude<Battery, "none">, readonly [empty: number, full: number, charging: number]>> = {
  leadAcid: [11.7, 12.75, 14.2],
  lithiumIronPhosphate: [12.4, 13.35, 14],
  lithiumIon: [10.2, 12.4, 12.6],
};

export interface SupplyReadings {
  readonly supplyVolts?: number;
  readonly batteryVolts?: number;
  readonly chargeMilliamps?: number;
}

/** An adapter, or a battery with a solar panel that the keeper charges at home in the dark months. */
export class Supply {
  readonly battery: Battery;
  readonly #chance: Chance;
  readonly #rail: number;
  readonly #ohms: number;
  readonly #panel: number; // mA at best
  readonly #ampereHours: number;
  readonly #draw: number; // mA
  readonly #sends: {
    readonly supply: boolean;
    readonly battery: boolean;
    readonly charge: boolean;
    readonly lowest: boolean;
  };
  readonly #gain: number; // error of its divider
  #filled: number; // share
  #charging = 0;
  #at: number;

  constructor(chance: Chance, begin: number) {
    this.#chance = chance;
    this.#at = begin;
    this.battery = chance.pick(["none", "none", "leadAcid", "lithiumIronPhosphate", "lithiumIon"]);
    this.#rail = chance.pick([5, 5, 12]);
    this.#ohms = chance.factorBetween(0.05, 0.5);
    this.#panel = chance.factorBetween(200, 1_500);
    this.#ampereHours = chance.factorBetween(5, 20);
    this.#draw = chance.factorBetween(12, 110);
    this.#filled = chance.between(0.75, 1);
    this.#gain = 1 + 0.008 * chance.gauss();
    const hasBattery = this.battery !== "none";
    this.#sends = {
      supply: chance.happens(hasBattery ? 0.3 : 0.6),
      battery: hasBattery && chance.happens(0.9),
      charge: hasBattery && chance.happens(0.4),
      lowest: chance.happens(0.3),
    };
  }

  /** Of the nominal voltage. */
  get ratio(): number {
    return this.battery === "none" ? 1 : 0.93 + 0.1 * this.#filled;
  }
  get needsCharge(): boolean {
    return this.battery !== "none" && this.#filled < 0.55;
  }

  charge(): void {
    this.#filled = 1;
  }

  readings(now: number, sky: Sky): SupplyReadings {
    this.#advance(now, sky);
    const { supply, battery, charge } = this.#sends;
    const batteryVolts = this.#batteryVolts();
    const rail = this.battery === "none" || this.#rail === 5 ? this.#rail : batteryVolts;
    return {
      ...(supply && { supplyVolts: volts(rail * this.#gain + 0.01 * this.#chance.gauss()) }),
      ...(battery && { batteryVolts: volts(batteryVolts * this.#gain + 0.01 * this.#chance.gauss()) }),
      ...(charge && { chargeMilliamps: Math.round(this.#charging - (this.#charging > 0 ? 0 : this.#draw)) }),
    };
  }

  /** While a motor draws so much. */
  lowestVolts(milliamps: number): number | null {
    if (!this.#sends.lowest) return null;
    const source = this.battery === "none" ? this.#rail : this.#batteryVolts();
    return volts(Math.max(0.8 * source, source - (milliamps / 1_000) * this.#ohms) * this.#gain);
  }

  #batteryVolts(): number {
    if (this.battery === "none") return 0;
    const [empty, full, charging] = cells[this.battery];
    const rest = empty + (full - empty) * this.#filled ** 0.7;
    return this.#charging > 30 ? Math.min(charging, rest + 0.15 + this.#charging / 2_500) : rest;
  }

  /** A household charges it when it gets low (keeper.ts); no healthy feeder here runs its battery flat. */
  #advance(now: number, sky: Sky): void {
    const hours = (now - this.#at) / hour;
    this.#at = now;
    if (this.battery === "none") return;
    const mayCharge = this.battery === "leadAcid" || sky.air > 1; // a board for lithium cells doesn't charge them in frost
    this.#charging =
      mayCharge && this.#filled < 0.995 ? this.#panel * Math.max(0, sky.sun) * (1 - 0.85 * sky.cloud) : 0;
    const change = ((this.#charging - this.#draw) * hours) / (1_000 * this.#ampereHours);
    this.#filled = Math.min(1, Math.max(0.4, this.#filled + change));
  }
}

const volts = (value: number): number => Math.round(100 * value) / 100;
