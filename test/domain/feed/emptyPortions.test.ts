import { describe, expect, it } from "vitest";
import { alarmThreshold } from "../../../server/domain/feed/alarmThreshold.ts";
import {
  type EmptyPortions,
  emptyRunEvidence,
  emptyShareLimit,
  initialEmptyPortions,
  learnEmptyRun,
} from "../../../server/domain/feed/emptyPortions.ts";
import {
  feedFaults,
  updateFeedByPortion,
  updateFeedByRefill,
  updateFeedByWeighing,
} from "../../../server/domain/feed/feed.ts";
import { initialFeed } from "../../../server/domain/feed/feedState.ts";
import { grams } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { dawn, minuteAfter, portionAt, rowanSettings } from "../hopper/rowan.ts";
import { FeedModel } from "./feedModel.ts";

describe("the share of empty portions that a feeder's record allows", () => {
  const limit = (share: number, portions: number) =>
    emptyShareLimit({ ...initialEmptyPortions, afterFood: { share, portions } }, false);

  it.each([
    // Upper limits of Wilson's score interval, 95 % two-sided: Newcombe 1998 (Stat. Med. 17:857), table I, from memory.
    [81, 263, 0.3662],
    [15, 148, 0.1605],
    [0, 20, 0.1611],
    [1, 29, 0.1718],
    [2, 100, 0.07], // computed with Python
  ])("is Wilson's upper limit: %i of %i are at most %f", (empty, portions, expected) => {
    expect(limit(empty / portions, portions)).toBeCloseTo(expected, 4);
  });

  it("is that after food or after an empty portion, whichever it was", () => {
    const { afterFood, afterEmpty } = initialEmptyPortions;
    expect(emptyShareLimit(initialEmptyPortions, false)).toBe(limit(afterFood.share, afterFood.portions));
    expect(emptyShareLimit(initialEmptyPortions, true)).toBe(limit(afterEmpty.share, afterEmpty.portions));
  });
});

describe("what portions without food may say at most", () => {
  it("is the logarithm of how seldom so many come in a row: the first after food, the others after an empty one", () => {
    // Of a new feeder, by Wilson's limits computed with Python: -ln 0.0845193649, and -ln 0.3164238315 for each further one.
    const evidence = (portions: number) => emptyRunEvidence(initialEmptyPortions, portions);
    expect([-1, 0, 1, 2, 8].map(evidence)).toEqual(
      [0, 0, 2.4707746, 3.6214473, 10.5254837].map((value) => expect.closeTo(value, 6)),
    );
  });

  it("bounds chute sensor, scale and current together: nobody is told before the feeder's own record allows it", () => {
    for (const [settings, currentKnown] of [
      [rowanSettings(), true],
      [rowanSettings(), false],
      [rowanSettings({ scale: false }), true],
      [rowanSettings({ chute: false }), true],
    ] as const) {
      for (const fault of [
        "trayJammed",
        "feedBridged",
        settings.sensors.chute ? "chuteBlind" : "scaleStuck",
      ] as const) {
        const bench = new FeedModel(settings, { currentKnown, seed: 3 }).give(100).plant(fault);
        let portions = 0;
        while (bench.feed.diagnosis === null && portions < 50) {
          bench.give(1);
          portions += 1;
        }
        const { emptyPortions, portionRate } = bench.feed;
        const said = `${fault}, ${JSON.stringify(settings.sensors)}, ${portions} portions`;
        expect(bench.feed.diagnosis, said).not.toBeNull();
        expect(emptyRunEvidence(emptyPortions, portions), said).toBeGreaterThanOrEqual(alarmThreshold(portionRate));
      }
    }
  });
});

