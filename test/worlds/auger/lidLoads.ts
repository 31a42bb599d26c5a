import { clamp } from "./numbers.ts";
import type { Random } from "./random.ts";
import { hour, lagShare, minute } from "./time.ts";
import type { WeatherHour } from "./weather.ts";

/** What lies on the scale besides the food: wet wood, snow, birds, and hands at a refill. In grams. */
export class LidLoads {
  readonly #traits: LidTraits;
  readonly #random: Random;
  #film = 0; // rain in the wood's surface
  #vapour = 0; // what the wood took from the air, by its mean
  #snow = 0;
  #bird = { grams: 0, until: 0 };
  #hands = { from: 0, until: 0 };

  constructor(random: Random) {
    this.#random = random;
    this.#traits = drawTraits(random);
  }

  passHour(weather: WeatherHour): void {
    const { woodGrams, filmMax, soakPerMm, dryingTime, sorptionTime } = this.#traits;
    const { celsius, humidityPercent, windMetresPerSecond, rainMm, sunshine } = weather;
    this.#film += (filmMax - this.#film) * (1 - Math.exp((-soakPerMm * rainMm) / filmMax)); // it can hold so much
    const drying = clamp((1 - humidityPercent / 100) * 2.5, 0.02, 1.5) * (0.5 + sunshine + windMetresPerSecond / 6);
    this.#film -= this.#film * lagShare(hour, dryingTime / drying);
    // 5 % of relative humidity change the equilibrium by about 1 % of moisture (an article of the wood trade; Simpson, "Equilibrium
    // Moisture Content of Wood in Outdoor Locations", USDA FPL-RN-0268, 1998, has the means). Painted wood follows slowly.
    const equilibrium = woodGrams * 0.002 * (humidityPercent - 72);
    this.#vapour += (equilibrium - this.#vapour) * lagShare(hour, sorptionTime);
    this.#passSnow(celsius, windMetresPerSecond, weather);
  }

  #passSnow(celsius: number, wind: number, { snowMm, rainMm, sunshine }: WeatherHour): void {
    const { areaSquareMetres, meltFactor, slides } = this.#traits;
    this.#snow += snowMm * 1_000 * areaSquareMetres; // a millimetre is a litre on a square metre
    if (this.#snow <= 0) return;
    const melt = (meltFactor / 24) * Math.max(0, celsius) + 0.25 * sunshine + 0.1 * rainMm;
    const blown = wind > 4 && celsius < -1 ? 0.15 * this.#snow : 0;
    const left = this.#snow - melt * 1_000 * areaSquareMetres - blown;
    this.#snow = clamp(left, 0, snowMaxMm * 1_000 * areaSquareMetres);
    if (celsius > 0 && this.#random.chance(slides)) this.#snow = 0;
  }

  landBird(at: number, until: number, grams: number): void {
    const stays = at < this.#bird.until ? this.#bird.grams : 0;
    this.#bird = { grams: Math.min(stays + grams, 1_500), until: Math.max(until, this.#bird.until) };
  }

  /** Somebody opens the lid, pours, closes it, and brushes off the snow. */
  handle(at: number): void {
    this.#hands = {
      from: at - this.#random.between(10, 60) * 1_000,
      until: at + this.#random.between(20, 120) * 1_000,
    };
    this.#snow = 0;
  }

  at(time: number): number {
    const bird = time < this.#bird.until ? this.#bird.grams : 0;
    const hands = time >= this.#hands.from && time < this.#hands.until ? this.#random.between(-700, 2_500) : 0;
    return this.#film + this.#vapour + this.#snow + bird + hands;
  }
}

/** More than some 15 cm of snow falls off a small roof (from memory): at 120 kg a cubic metre this much water. */
const snowMaxMm = 18;

interface LidTraits {
  readonly woodGrams: number;
  readonly filmMax: number;
  readonly soakPerMm: number;
  readonly dryingTime: number;
  readonly sorptionTime: number;
  readonly areaSquareMetres: number;
  readonly meltFactor: number; // millimetres of water a kelvin and day
  readonly slides: number; // chance each hour of thaw that it slides off
}

function drawTraits(random: Random): LidTraits {
  const isWood = random.chance(0.7); // otherwise plastic or sheet metal: only drops stay on it
  const woodGrams = isWood ? random.logBetween(150, 1_800) : 0;
  const areaSquareMetres = random.logBetween(0.02, 0.14);
  return {
    woodGrams,
    filmMax: isWood ? woodGrams * random.between(0.015, 0.06) : random.between(1, 6), // common practice, no source
    soakPerMm: areaSquareMetres * 1_000 * random.between(0.05, 0.3),
    dryingTime: (isWood ? random.between(4, 20) : random.between(0.5, 2)) * hour,
    sorptionTime: random.between(24, 200) * hour,
    areaSquareMetres,
    // Kuusisto ("On the Values and Variability of Degree-Day Melting Factor", Nordic Hydrology 11, 1980): 2.4 in the forest, 3.5 in the open.
    meltFactor: random.between(2.4, 5),
    slides: random.between(0.01, 0.25),
  };
}

/** How long a bird sits on the lid. */
export const perchSpan = (random: Random): number => random.exponential(0.7 * minute);
