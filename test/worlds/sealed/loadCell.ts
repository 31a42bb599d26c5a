import type { Random } from "./random.ts";
import { hourMs } from "./sky.ts";

/**
 * The load cell under the hopper. Creep, hysteresis and drifts with temperature are of the size that data sheets of cheap cells state
 * (from memory), and wider for wooden mounts; other ranges: common practice, no source.
 */
export interface CellPart {
  readonly step: number; // grams
  readonly noise: number; // grams
  readonly windNoise: number; // grams for each metre a second
  readonly spanError: number;
  readonly zeroPerCelsius: number; // grams
  readonly spanPerCelsius: number;
  readonly lagHours: number;
  readonly creep: number; // share of the load
  readonly play: number; // grams that friction holds back
  readonly zeroWalk: number; // grams in a day
  readonly soakGrams: number; // water that the wood takes up
  readonly snowShare: number; // of the lid's snow that the cell carries
  readonly birdShare: number; // of the birds' comings that sit on it
  readonly handGrams: number;
  readonly tareGrams: number; // the hopper's own
  readonly everyReports: number;
  readonly leavesOut: "absent" | "null";
  readonly glitches: number; // share of readings
}

export function drawCell(random: Random): CellPart {
  const sign = () => (random.chance(0.5) ? 1 : -1);
  return {
    step: random.pick([0.1, 0.1, 0.2, 0.5, 1, 1, 2, 5]),
    noise: random.logUniform(0.1, 3),
    windNoise: random.chance(0.3) ? 0 : random.logUniform(0.05, 1.5),
    spanError: random.normal(0, 0.012),
    zeroPerCelsius: sign() * random.logUniform(0.02, 0.9),
    spanPerCelsius: sign() * random.logUniform(0.00002, 0.0005),
    lagHours: random.logUniform(0.2, 2.5),
    creep: random.logUniform(0.0002, 0.004),
    play: random.logUniform(0.05, 4),
    zeroWalk: random.logUniform(0.05, 2),
    soakGrams: random.chance(0.4) ? 0 : random.logUniform(2, 70),
    snowShare: random.chance(0.5) ? 0 : random.uniform(0.2, 1),
    birdShare: random.chance(0.4) ? 0 : random.uniform(0.02, 0.5),
    handGrams: random.logUniform(50, 1_500),
    tareGrams: random.uniform(250, 1_800),
    everyReports: random.chance(0.75) ? 1 : random.integer(2, 10),
    leavesOut: random.pick(["absent", "null"] as const),
    glitches: random.chance(0.7) ? 0 : random.logUniform(0.00002, 0.0006),
  };
}

export interface Borne {
  readonly foodGrams: number;
  readonly birdGrams: number;
  readonly isOff: boolean; // the hopper has been lifted off
  readonly hasHand: boolean;
}

/** What of the weather a load cell feels. */
export interface CellWeather {
  readonly snowGrams: number; // on the lid
  readonly soak: number; // of the wood, 0 to 1
  readonly windSpeed: number;
  readonly boxCelsius: number;
}

export class LoadCell {
  readonly part: CellPart;
  readonly #random: Random;
  #zero: number;
  #celsius: number | null = null;
  #crept = 0;
  #held: number | null = null; // where friction holds it
  #readAt: number | null = null;

  constructor(part: CellPart, random: Random) {
    this.part = part;
    this.#random = random;
    this.#zero = random.normal(0, 3);
  }

  /** Set down again, and now and then at another place: its zero is elsewhere. */
  disturb(): void {
    this.#zero += this.#random.normal(0, this.#random.chance(0.15) ? 14 : 1 + this.part.play);
    this.#held = null;
  }

  /** Grams as it reports them. */
  read(at: number, load: Borne, weather: CellWeather): number {
    const { part } = this;
    const hours = this.#readAt === null ? 0 : (at - this.#readAt) / hourMs;
    this.#readAt = at;
    const warm = this.#warmth(hours, weather.boxCelsius) - 20;
    this.#zero += this.#random.normal(0, part.zeroWalk * Math.sqrt(hours / 24));
    const borne = this.#friction(this.#creep(hours, this.#borne(load, weather)));
    const span = 1 + part.spanError + part.spanPerCelsius * warm;
    const noise = this.#random.normal(0, part.noise + part.windNoise * weather.windSpeed);
    const reading = borne * span + this.#zero + part.zeroPerCelsius * warm + noise;
    const glitch = this.#random.chance(part.glitches) ? this.#random.uniform(-1_500, 6_000) : 0;
    return this.rounded(reading + glitch);
  }

  /** To what the cell can tell apart, within what a report may say. */
  rounded(grams: number): number {
    const { step } = this.part;
    const stepped = Math.round(Math.max(-1_990, Math.min(99_000, grams)) / step) * step;
    return Math.round(stepped * 10) / 10 + 0;
  }

  #borne({ foodGrams, birdGrams, isOff, hasHand }: Borne, { snowGrams, soak }: CellWeather): number {
    const { part } = this;
    if (isOff) return -part.tareGrams;
    const hand = hasHand ? this.#random.normal(0, part.handGrams) : 0;
    return foodGrams + birdGrams + snowGrams * part.snowShare + soak * part.soakGrams + hand;
  }

  #warmth(hours: number, boxCelsius: number): number {
    const before = this.#celsius ?? boxCelsius;
    this.#celsius = boxCelsius + (before - boxCelsius) * Math.exp(-hours / this.part.lagHours);
    return this.#celsius;
  }

  /** Half an hour's creep under a new load, and as long back (from memory). */
  #creep(hours: number, grams: number): number {
    const target = this.part.creep * grams;
    this.#crept = target + (this.#crept - target) * Math.exp(-hours / 0.5);
    return grams + this.#crept;
  }

  /** The play of a mount: it follows only once the load has changed by more than friction holds. */
  #friction(grams: number): number {
    const { play } = this.part;
    const held = this.#held ?? grams;
    this.#held = Math.max(grams - play, Math.min(grams + play, held));
    return this.#held;
  }
}
