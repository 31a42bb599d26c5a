import type { WorldSensors } from "../world.ts";
import { type Computer, countedSensors } from "./computer.ts";
import type { Fault } from "./fault.ts";
import { type Borne, drawCell, LoadCell } from "./loadCell.ts";
import type { Supply } from "./motor.ts";
import type { Random } from "./random.ts";
import { drawThermometer, measuredCelsius } from "./smallSensors.ts";
import type { Weather } from "./weather.ts";

/** What a report's readings say. Ranges: common practice, no source. */

export interface InstrumentParts {
  readonly sensors: WorldSensors;
  readonly computer: Computer;
  readonly weather: Weather;
  readonly supply: Supply;
  readonly fault: Fault;
  readonly random: Random;
  /** What lies and sits on the load cell, and whose hand is at it. */
  readonly borne: () => Borne;
}

export class Instruments {
  readonly cell: LoadCell;
  readonly #parts: InstrumentParts;
  readonly #random: Random;
  readonly #air: ReturnType<typeof drawThermometer>;
  readonly #inside: ReturnType<typeof drawThermometer> | null;
  readonly #has: {
    readonly lid: boolean;
    readonly humidity: boolean;
    readonly signal: boolean;
    readonly battery: boolean;
  };
  readonly #says: { readonly counts: boolean; readonly spooled: boolean; readonly paused: boolean };
  readonly #signalDbm: number;
  readonly #failsAs: "absent" | "null";
  #reports = 0;
  #stuckGrams: number | null = null;
  #stuckCelsius: number | null = null;
  readonly #stuckJitter: number;

  constructor(parts: InstrumentParts) {
    const random = parts.random.branch("instruments");
    this.#parts = parts;
    this.#random = random;
    this.cell = new LoadCell(drawCell(random), random.branch("cell"));
    this.#air = drawThermometer(random);
    this.#inside = random.chance(0.35) ? drawThermometer(random) : null;
    this.#has = {
      lid: random.chance(0.15),
      humidity: random.chance(0.35),
      signal: random.chance(0.5),
      battery: random.chance(0.5),
    };
    const { button, detector, chute, portionEvents } = parts.sensors;
    const needsCounts = !portionEvents && (button || detector || chute);
    this.#says = {
      counts: needsCounts || random.chance(0.88),
      spooled: random.chance(0.6),
      paused: random.chance(0.7),
    };
    this.#signalDbm = random.uniform(-84, -48);
    this.#failsAs = random.pick(["absent", "null"] as const);
    this.#stuckJitter = random.chance(0.5) ? 0 : random.uniform(0.02, 0.3);
  }

  /** As a report has them, with each sensor that is fitted and no other. Made by assignments: this runs for each report of months. */
  readings(at: number): object {
    const { computer } = this.#parts;
    const readings: Readings = {};
    this.#reports += 1;
    if (this.#parts.sensors.scale) this.#readHopper(at, readings);
    this.#readClimate(at, readings);
    this.#readPower(readings);
    if (this.#has.signal) readings.signalDbm = Math.round(this.#signalDbm + this.#random.normal(0, 3));
    if (this.#says.spooled) readings.spooled = computer.waiting;
    this.#readCounts(readings);
    if (this.#says.paused) readings.paused = computer.isPaused;
    return readings;
  }

  #readHopper(at: number, readings: Readings): void {
    const { weather, borne, fault } = this.#parts;
    const { part } = this.cell;
    const isDue = (this.#reports - 1) % part.everyReports === 0;
    if (!isDue || fault.is("scaleDead", at)) {
      if (part.leavesOut === "null") readings.hopperGrams = null;
      return;
    }
    const grams = this.cell.read(at, borne(), weather);
    readings.hopperGrams = fault.is("scaleStuck", at) ? this.#stuck(grams) : grams;
  }

  /** The reading at which it stuck, or one step beside it. */
  #stuck(grams: number): number {
    this.#stuckGrams ??= grams;
    if (!this.#random.chance(this.#stuckJitter)) return this.#stuckGrams;
    const { step } = this.cell.part;
    return this.cell.rounded(this.#stuckGrams + (this.#random.chance(0.5) ? step : -step));
  }

  #readClimate(at: number, readings: Readings): void {
    const { weather, fault } = this.#parts;
    const air = measuredCelsius(this.#air.isInBox ? weather.boxCelsius : weather.airCelsius, this.#air, this.#random);
    if (fault.is("thermometerStuck", at)) this.#stuckCelsius ??= air;
    const isMissing = this.#stuckCelsius === null && this.#random.chance(this.#air.missing);
    if (!isMissing) readings.airCelsius = this.#stuckCelsius ?? air;
    else if (this.#failsAs === "null") readings.airCelsius = null;
    if (this.#inside !== null) readings.insideCelsius = measuredCelsius(weather.boxCelsius, this.#inside, this.#random);
    if (this.#has.lid) readings.lidCelsius = Math.round((weather.lidCelsius + this.#random.normal(0, 0.2)) * 10) / 10;
    if (!this.#has.humidity) return;
    const humidity = weather.humidity + this.#random.normal(0, 1.5);
    readings.humidityPercent = Math.round(Math.max(0, Math.min(103, humidity)));
  }

  #readPower(readings: Readings): void {
    const { supply } = this.#parts;
    if (supply.reportsVolts) readings.supplyVolts = supply.measured();
    if (supply.isBattery && this.#has.battery) readings.batteryVolts = supply.measured();
  }

  #readCounts(readings: Readings): void {
    const { sensors, computer } = this.#parts;
    if (!this.#says.counts) return;
    const counts: Record<string, number> = {};
    for (const sensor of countedSensors) if (sensors[sensor]) counts[sensor] = computer.counts[sensor];
    if (Object.keys(counts).length > 0) readings.counts = counts;
  }
}

type Readings = Record<string, unknown>;
