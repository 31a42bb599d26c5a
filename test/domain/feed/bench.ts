import type { Fault, FaultKind } from "../../../server/domain/faults.ts";
import {
  chuteIsBlind,
  type FeedState,
  feedFaults,
  feedRefilled,
  freshFeed,
  watchPortion,
  watchWeighing,
} from "../../../server/domain/feed/diagnosis.ts";
import type { FeederSettings } from "../../../server/domain/feeder.ts";
import { dispensed, type HopperState, levelOf, unknownHopper } from "../../../server/domain/hopper/level.ts";
import { refilled } from "../../../server/domain/hopper/refill.ts";
import { weighed } from "../../../server/domain/hopper/weighing.ts";
import type { Instant } from "../../../server/domain/instant.ts";
import { grams, milliamps } from "../../../server/domain/units.ts";
import { dawn, minuteAfter, portionAt, seeded } from "../hopper/rowan.ts";

/** What may be broken on the bench. */
export type Planted = "nothing" | "jam" | "stall" | "wireOff" | "chuteBlind";

export interface BenchOptions {
  readonly currentKnown?: boolean;
  readonly seed?: number;
  readonly poured?: number; // g in the hopper to begin with
  readonly known?: boolean; // whether the keeper said so
  readonly noise?: number; // g, of one reading of the scale
  readonly missed?: number; // share of portions that a sound chute sensor misses
}

/**
 * A feeder on the bench: real food, a motor, sensors with their own scatter, and a fault that can be planted and taken
 * away. What Pieward makes of it goes through the same steps, in the same order, as on the server.
 */
export class Bench {
  planted: Planted = "nothing";
  food: number;
  minute = 0;
  feed: FeedState = freshFeed();
  hopper: HopperState;
  private readonly random;
  private readonly currentKnown: boolean;
  private readonly missed: number;
  private readonly noise: number;

  readonly settings: FeederSettings;

  constructor(
    settings: FeederSettings,
    { currentKnown = true, seed = 1, poured = 1_500, known = true, missed = 0.02, noise = 2 }: BenchOptions = {},
  ) {
    this.settings = settings;
    this.random = seeded(seed);
    this.currentKnown = currentKnown;
    this.missed = missed;
    this.noise = noise;
    this.food = poured;
    const unknown = unknownHopper(settings, dawn);
    this.hopper = known
      ? refilled(unknown, { at: dawn, what: { kind: "level", grams: grams(poured) } }, settings)
      : unknown;
  }

  get now(): Instant {
    return minuteAfter(dawn, this.minute);
  }

  /** A portion every two minutes, each followed by a report with a reading. */
  give(count: number): this {
    for (let n = 0; n < count; n += 1) {
      this.minute += 2;
      this.portion();
      this.report();
    }
    return this;
  }

  report(bird = 0): this {
    const { settings, random } = this;
    const drift = 8 * Math.sin((this.minute / 1440) * 2 * Math.PI);
    const reading = grams(this.food + drift + bird + random.normal(0, this.noise));
    this.feed = watchWeighing(this.feed, reading, this.now, settings);
    const { hopper, refillFound } = weighed(this.hopper, reading, this.now, settings);
    this.hopper = hopper;
    if (refillFound !== null) this.feed = feedRefilled(this.feed);
    return this;
  }

  refill(mass: number): this {
    this.food = mass;
    this.minute += 1;
    const refill = { at: this.now, what: { kind: "level", grams: grams(mass) } } as const;
    this.hopper = refilled(this.hopper, refill, this.settings);
    this.feed = feedRefilled(this.feed);
    return this;
  }

  plant(fault: Planted): this {
    this.planted = fault;
    return this;
  }

  get faults(): readonly Fault[] {
    return feedFaults(this.feed, levelOf(this.hopper, this.settings), this.settings, this.now);
  }

  get kinds(): readonly FaultKind[] {
    return this.faults.map((fault) => fault.kind);
  }

  private portion() {
    const { random, settings, planted } = this;
    const moves = planted === "nothing" || planted === "chuteBlind";
    const fallen = moves ? Math.min(this.food, Math.max(1, random.normal(8, 2))) : 0;
    this.food -= fallen;
    const seen = fallen > 0 && planted !== "chuteBlind" && random.uniform() >= this.missed;
    const cold = 1 + 0.15 * Math.sin((this.minute / 1440) * 2 * Math.PI); // grease by day and night
    const factor = planted === "stall" ? 3.5 : planted === "wireOff" ? 0.01 : planted === "jam" ? 1.15 : 1;
    const current = 240 * cold * factor * Math.exp(random.normal(0, 0.08));
    const portion = portionAt(this.now, {
      chuteCount: settings.sensors.chute ? (seen ? 1 + Math.floor(3 * random.uniform()) : 0) : null,
      meanCurrent: this.currentKnown ? milliamps(current) : null,
    });
    this.feed = watchPortion(this.feed, portion, levelOf(this.hopper, settings), settings);
    this.hopper = dispensed(this.hopper, portion, settings, chuteIsBlind(this.feed));
  }
}
