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
import type { Instant } from "../../../server/domain/instant.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { celsius, grams, milliamps } from "../../../server/domain/units.ts";
import { dawn, minuteAfter, portionAt, seededRandom } from "../hopper/rowan.ts";

/** What may be broken on the bench. An empty hopper isn't planted: it is eaten empty, or emptied by hand. */
export type PlantedFeedFault =
  | "nothing"
  | "jam"
  | "bridge"
  | "stall"
  | "wireOff"
  | "chuteBlind"
  | "chuteHalfBlind"
  | "scaleStuck"
  | "scaleAtZero";

export interface FeedModelOptions {
  readonly currentKnown?: boolean;
  readonly seed?: number;
  readonly poured?: number; // g in the hopper to begin with
  readonly known?: boolean; // whether the keeper entered it
  readonly noise?: number; // g, of one reading of the scale
  readonly drift?: number; // g, swing of the scale's zero over a day
  readonly missed?: number; // share of portions that a sound chute sensor misses whole
  readonly spread?: number; // of one portion's mass, as a share
  readonly pieceMass?: number; // g
  readonly currentSpread?: number; // of ln(mA), from portion to portion
  readonly celsiusMean?: number;
  readonly celsiusSwing?: number; // half of the day's range
  readonly celsiusReported?: boolean;
  readonly slope?: number; // of ln(mA) per kelvin
  readonly gapMinutes?: number; // mean time between portions
  readonly evenGaps?: boolean; // false: birds come as they like
  readonly jamShift?: number; // of ln(mA)
  readonly lightShift?: number; // of ln(mA), a tray without food
  readonly stallFactor?: number;
  readonly wireMilliamps?: number;
  readonly onset?: number; // portions that shrink before a bridged or empty tray gives nothing
  readonly halfSeen?: "portions" | "pieces"; // what a half blind chute sensor loses
}

const usual = {
  currentKnown: true,
  seed: 1,
  poured: 1_500,
  known: true,
  noise: 2,
  drift: 8,
  missed: 0.02,
  spread: 0.25,
  pieceMass: 2.5,
  currentSpread: 0.06,
  celsiusMean: 0,
  celsiusSwing: 6,
  celsiusReported: true,
  slope: -0.006,
  gapMinutes: 2,
  evenGaps: true,
  jamShift: 0.14,
  lightShift: -0.055,
  stallFactor: 3.5,
  wireMilliamps: 2.4,
  onset: 3,
  halfSeen: "portions",
} as const satisfies Required<FeedModelOptions>;

/** What the feeder on the bench really did in one portion, for a computation with full knowledge. */
export interface FeedTruth {
  readonly at: Instant;
  readonly fallen: number; // g
  readonly counted: number | null;
  readonly milliamps: number | null;
  readonly loadedMilliamps: number; // what a loaded tray draws at this temperature, without scatter
}

/**
 * A feeder on the bench: real food, a motor, sensors with their own scatter, and a fault that can be planted and taken
 * away. What Pieward makes of it goes through the same steps, in the same order, as on the server.
 */
export class FeedModel {
  planted: PlantedFeedFault = "nothing";
  food: number;
  minute = 0;
  feed: FeedState = initialFeed();
  hopper: HopperState;
  readonly settings: FeederSettings;
  readonly options: Required<FeedModelOptions>;
  last: FeedTruth | null = null;
  private readonly random;
  private frozen: number | null = null;
  private sincePlanted = 0;
  private nextReport = 0;

  constructor(settings: FeederSettings, options: FeedModelOptions = {}) {
    this.settings = settings;
    this.options = { ...usual, ...options };
    this.random = seededRandom(this.options.seed);
    this.food = this.options.poured;
    const unknown = initialHopper(settings, dawn);
    const refill = { at: dawn, what: { kind: "level", grams: grams(this.food) } } as const;
    this.hopper = this.options.known ? updateHopperByRefill(unknown, refill, settings) : unknown;
  }

  get now(): Instant {
    return minuteAfter(dawn, this.minute);
  }

  /** Portions one after the other, with the reports that come meanwhile; each portion is in the report after it. */
  give(count: number): this {
    for (let n = 0; n < count; n += 1) {
      const { gapMinutes, evenGaps } = this.options;
      const gap = evenGaps ? gapMinutes : Math.max(0.3, -gapMinutes * Math.log(1 - this.random.uniform()));
      const at = this.minute + gap;
      while (this.nextReport < at) this.reportAt(this.nextReport);
      this.minute = at;
      this.portion();
      this.reportAt(at);
    }
    return this;
  }