describe("a feeder's record of empty portions", () => {
  const known = (share: number, portions: number) => ({ share, portions });
  const record: EmptyPortions = { afterFood: known(0.05, 99), afterEmpty: known(0.2, 49) };

  it("counts a portion with food after food, or a single empty one and the food after it", () => {
    expect(learnEmptyRun(record, 0)).toEqual({
      afterFood: known(expect.closeTo(0.05 - 0.05 / 100, 12), 100),
      afterEmpty: record.afterEmpty,
    });
    expect(learnEmptyRun(record, 1)).toEqual({
      afterFood: known(expect.closeTo(0.05 + 0.95 / 100, 12), 100),
      afterEmpty: known(expect.closeTo(0.2 - 0.2 / 50, 12), 50),
    });
  });

  it("counts of a run each empty portion after the first as one after an empty one", () => {
    const { afterFood, afterEmpty } = learnEmptyRun(record, 4);
    expect(afterFood).toEqual(learnEmptyRun(record, 1).afterFood);
    expect(afterEmpty.portions).toBe(53);
    expect(afterEmpty.share).toBeCloseTo((0.2 * 49 + 3) / 53, 12); // three of four
  });

  it("leaves out runs longer than ten, which were faults that ended by themselves", () => {
    expect(learnEmptyRun(record, 10).afterEmpty.portions).toBe(59);
    expect(learnEmptyRun(record, 11)).toBe(record);
  });

  it("forgets: five hundred portions count", () => {
    const old = { ...record, afterFood: known(0.05, 500) };
    expect(learnEmptyRun(old, 0).afterFood).toEqual(known(expect.closeTo(0.05 - 0.05 / 500, 12), 500));
  });
});

/**
 * Whether a dispenser's empty portions come singly or in runs, its owner wants at most one false alarm a year. Goal: none is raised
 * oftener on a healthy feeder with runs, whose scale stands still for them too, and a true stop is found all the same. Method: a year of
 * portions of a two-state Markov chain, each with what chute sensor and scale show. Replay: the seed.
 */
describe("a feeder whose empty portions come in runs", () => {
  const settings = rowanSettings();
  const portionsPerDay = 40;
  const emptyAfterFood = 0.03;
  const emptyAfterEmpty = 0.4;

  class FeederWithRuns {
    feed = initialFeed();
    mass = 1_800;
    isEmpty = false;
    longestRun = 0;
    #portions = 0;
    readonly #random;

    constructor(seed: number) {
      this.#random = seededRandom(seed);
    }

    /** Whether nothing fell; what is wrong then. */
    give(isStopped = false): { readonly empty: boolean; readonly alarmed: boolean } {
      const random = this.#random;
      const day = Math.floor(this.#portions / portionsPerDay);
      const at = minuteAfter(dawn, 1_440 * day + 12 * (this.#portions % portionsPerDay));
      this.#portions += 1;
      this.isEmpty = isStopped || random.isTrueWith(this.isEmpty ? emptyAfterEmpty : emptyAfterFood);
      if (!this.isEmpty) this.mass -= 8 * (0.75 + 0.5 * random.uniform());
      const chuteCount = this.isEmpty ? 0 : 1 + Math.floor(5 * random.uniform());
      this.feed = updateFeedByPortion(
        this.feed,
        portionAt(at, { chuteCount, meanCurrent: null }),
        this.level,
        settings,
      );
      this.longestRun = Math.max(this.longestRun, this.feed.uncountedPortions);
      const reading = grams(Math.round(10 * (this.mass + random.normal(0, 2))) / 10);
      this.feed = updateFeedByWeighing(this.feed, reading, minuteAfter(at, 1), settings);
      if (this.mass < 300) this.#refill();
      const alarmed = feedFaults(this.feed, this.level, settings, minuteAfter(at, 2)).length > 0;
      return { empty: this.isEmpty, alarmed };
    }

    get level() {
      return { grams: grams(this.mass), low: grams(this.mass - 60), high: grams(this.mass + 60) };
    }

    #refill(): void {
      this.mass = 1_800;
      this.feed = updateFeedByRefill(this.feed);
    }
  }

  /** Alarms that would be raised: none while food has just fallen (findFaults.ts). */
  function alarmsOfYear(feeder: FeederWithRuns): number {
    let alarms = 0;
    let isActive = false;
    for (let n = 0; n < 365 * portionsPerDay; n += 1) {
      const { empty, alarmed } = feeder.give();
      if (empty && alarmed && !isActive) alarms += 1;
      isActive = alarmed && (isActive || empty);
    }
    return alarms;
  }

  it.each([1, 2, 3, 4, 5, 6])(
    "raises at most one alarm in a healthy year, and finds a true stop within a dozen portions (seed %i)",
    (seed) => {
      const feeder = new FeederWithRuns(seed);
      expect(alarmsOfYear(feeder)).toBeLessThanOrEqual(1);
      expect(feeder.longestRun).toBeGreaterThanOrEqual(6); // the year reached what it guards
      while (feeder.give().empty);
      let portions = 1;
      while (!feeder.give(true).alarmed && portions < 50) portions += 1;
      expect(portions).toBeLessThanOrEqual(12);
    },
  );
});
