import { minute } from "./agenda.ts";
import type { Malfunction } from "./malfunction.ts";
import type { Sky } from "./sky.ts";
import type { Stream } from "./stream.ts";

type Name = "airCelsius" | "insideCelsius" | "lidCelsius";

/** One sensor chip: its steps, its error, and how far it follows behind. */
class Chip {
  readonly #stream: Stream;
  readonly #step: number;
  readonly #offset: number;
  readonly #noise: number;
  readonly #lag: number;
  #value: number;
  #isStuckAt: number | null = null;

  constructor(stream: Stream, step: number, offset: number, lag: number, value: number) {
    this.#stream = stream;
    this.#step = step;
    this.#offset = offset * stream.normal();
    this.#noise = step * stream.uniform(0.1, 0.6);
    this.#lag = lag;
    this.#value = value;
  }

  pass(span: number, outside: number): void {
    this.#value += (outside - this.#value) * Math.min(1, span / this.#lag);
  }

  read(isStuck: boolean): number {
    if (isStuck && this.#isStuckAt !== null) return this.#isStuckAt;
    const measured = this.#value + this.#offset + this.#noise * this.#stream.normal();
    const rounded = Math.round(Math.round(measured / this.#step) * this.#step * 100) / 100;
    if (isStuck) this.#isStuckAt = rounded;
    return rounded;
  }
}

/**
 * Up to three thermometers and a humidity sensor, as data sheets of cheap digital sensors describe them (±0.5 °C, ±3 %; from
 * memory). A lid under a clear night sky is colder than the air, in the sun it is far warmer; a box is warmed by its electronics.
 */
export class Thermometers {
  readonly #stream: Stream;
  readonly #malfunction: Malfunction;
  readonly #chips: { readonly name: Name; readonly chip: Chip }[] = [];
  readonly #humidity: Chip | null;
  readonly #sticks: Name;
  readonly #sunError: number; // of a poorly shaded air thermometer in full sun
  readonly #boxWarmth: number;
  readonly #lidSun: number;
  readonly #lidNight: number;
  readonly #drops: number;
  readonly #dropsAs: number | null; // -127 is what a widespread driver returns when the chip's answer is garbled (from memory)

  constructor(stream: Stream, malfunction: Malfunction, sky: Sky) {
    this.#stream = stream;
    this.#malfunction = malfunction;
    this.#sunError = stream.uniform(0, 6);
    this.#boxWarmth = stream.logUniform(0.4, 6);
    this.#lidSun = stream.uniform(4, 24);
    this.#lidNight = stream.uniform(1, 6);
    this.#drops = stream.logUniform(0.00001, 0.004);
    this.#dropsAs = stream.chance(0.3) ? -127 : null;
    const names = fittedNames(stream);
    for (const name of names) {
      const step = stream.pick([0.06, 0.1, 0.1, 0.25, 0.5]);
      const lag = (name === "insideCelsius" ? stream.uniform(15, 90) : stream.uniform(2, 15)) * minute;
      this.#chips.push({ name, chip: new Chip(stream, step, 0.4, lag, this.#outside(name, sky)) });
    }
    this.#sticks = stream.pick(names);
    const hygrometer = new Chip(stream, stream.pick([0.1, 0.1, 1]), 2.5, 6 * minute, sky.humidity);
    this.#humidity = stream.chance(0.55) ? hygrometer : null;
  }

  pass(span: number, sky: Sky): void {
    for (const { name, chip } of this.#chips) chip.pass(span, this.#outside(name, sky));
    this.#humidity?.pass(span, sky.humidity);
  }

  readInto(readings: Record<string, unknown>): void {
    const isStuck = this.#malfunction.kind === "thermometerStuck";
    for (const { name, chip } of this.#chips) {
      if (this.#stream.unit() < this.#drops) readings[name] = this.#dropsAs;
      else readings[name] = chip.read(isStuck && name === this.#sticks);
    }
    if (this.#humidity !== null) readings.humidityPercent = Math.max(0, Math.min(100, this.#humidity.read(false)));
  }

  /** What the chip would show if it followed at once. */
  #outside(name: Name, sky: Sky): number {
    const shine = Math.max(0, sky.sun) * (1 - 0.8 * sky.cloud);
    const calm = 1 / (1 + sky.wind / 2);
    if (name === "airCelsius") return sky.air + this.#sunError * shine * calm;
    if (name === "insideCelsius") return sky.air + this.#boxWarmth + 5 * shine;
    return sky.air + (sky.sun > 0 ? this.#lidSun * shine * calm : -this.#lidNight * (1 - sky.cloud) * calm);
  }
}

function fittedNames(stream: Stream): readonly Name[] {
  const names: readonly Name[] = ["airCelsius", "insideCelsius", "lidCelsius"];
  const fitted = names.filter((_, index) => stream.chance([0.75, 0.5, 0.35][index] ?? 0));
  return fitted.length > 0 ? fitted : [stream.pick(names)];
}
