import type { Fault, FaultKind } from "../../../server/domain/faults.ts";
import {
  feedFaults,
  isChuteBlind,
  updateFeedByPortion,
  updateFeedByRefill,
  updateFeedByWeighing,
} from "../../../server/domain/feed/feed.ts";
import { type FeedState, initialFeed } from "../../../server/domain/feed/feedState.ts";
import {
  type HopperState,
  hopperLevel,
  initialHopper,
  updateHopperByPortion,
} from "../../../server/domain/hopper/level.ts";
import { updateHopperByRefill } from "../../../server/domain/hopper/refill.ts";
import { updateHopperByWeighing } from "../../../server/domain/hopper/weighing.ts";
import { after, type Instant, minutes, type Span } from "../../../server/domain/instant.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { celsius, grams, milliamps } from "../../../server/domain/units.ts";
import type { PartFault } from "../../../server/practice/model/faults.ts";
import { advanceLoadCell, initialLoadCell, readLoadCell } from "../../../server/practice/model/loadCell.ts";
import { type Dispenser, foodStore, turnTray } from "../../../server/practice/model/tray.ts";
import { humidClimate, type Weather, weatherAt } from "../../../server/practice/model/weather.ts";
import { practiceCell, practiceDispenser } from "../../../server/practice/parts.ts";
import { type RandomSource, seededRandom } from "../../../server/practice/random.ts";
import { practiceYard } from "../../../server/practice/yard.ts";
import { dawn, minuteAfter, portionAt } from "../hopper/rowan.ts";

/** What may be broken on the bench. An empty hopper isn't planted: it is eaten empty, or emptied by hand. */
export type PlantedFeedFault = PartFault | "scaleAtZero";

interface FeedModelOptions {
  readonly currentKnown?: boolean;
  readonly seed?: number;
  readonly poured?: number; // g in the hopper to begin with
  readonly known?: boolean; // whether the keeper entered it
  readonly noise?: number; // g, of one reading of the scale
  readonly missed?: number; // share of portions that a sound chute sensor misses whole
}

/** A harder feeder than the practice feeders: few and large pieces, uneven portions, a motor that scatters more. */
const dispenserThatMisses = (portionMissed: number): Dispenser => ({
  tray: { ...practiceDispenser.tray, portionSpread: 0.25, grainGrams: 2.5 },
  motor: { ...practiceDispenser.motor, spread: 0.06, jam: 1.15, stall: 3.5 },
  chute: { pieceSeen: 0.92, portionMissed },
});

/** Its scale drifts by several grams from night to noon: near the worst of a design note (check lc-pessimistic). */
const cellWithNoise = (noiseGrams: number) => ({
  ...practiceCell,
  zeroPerDegree: 1.3,
  noiseGrams,
  snowMaxGrams: 0,
});

const minutesBetween = 2;

/**
 * A feeder on the bench, of the practice feeders' parts, and a fault that can be planted and repaired. What Pieward makes of it
 * goes through the same steps, in the same order, as on the server.
 */
export class FeedModel {
  minute = 0;
  feed: FeedState = initialFeed();
  hopper: HopperState;
  readonly #settings: FeederSettings;
  readonly #currentKnown: boolean;
  readonly #seed: number;
  readonly #random: RandomSource;
  readonly #dispenser;
  readonly #cellParameters;
  #cell;
  #cellAt: Instant = dawn;
  #store;
  #planted: PlantedFeedFault | null = null;
  #frozen: number | null = null;
  #nextReport = 0;

  constructor(
    settings: FeederSettings,
    { currentKnown = true, seed = 1, poured = 1_500, known = true, noise = 2, missed = 0.02 }: FeedModelOptions = {},
  ) {
    this.#settings = settings;
    this.#currentKnown = currentKnown;
    this.#seed = seed;
    this.#random = seededRandom(seed);
    this.#dispenser = dispenserThatMisses(missed);
    this.#cellParameters = cellWithNoise(noise);
    this.#cell = initialLoadCell(this.#weather.insideCelsius);
    this.#store = foodStore(poured, this.#dispenser.tray, settings.portionMass);
    const unknown = initialHopper(settings, dawn);
    const refill = { at: dawn, what: { kind: "level", grams: grams(poured) } } as const;
    this.hopper = known ? updateHopperByRefill(unknown, refill, settings) : unknown;
  }

