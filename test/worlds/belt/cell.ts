import { day, hour, minute } from "./agenda.ts";
import { Chance, Drifting } from "./chance.ts";
import type { Planted } from "./planted.ts";
import type { Sky } from "./weather.ts";

/** What bears on the load cell now, in grams. */
export interface Load {
  readonly food: number;
  readonly birds: number;
  readonly hands: number;
}

/**
 * The load cell with what holds it. Bar cells as home-builders buy them drift by 0.02 to 0.1 % of full scale per 10 K and creep by as
 * much in half an hour (data sheets, from memory), which is 0.1 to 1 g per K for 5 to 20 kg; wooden mounts do worse. Ranges of the rest:
 * common practice, no source.
 */
export class Cell {
  readonly bearsAll: boolean; // the whole feeder stands on it; else only the hopper hangs from it
  readonly #chance: Chance;
  readonly #planted: Planted;
  readonly #wander: Drifting;
  readonly #traits: CellTraits;
  #warmth: number | null = null; // of the cell, which follows the air
  #creep = 0;
  #crept = 0; // the load for which it has crept
  #held = 0; // the load that friction lets it feel
  #snow = 0; // grams on the roof
  #wet = 0; // grams in the wood
  #at: number;
  #last = 0;

  constructor(seed: number, planted: Planted, portionGrams: number, begin: number) {
    this.#chance = new Chance(seed, "cell");
    this.#planted = planted;
    this.#at = begin;
    this.bearsAll = this.#chance.happens(0.6);
    this.#traits = drawCell(this.#chance, portionGrams);
    this.#wander = new Drifting(new Chance(seed, "cell wander"), this.#traits.wanderMemory, begin);
  }

  /** @returns grams as sent; null or undefined where there is no reading */
  read(now: number, load: Load, sky: Sky): number | null | undefined {
    const shown = this.#measure(now, load, sky);
    if (this.#planted.is("scaleDead")) return this.#planted.shows.scaleLeftOut ? undefined : null;
    if (this.#planted.is("scaleStuck")) {
      const flickers = this.#planted.shows.scaleFlickers && this.#chance.happens(0.1);
      return flickers ? tidy(this.#last + this.#traits.step) : this.#last;
    }
    if (this.#chance.happens(this.#traits.fails)) return null;
    this.#last = shown;
    return shown;
  }

  /** Somebody lifted it off and put it back: it sits a little otherwise. */
  reseat(): void {
    this.#held += this.#traits.friction * this.#chance.gauss();
  }

  sweepRoof(): void {
    this.#snow = 0;
  }

  #measure(now: number, load: Load, sky: Sky): number {
    const traits = this.#traits;
    const chance = this.#chance;
    const span = now - this.#at;
    this.#at = now;
    this.#weatherLoads(span / hour, sky);
    const sun = traits.sunHeats * Math.max(0, sky.sun) * (1 - sky.cloud);
    const goal = sky.air + sun;
    this.#warmth = goal + ((this.#warmth ?? goal) - goal) * Math.exp(-span / traits.follows);
    const warm = this.#warmth - 15;
    const borne = load.food + this.#snow + this.#wet;
    if (Math.abs(borne - this.#held) > traits.friction)
      this.#held = borne - Math.sign(borne - this.#held) * traits.friction;
    this.#crept += (borne - this.#crept) * (1 - Math.exp(-span / traits.creepSpan));
    this.#creep = traits.creepShare * (this.#crept - borne);
    const birds = this.bearsAll ? load.birds : 0;
    const gust = traits.windShake * sky.wind * sky.wind * chance.gauss();
    const grams =
      this.#held * (1 + traits.spanError + traits.spanPerKelvin * warm) +
      this.#creep +
      traits.tare +
      traits.zeroPerKelvin * warm +
      traits.wander * this.#wander.valueAt(now) +
      birds +
      load.hands +
      gust +
      traits.noise * chance.gauss();
    const spike = chance.happens(traits.spikes) ? chance.between(-400, 900) : 0;
    const within = Math.min(60_000, Math.max(-1_900, grams + spike));
    return tidy(traits.step * Math.round(within / traits.step));
  }

  /** Snow on the roof and water in the wood. */
  #weatherLoads(hours: number, sky: Sky): void {
    const { roof, roofHolds, soaks } = this.#traits;
    if (!this.bearsAll) return;
    const snow = this.#snow + 1_000 * roof * sky.snow * hours; // 1 mm of water on 1 m² is 1 kg
    const melts = Math.max(0, sky.air) * 0.15 + 0.3 * Math.max(0, sky.sun) * (1 - sky.cloud); // mm an hour, from memory
    this.#snow = Math.min(1_000 * roof * roofHolds, Math.max(0, snow - 1_000 * roof * melts * hours));
    if (this.#snow > 0 && this.#chance.happens(0.002 * hours * sky.wind)) this.#snow *= this.#chance.share();
    const goal = sky.rain > 0 ? soaks : soaks * Math.max(0, (sky.humidity - 60) / 100);
    this.#wet += (goal - this.#wet) * (1 - Math.exp(-hours / (sky.rain > 0 ? 5 : 30)));
  }
}

/** Free of the tails that binary fractions leave. */
const tidy = (grams: number): number => Math.round(1_000 * grams) / 1_000;

interface CellTraits {
  readonly step: number; // grams
  readonly noise: number;
  readonly tare: number; // error, in grams
  readonly spanError: number;
  readonly spanPerKelvin: number;
  readonly zeroPerKelvin: number; // grams
  readonly wander: number; // grams
  readonly wanderMemory: number;
  readonly creepShare: number;
  readonly creepSpan: number;
  readonly friction: number; // grams
  readonly windShake: number;
  readonly follows: number;
  readonly sunHeats: number; // K
  readonly roof: number; // m²
  readonly roofHolds: number; // mm of water as snow, before the rest slides off
  readonly soaks: number; // grams
  readonly spikes: number; // a reading
  readonly fails: number;
}

function drawCell(chance: Chance, portionGrams: number): CellTraits {
  const isKitchenScale = chance.happens(0.2);
  const sign = chance.happens(0.5) ? 1 : -1;
  return {
    step: isKitchenScale ? 1 : chance.pick([0.01, 0.1, 0.1, 0.5, 1, 2]),
    noise: isKitchenScale ? chance.between(0.1, 0.6) : chance.factorBetween(0.05, Math.max(0.4, 0.6 * portionGrams)),
    tare: chance.happens(0.7) ? chance.between(-15, 15) : chance.between(-60, 60),
    spanError: 0.012 * chance.gauss(),
    spanPerKelvin: chance.between(-2e-4, 2e-4),
    zeroPerKelvin: sign * chance.factorBetween(0.02, 1.2),
    wander: chance.factorBetween(0.3, 12),
    wanderMemory: chance.factorBetween(4, 60) * day,
    creepShare: chance.factorBetween(0.000_2, 0.006),
    creepSpan: chance.factorBetween(10, 240) * minute,
    friction: chance.happens(0.5) ? 0 : chance.factorBetween(0.1, 6),
    windShake: chance.factorBetween(0.002, 0.12),
    follows: chance.between(0.3, 3) * hour,
    sunHeats: chance.between(2, 18),
    roof: chance.between(0.03, 0.14),
    roofHolds: chance.factorBetween(3, 30),
    soaks: chance.happens(0.5) ? 0 : chance.factorBetween(8, 160),
    spikes: chance.happens(0.6) ? 0 : chance.factorBetween(0.000_02, 0.001),
    fails: chance.happens(0.6) ? 0 : chance.factorBetween(0.000_1, 0.01),
  };
}
