import { hour } from "./agenda.ts";
import type { Chance } from "./chance.ts";
import type { Food } from "./food.ts";
import type { Planted } from "./planted.ts";
import type { Sky } from "./weather.ts";

type Kind = "knockPad" | "reflector" | "beam";

/** What a run lets the counter know. */
interface Fall {
  readonly pieces: number;
  readonly ms: number; // over which they fall
}

/**
 * What counts falling pieces: a piezo pad that feels knocks, light that falling pieces throw back, or a beam that they break. A pad
 * rings on after each knock and then counts n / (1 + n t / T); a beam stays dark as long as shadows follow each other and counts
 * n exp(-n t / T) (dead times of both kinds: Knoll, Radiation Detection and Measurement, from memory). Ranges: practice, no source.
 */
export class Counter {
  readonly kind: Kind;
  readonly #chance: Chance;
  readonly #planted: Planted;
  readonly #food: Food;
  readonly #seen: number; // of single pieces, when clean
  readonly #doubles: number;
  readonly #dead: number; // ms
  readonly #inTime: number; // of those seen, while the portion is still open
  readonly #soilsPerGram: number;
  readonly #soilMost: number;
  readonly #weatherCounts: number; // an hour, in strong rain on a pad, or with a web before a beam
  readonly #feet: number; // a bird's step on the pad
  #soil = 0;
  #webUntil = 0;
  total = 0; // since the start of the board

  constructor(chance: Chance, food: Food, planted: Planted) {
    this.#chance = chance;
    this.#planted = planted;
    this.#food = food;
    this.kind = chance.pick(["knockPad", "knockPad", "reflector", "beam"]);
    const isPad = this.kind === "knockPad";
    const threshold = chance.factorBetween(0.01, 0.12); // grams that a pad feels two times in three
    const feltByPad = 1 - Math.exp(-((food.piece / threshold) ** 1.2));
    const small = 1 - Math.exp(-food.piece / 0.02);
    const [low, high] = this.kind === "reflector" ? [0.6, 0.97] : [0.85, 0.99];
    this.#seen = Math.max(0.3, isPad ? feltByPad : chance.between(low, high) * small); // a builder tries it out first
    this.#doubles = isPad ? chance.between(0.01, 0.2) : chance.between(0, 0.08);
    this.#dead = isPad ? chance.between(10, 60) : chance.between(1, 9);
    this.#inTime = chance.between(0.85, 1);
    this.#soilsPerGram = isPad ? 0 : chance.factorBetween(0.000_01, 0.000_3);
    this.#soilMost = chance.between(0.05, 0.35);
    this.#weatherCounts = chance.happens(0.4) ? 0 : chance.factorBetween(0.05, 6);
    this.#feet = isPad && chance.happens(0.5) ? chance.between(0, 0.5) : 0;
  }

  /** @returns the count that the portion states */
  count({ pieces, ms }: Fall, now: number): number {
    const shadowed = (pieces * this.#dead) / Math.max(60, ms);
    const singles = this.kind === "knockPad" ? 1 / (1 + shadowed) : Math.exp(-Math.min(shadowed, 1.5));
    const clear = this.#planted.clearness(now) * (1 - this.#soil);
    const seen = this.#chance.ofMany(pieces, Math.min(1, this.#seen * singles * clear));
    const counted = seen + this.#chance.ofMany(seen, this.#doubles);
    this.total += counted;
    this.#soil = Math.min(this.#soilMost, this.#soil + this.#soilsPerGram * pieces * this.#food.piece);
    return this.#chance.ofMany(counted, this.#inTime);
  }

  /** What it counts while nothing is given: rain, webs. */
  idle(span: number, sky: Sky, now: number): void {
    const hours = span / hour;
    const spins = sky.air > 8 && sky.sun < 0 && this.kind !== "knockPad";
    if (spins && this.#chance.happens(0.004 * hours)) this.#webUntil = now + this.#chance.wait(8 * hour);
    const strength =
      this.kind === "knockPad" ? Math.min(1, (sky.rain + sky.snow / 20) / 3) : now < this.#webUntil ? 1 : 0;
    const mean = this.#weatherCounts * strength * hours * this.#planted.clearness(now);
    this.total += this.#chance.poisson(mean);
  }

  step(now: number): void {
    if (this.#chance.happens(this.#feet * this.#planted.clearness(now))) this.total += 1;
  }

  clean(): void {
    this.#soil = 0;
    this.#webUntil = 0;
  }
}
