import { hour, minute } from "./agenda.ts";
import type { Chance } from "./chance.ts";
import type { Planted } from "./planted.ts";
import type { Sky } from "./weather.ts";

type Name = "airCelsius" | "insideCelsius" | "lidCelsius";
export type Warmths = Partial<Record<Name | "humidityPercent", number>>;

interface Thermometer {
  readonly name: Name;
  readonly step: number;
  readonly error: number;
  readonly lag: number;
  readonly sunHeats: number; // K
  readonly skyCools: number; // K, in a clear calm night
  warmth: number | null;
}

/** Chips are within half a degree (data sheets, from memory); what the sun does to a badly shaded one is practice, no source. */
export class Thermometers {
  readonly #chance: Chance;
  readonly #planted: Planted;
  readonly #all: readonly Thermometer[];
  readonly #hasHumidity: boolean;
  readonly #humidityError: number;
  #at = Number.NaN;
  #stuck: number | null = null;

  constructor(chance: Chance, planted: Planted) {
    this.#chance = chance;
    this.#planted = planted;
    const step = chance.pick([0.01, 0.0625, 0.1, 0.1, 0.5]);
    const of = (name: Name, lag: number, sunHeats: number, skyCools: number): Thermometer => ({
      ...{ name, step, lag, sunHeats, skyCools },
      error: Math.max(-0.9, Math.min(0.9, 0.35 * chance.gauss())),
      warmth: null,
    });
    const all = [
      of("airCelsius", chance.between(4, 25) * minute, chance.between(0, 5), 0),
      of("insideCelsius", chance.between(0.3, 2) * hour, chance.between(2, 14), 0),
      of("lidCelsius", chance.between(3, 20) * minute, chance.between(4, 20), chance.between(0.5, 5)),
    ];
    const fitted = all.filter((_, index) => chance.happens([0.85, 0.6, 0.35][index] ?? 0));
    this.#all = fitted.length > 0 ? fitted : all.slice(1, 2);
    this.#hasHumidity = chance.happens(0.4);
    this.#humidityError = 2 * chance.gauss();
  }

  read(now: number, sky: Sky): Warmths {
    const span = Number.isNaN(this.#at) ? 0 : now - this.#at;
    this.#at = now;
    const warmths: Warmths = {};
    for (const [index, thermometer] of this.#all.entries()) {
      const shown = this.#follow(thermometer, span, sky);
      if (this.#isStuck(index)) this.#stuck ??= shown;
      warmths[thermometer.name] = this.#isStuck(index) ? (this.#stuck ?? shown) : shown;
    }
    if (this.#hasHumidity) {
      const percent = sky.humidity + this.#humidityError + 0.5 * this.#chance.gauss();
      warmths.humidityPercent = Math.round(10 * Math.min(100, Math.max(5, percent))) / 10;
    }
    return warmths;
  }

  #isStuck(index: number): boolean {
    const { shows } = this.#planted;
    return this.#planted.is("thermometerStuck") && index === Math.floor(shows.stuckShare * this.#all.length);
  }

  #follow(thermometer: Thermometer, span: number, sky: Sky): number {
    const { step, error, lag, sunHeats, skyCools } = thermometer;
    const clear = 1 - sky.cloud;
    const calm = 1 / (1 + sky.wind / 3);
    const goal = sky.air + clear * (sunHeats * Math.max(0, sky.sun) - (sky.sun < 0 ? skyCools * calm : 0));
    thermometer.warmth = goal + ((thermometer.warmth ?? goal) - goal) * Math.exp(-span / lag);
    const shown = thermometer.warmth + error + 0.3 * step * this.#chance.gauss();
    return Math.round(1_000 * step * Math.round(shown / step)) / 1_000;
  }
}
