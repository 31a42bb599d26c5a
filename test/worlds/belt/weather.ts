import { day, hour, minute } from "./agenda.ts";
import { Chance, Drifting } from "./chance.ts";
import { type Place, sinceMidsummer, sunSine } from "./place.ts";

export interface Sky {
  readonly air: number; // °C in the shade
  readonly humidity: number; // percent over water
  readonly cloud: number; // 0 to 1
  readonly wind: number; // m/s, mean of ten minutes
  readonly rain: number; // mm an hour
  readonly snow: number; // mm of water an hour
  readonly sun: number; // sine of its height
  readonly damp: number; // 0 to 1: how damp food in the hopper is
}

const step = 10 * minute;

/** The weather, in steps of ten minutes. It asks nothing of the feeder, so that it is the same whatever happens there. */
export class Weather {
  readonly #place: Place;
  readonly #chance: Chance;
  readonly #front: Drifting;
  readonly #cover: Drifting;
  readonly #blow: Drifting;
  readonly #moisture: Drifting;
  #at: number;
  #heat = 0; // what the sun has brought in the last hours
  #isWet = false;
  #rate = 0;
  #damp: number;
  #sky: Sky;

  constructor(seed: number, place: Place, begin: number) {
    this.#place = place;
    const drifting = (name: string, memory: number) => new Drifting(new Chance(seed, `weather ${name}`), memory, begin);
    this.#chance = new Chance(seed, "weather wet");
    this.#front = drifting("front", 2.5 * day);
    this.#cover = drifting("cover", 0.6 * day);
    this.#blow = drifting("blow", 0.4 * day);
    this.#moisture = drifting("moisture", 1.2 * day);
    this.#at = begin - 12 * hour;
    this.#damp = this.#chance.between(0.1, 0.5);
    this.#sky = this.#step(begin);
    for (let at = begin - 12 * hour; at < begin; at += step) this.#sky = this.#step(at);
    this.#at = begin;
  }

  /** Asked in time order. */
  at(now: number): Sky {
    while (this.#at + step <= now) {
      this.#at += step;
      this.#sky = this.#step(this.#at);
    }
    return this.#sky;
  }

  #step(at: number): Sky {
    const place = this.#place;
    const cover = 1 / (1 + Math.exp(-1.6 * this.#cover.valueAt(at) - (this.#isWet ? 2 : 0)));
    const sun = sunSine(at, place);
    const heating = Math.max(0, sun) * (1 - 0.75 * cover) - 0.22 * (1 - cover); // by night clear skies cool
    this.#heat += (heating - this.#heat) * (1 - Math.exp(-step / (2.5 * hour)));
    const season = Math.cos(2 * Math.PI * sinceMidsummer(at, place));
    const front = place.frontSpread * this.#front.valueAt(at) * (1.15 - 0.25 * season);
    const air = place.yearMean + place.yearSwing * season + front + place.sunWarms * this.#heat;
    this.#stepWet();
    const depression = Math.max(0.1, place.dryness * (1 + 1.4 * this.#heat + 0.45 * this.#moisture.valueAt(at)));
    const humidity = this.#isWet ? Math.max(90, relative(air, 0.3 * depression)) : relative(air, depression);
    this.#damp += ((humidity - 55) / 45 - this.#damp) * (1 - Math.exp(-step / (1.5 * day)));
    const falls = this.#isWet ? this.#rate : 0;
    const isSnow = air < 0.8;
    const wind =
      place.windMean * Math.exp(0.55 * this.#blow.valueAt(at) - 0.15) * (0.8 + 0.5 * Math.max(0, this.#heat));
    return {
      ...{ air, humidity, cloud: cover, wind, sun },
      ...{ rain: isSnow ? 0 : falls, snow: isSnow ? falls : 0, damp: Math.min(1, Math.max(0, this.#damp)) },
    };
  }

  /** Wet spells of two hours on average, each with its own rate (exponential: common practice, no source). */
  #stepWet(): void {
    const { wetShare } = this.#place;
    const ends = step / (2 * hour);
    const begins = (ends * wetShare) / (1 - wetShare);
    if (this.#isWet) {
      if (this.#chance.happens(ends)) this.#isWet = false;
    } else if (this.#chance.happens(begins)) {
      this.#isWet = true;
      this.#rate = 0.1 + this.#chance.wait(1.1);
    }
  }
}

/** Percent at a distance from the dew point: Magnus' formula with the constants of Alduchov and Eskridge 1996, from memory. */
export function relative(air: number, depression: number): number {
  const pressure = (celsius: number) => Math.exp((17.625 * celsius) / (243.04 + celsius));
  return Math.min(100, (100 * pressure(air - depression)) / pressure(air));
}