  report(bird = 0): this {
    const { random, options } = this;
    const drift = options.drift * Math.sin((this.minute / 1440) * 2 * Math.PI);
    const real = this.food + drift + bird + random.normal(0, options.noise);
    const reading = grams(Math.round(10 * (this.frozen ?? real)) / 10);
    this.feed = updateFeedByWeighing(this.feed, reading, this.now, this.settings);
    const { hopper, foundRefill } = updateHopperByWeighing(this.hopper, reading, this.now, this.settings);
    this.hopper = hopper;
    if (foundRefill !== null) this.feed = updateFeedByRefill(this.feed);
    return this;
  }

  refill(mass: number): this {
    this.food = mass;
    this.minute += 1;
    const refill = { at: this.now, what: { kind: "level", grams: grams(mass) } } as const;
    this.hopper = updateHopperByRefill(this.hopper, refill, this.settings);
    this.feed = updateFeedByRefill(this.feed);
    return this;
  }

  plant(fault: PlantedFeedFault): this {
    this.planted = fault;
    this.sincePlanted = 0;
    this.frozen = fault === "scaleAtZero" ? 0 : fault === "scaleStuck" ? Math.round(10 * this.food) / 10 : null;
    return this;
  }

  get faults(): readonly Fault[] {
    return feedFaults(this.feed, hopperLevel(this.hopper, this.settings), this.settings, this.now);
  }

  get kinds(): readonly FaultKind[] {
    return this.faults.map((fault) => fault.kind);
  }

  private reportAt(minute: number) {
    this.minute = minute;
    this.report();
    this.nextReport = minute + this.settings.reportEvery / 60_000;
  }

  private portion() {
    const { random, settings, options } = this;
    this.sincePlanted += 1;
    const full = Math.max(
      0.2 * settings.portionMass,
      random.normal(settings.portionMass, options.spread * settings.portionMass),
    );
    const fallen = Math.min(this.food, full * this.share());
    this.food -= fallen;
    const inside = options.celsiusMean + options.celsiusSwing * Math.sin((this.minute / 1440) * 2 * Math.PI);
    const loaded = 240 * Math.exp(options.slope * inside);
    const current =
      this.current(loaded, fallen / settings.portionMass) * Math.exp(random.normal(0, options.currentSpread));
    const counted = settings.sensors.chute ? this.counted(fallen) : null;
    this.last = {
      at: this.now,
      fallen,
      counted,
      milliamps: options.currentKnown ? current : null,
      loadedMilliamps: loaded,
    };
    const portion = portionAt(this.now, {
      chuteCount: counted,
      meanCurrent: options.currentKnown ? milliamps(Math.round(current)) : null,
    });
    const reported = options.celsiusReported ? celsius(inside + random.normal(0, 0.2)) : null;
    this.feed = updateFeedByPortion(this.feed, portion, hopperLevel(this.hopper, settings), settings, reported);
    this.hopper = updateHopperByPortion(this.hopper, portion, settings, isChuteBlind(this.feed));
  }

  /** Of a full portion: the tray runs dry over a few portions, be it that the hopper is empty or that the food has bridged. */
  private share(): number {
    const { onset } = this.options;
    const left = this.food / this.settings.portionMass;
    const byFood = Math.min(1, (left + 0.5) / (onset + 1));
    switch (this.planted) {
      case "jam":
      case "stall":
      case "wireOff":
        return 0;
      case "bridge":
        return Math.max(0, 1 - this.sincePlanted / (onset + 1));
      default:
        return left < 0.25 ? 0 : byFood;
    }
  }

  private current(loaded: number, share: number): number {
    const { options } = this;
    switch (this.planted) {
      case "stall":
        return loaded * options.stallFactor;
      case "wireOff":
        return options.wireMilliamps;
      case "jam":
        return loaded * Math.exp(options.jamShift);
      default:
        return loaded * Math.exp(options.lightShift * (1 - Math.min(1, share / 0.7)));
    }
  }

  private counted(fallen: number): number {
    const { random, options } = this;
    const pieces = fallen <= 0 ? 0 : Math.max(1, Math.round(fallen / options.pieceMass));
    const whole = this.planted === "chuteHalfBlind" && options.halfSeen === "portions" ? 0.5 : options.missed;
    const each = this.planted === "chuteHalfBlind" && options.halfSeen === "pieces" ? 0.65 : 0.08;
    if (this.planted === "chuteBlind" || random.uniform() < whole) return 0;
    let seen = 0;
    for (let piece = 0; piece < pieces; piece += 1) if (random.uniform() >= each) seen += 1;
    return each > 0.5 ? seen : Math.max(seen, Math.min(pieces, 1));
  }
}