  get now(): Instant {
    return minuteAfter(dawn, this.minute);
  }

  get food(): number {
    return this.#store.hopperGrams + this.#store.trayGrams;
  }

  set food(mass: number) {
    this.#store = foodStore(mass, this.#dispenser.tray, this.#settings.portionMass);
  }

  get #weather(): Weather {
    return weatherAt(this.#seed, practiceYard.place, this.now, humidClimate);
  }

  /** Portions one after the other, with the reports that come meanwhile; each portion is in the report after it. */
  give(count: number): this {
    for (let n = 0; n < count; n += 1) {
      const at = this.minute + minutesBetween;
      while (this.#nextReport < at) this.#reportAt(this.#nextReport);
      this.minute = at;
      this.#portion();
      this.#reportAt(at);
    }
    return this;
  }

  report(bird = 0): this {
    const reading = grams(this.#frozen ?? this.#weigh(bird));
    this.feed = updateFeedByWeighing(this.feed, reading, this.now, this.#settings);
    const { hopper, foundRefill } = updateHopperByWeighing(this.hopper, reading, this.now, this.#settings);
    this.hopper = hopper;
    if (foundRefill !== null) this.feed = updateFeedByRefill(this.feed);
    return this;
  }

  #weigh(bird: number): number {
    const surroundings = { span: minutes((this.now - this.#cellAt) / 60_000), weather: this.#weather };
    const loadGrams = this.food;
    this.#cell = advanceLoadCell(this.#cell, this.#cellParameters, { ...surroundings, loadGrams }, this.#random);
    this.#cellAt = this.now;
    return readLoadCell(this.#cell, this.#cellParameters, loadGrams, bird, this.#random);
  }

  refill(mass: number): this {
    this.food = mass;
    this.minute += 1;
    const refill = { at: this.now, what: { kind: "level", grams: grams(mass) } } as const;
    this.hopper = updateHopperByRefill(this.hopper, refill, this.#settings);
    this.feed = updateFeedByRefill(this.feed);
    return this;
  }

  plant(fault: PlantedFeedFault): this {
    this.#planted = fault;
    this.#frozen = fault === "scaleAtZero" ? 0 : fault === "scaleStuck" ? Math.round(10 * this.food) / 10 : null;
    return this;
  }

  repair(): this {
    this.#planted = null;
    this.#frozen = null;
    return this;
  }

  get faults(): readonly Fault[] {
    return this.faultsAfter();
  }

  /** As they are told later, when nothing more has happened. */
  faultsAfter(wait: Span = minutes(0)): readonly Fault[] {
    return feedFaults(this.feed, hopperLevel(this.hopper, this.#settings), this.#settings, after(this.now, wait));
  }

  get kinds(): readonly FaultKind[] {
    return this.faults.map((fault) => fault.kind);
  }

  #reportAt(minute: number): void {
    this.minute = minute;
    this.report();
    this.#nextReport = minute + this.#settings.reportEvery / 60_000;
  }

  #portion(): void {
    const settings = this.#settings;
    const { insideCelsius } = this.#weather;
    const fault = this.#planted === "scaleAtZero" ? null : this.#planted;
    const conditions = { fault, portionGrams: settings.portionMass, insideCelsius };
    const { store, portion: released } = turnTray(this.#store, this.#dispenser, conditions, this.#random);
    this.#store = store;
    const portion = portionAt(this.now, {
      chuteCount: settings.sensors.chute ? released.seen : null,
      meanCurrent: this.#currentKnown ? milliamps(Math.round(released.milliamps)) : null,
    });
    const inside = celsius(insideCelsius + this.#random.normal(0, 0.2));
    this.feed = updateFeedByPortion(this.feed, portion, hopperLevel(this.hopper, settings), settings, inside);
    this.hopper = updateHopperByPortion(this.hopper, portion, settings, isChuteBlind(this.feed));
  }
}
