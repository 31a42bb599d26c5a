import { day, hour, minute } from "./agenda.ts";
import type { Malfunction } from "./malfunction.ts";
import type { Sky } from "./sky.ts";
import { type Stream, Wander } from "./stream.ts";

/** What else than food bears on the load cell just now. */
export interface Handling {
  readonly hopperIsOff: boolean;
  readonly hands: boolean;
  readonly birdGrams: number; // birds that stand on what the cell carries
}

/** What the weather leaves on the hopper: snow on the lid, water in the wood. */
class Weathering {
  readonly #area: number; // m² of lid
  readonly #catches: number; // share of snow that stays on it; wind takes the rest
  readonly #soakMax: number; // grams of water
  readonly #driesIn: number;
  #snow = 0; // grams
  #soaked: number;
  readonly #stream: Stream;

  constructor(stream: Stream) {
    this.#stream = stream;
    this.#area = stream.logUniform(0.02, 0.14);
    this.#catches = stream.uniform(0.1, 0.9);
    this.#soakMax = stream.chance(0.35) ? stream.uniform(0, 5) : stream.logUniform(8, 220); // plastic or sheet metal; wood
    this.#driesIn = stream.uniform(0.4, 3) * day;
    this.#soaked = 0.3 * this.#soakMax;
  }

  get grams(): number {
    return this.#snow + this.#soaked;
  }

  /** A millimetre of water on a square metre is a kilogram. Melting by degree-hours: 4 mm a day and degree (Hock 2003). */
  pass(span: number, sky: Sky): void {
    const hours = span / hour;
    this.#snow += sky.snow * hours * this.#area * 1_000 * this.#catches;
    if (this.#snow > 0) this.#shrink(hours, sky);
    const wet = sky.rain > 0 ? 1 : 0.25 * sky.damp;
    const pace = sky.rain > 0 ? 3 * hour : this.#driesIn;
    this.#soaked += (wet * this.#soakMax - this.#soaked) * Math.min(1, span / pace);
  }

  sweep(): void {
    this.#snow = 0;
  }

  #shrink(hours: number, sky: Sky): void {
    const warmth = Math.max(0, sky.air) + 2.5 * Math.max(0, sky.sun) * (1 - sky.cloud);
    this.#snow = Math.max(0, this.#snow - (4 / 24) * warmth * hours * this.#area * 1_000);
    const slides = warmth > 0.5 && this.#stream.chance(0.08 * hours); // off a smooth lid it goes at once
    if (slides) this.#snow *= this.#stream.uniform(0, 0.3);
  }
}

const ranges: readonly number[] = [2_000, 3_000, 5_000, 10_000, 20_000]; // grams; cells are sold so

interface Made {
  readonly capacity: number; // grams of food
  readonly at: number;
}

/**
 * The load cell under the hopper with its amplifier. Orders of magnitude are those of data sheets of cheap bar cells (zero 0.02 to
 * 0.1 % of the range per 10 °C, creep 0.02 to 0.1 % in half an hour, hysteresis as much), from memory, made wider by how they are
 * mounted at home.
 */
export class Balance {
  readonly #stream: Stream;
  readonly #malfunction: Malfunction;
  readonly weathering: Weathering;
  readonly #step: number;
  readonly #noise: number;
  readonly #windNoise: number; // grams at 1 m/s, grows with the square
  readonly #zeroPerDegree: number;
  readonly #spanPerDegree: number;
  readonly #gain: number;
  readonly #play: number; // half of the hysteresis
  readonly #creepShare: number;
  readonly #creepTime: number;
  readonly #lag: number; // of the cell's temperature behind the air's
  readonly #slow: Wander;
  readonly #hopperGrams: number; // what the hopper itself weighs
  readonly #drops: number; // readings that the amplifier doesn't deliver
  readonly #deadAsNull: boolean;
  readonly #binds: boolean; // stuck by something under the hopper, not in the amplifier
  #zero: number;
  #cell: number; // °C
  #followed = 0;
  #crept = 0;
  #stuckAt: number | null = null;

  constructor(stream: Stream, malfunction: Malfunction, sky: Sky, made: Made) {
    const [smallest, next] = ranges.filter((grams) => grams > 1.2 * made.capacity + 1_000);
    const range = stream.pick([smallest ?? 20_000, next ?? 20_000]);
    this.#stream = stream;
    this.#malfunction = malfunction;
    this.weathering = new Weathering(stream);
    this.#step = stream.pick([0.1, 0.1, 0.5, 1, 1, 2, 5]);
    this.#noise = range * stream.logUniform(0.00002, 0.0005);
    this.#windNoise = stream.logUniform(0.02, 1);
    this.#zeroPerDegree = range * stream.logUniform(0.00001, 0.00012) * (stream.chance(0.5) ? 1 : -1);
    this.#spanPerDegree = stream.uniform(-0.0002, 0.0002);
    this.#gain = stream.factor(0.012);
    this.#play = range * stream.logUniform(0.00002, 0.0004);
    this.#creepShare = stream.uniform(-0.001, 0.003);
    this.#creepTime = stream.uniform(8, 45) * minute;
    this.#lag = stream.uniform(10, 80) * minute;
    this.#slow = new Wander(stream, range * stream.logUniform(0.0001, 0.002), stream.uniform(20, 90) * day, made.at);
    this.#hopperGrams = stream.logUniform(250, 1_800);
    this.#drops = stream.logUniform(0.00001, 0.003);
    this.#deadAsNull = stream.chance(0.5);
    this.#binds = stream.chance(0.5);
    this.#zero = stream.uniform(-15, 25) - this.#slow.value - this.weathering.grams;
    this.#cell = sky.air;
  }

  /** The hopper was set down again, never quite where it was. */
  reseat(): void {
    this.#zero += 2.5 * this.#stream.normal();
  }

  /** Lets the time since the last reading pass. */
  pass(span: number, sky: Sky): void {
    this.weathering.pass(span, sky);
    this.#cell += (sky.air - this.#cell) * Math.min(1, span / this.#lag);
    this.#crept += (this.#followed * this.#creepShare - this.#crept) * Math.min(1, span / this.#creepTime);
  }

  /** @returns undefined where the reading is left out of the report */
  read(now: number, sky: Sky, food: number, handling: Handling): number | null | undefined {
    const { kind } = this.#malfunction;
    if (kind === "scaleDead") return this.#deadAsNull ? null : undefined;
    const measured = this.#measure(now, sky, food, handling);
    if (this.#stream.unit() < this.#drops) return this.#deadAsNull ? null : undefined;
    if (kind !== "scaleStuck") return measured;
    this.#stuckAt ??= measured;
    if (!this.#binds) return this.#stuckAt;
    // Where it rests on a wall, a trace of what happens on it still gets through.
    return this.#rounded(this.#stuckAt + 0.4 * this.#step * this.#stream.normal());
  }

  #measure(now: number, sky: Sky, food: number, handling: Handling): number {
    const warmer = this.#cell - 15;
    const load = handling.hopperIsOff ? -this.#hopperGrams : food + this.weathering.grams + handling.birdGrams;
    this.#followed = Math.min(load + this.#play, Math.max(load - this.#play, this.#followed)); // friction: the play operator
    const gust = this.#windNoise * sky.wind * sky.wind;
    const hands = handling.hands ? 120 * this.#stream.normal() : 0;
    return this.#rounded(
      this.#followed * this.#gain * (1 + this.#spanPerDegree * warmer) +
        this.#crept +
        this.#zero +
        this.#zeroPerDegree * warmer +
        this.#slow.to(now) +
        Math.min(40, this.#noise + gust) * this.#stream.normal() +
        hands,
    );
  }

  #rounded(grams: number): number {
    const inRange = Math.max(-1_990, Math.min(30_000, grams));
    return Math.round(Math.round(inRange / this.#step) * this.#step * 10) / 10;
  }
}
