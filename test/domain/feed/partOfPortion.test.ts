import { describe, expect, it } from "vitest";
import { feedFaults, updateFeedByPortion, updateFeedByWeighing } from "../../../server/domain/feed/feed.ts";
import { initialFeed } from "../../../server/domain/feed/feedState.ts";
import { initialStatistics, isFallingByScale } from "../../../server/domain/feed/hypothesisStatistics.ts";
import { initialScaleTrack } from "../../../server/domain/feed/scaleTrack.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { grams, milliamps } from "../../../server/domain/units.ts";
import { type RandomSource, seededRandom } from "../../../server/practice/random.ts";
import { dawn, minuteAfter, portionAt, rowanSettings } from "../hopper/rowan.ts";

/** How a feeder fares at one portion: of usual pieces, what falls and what the sensor sees; what the motor draws. */
interface Now {
  readonly falls?: number;
  readonly seen?: number;
  readonly drawn?: number | null; // mA
  readonly peak?: number | null; // mA
}

/**
 * A feeder of eight grams and some six pieces a portion, 40 a day unless stated. Each piece is seen or not by itself, the scale scatters by
 * a gram. Replay: the seed.
 */
class Bench {
  feed = initialFeed();
  portions = 0;
  #mass = 100_000; // never empty here
  readonly #random: RandomSource;
  readonly #settings: FeederSettings;
  readonly #perDay: number;

  constructor(settings: FeederSettings, seed: number, perDay = 40) {
    this.#settings = settings;
    this.#random = seededRandom(seed);
    this.#perDay = perDay;
  }

  give(count: number, now: Now | ((portion: number) => Now) = {}): this {
    for (let n = 0; n < count; n += 1) this.#portion(typeof now === "function" ? now(n) : now);
    return this;
  }

  get fault() {
    return feedFaults(this.feed, this.#level, this.#settings, minuteAfter(this.#at, 2))[0];
  }

  get #at() {
    const day = Math.floor(this.portions / this.#perDay);
    return minuteAfter(dawn, 1_440 * day + Math.floor(480 / this.#perDay) * (this.portions % this.#perDay));
  }

  get #level() {
    return { grams: grams(1_000), low: grams(900), high: grams(1_100) };
  }

  #portion({ falls = 1, seen = 1, drawn = null, peak = null }: Now): void {
    const random = this.#random;
    this.portions += 1;
    const at = this.#at;
    let [fell, counted] = [0, 0];
    for (let piece = 0; piece < 5 + Math.floor(3 * random.uniform()); piece += 1) {
      if (!random.isTrueWith(falls)) continue;
      fell += 1;
      if (random.isTrueWith(seen)) counted += 1;
    }
    this.#mass -= (8 / 6) * fell;
    const portion = portionAt(at, {
      chuteCount: this.#settings.sensors.chute ? counted : null,
      meanCurrent: drawn === null ? null : milliamps(drawn),
      peakCurrent: peak === null ? null : milliamps(peak),
    });
    this.feed = updateFeedByPortion(this.feed, portion, this.#level, this.#settings);
    if (!this.#settings.sensors.scale) return;
    const reading = grams(Math.round(10 * (this.#mass + random.normal(0, 1))) / 10);
    this.feed = updateFeedByWeighing(this.feed, reading, minuteAfter(at, 1), this.#settings);
  }
}

const seeds = [120_901, 120_902, 120_903, 120_904, 120_905];

describe("a part of each portion", () => {
  it.each(seeds)("that falls is a jam where the scale shows it (seed %i)", (seed) => {
    const bench = new Bench(rowanSettings(), seed).give(150);
    expect(bench.fault).toBeUndefined();
    bench.give(40, { falls: 0.25 });
    expect(bench.fault?.kind, bench.fault?.reason).toBe("trayJammed");
    expect(bench.fault?.reason).toContain("only a part of each portion falls");
  });

  it.each(seeds)(
    "that grows less until nothing falls is the throat below a bridge, and is called so at once (seed %i)",
    (seed) => {
      const full = 410; // mA
      const bench = new Bench(rowanSettings(), seed).give(160, { drawn: full }); // a new day begins
      for (let portion = 0; portion < 20 && bench.fault === undefined; portion += 1) {
        const falls = Math.max(0, 0.6 - 0.12 * portion);
        bench.give(1, { falls, drawn: full - 25 * (1 - falls) });
      }
      expect(bench.fault?.kind, bench.fault?.reason).toBe("feedBridged");
    },
  );

  it.each(seeds)("that is seen is a dirty sensor where the scale shows that all of it falls (seed %i)", (seed) => {
    const bench = new Bench(rowanSettings(), seed).give(150).give(40, { seen: 0.25 });
    expect(bench.fault?.kind, bench.fault?.reason).toBe("chuteBlind");
    expect(bench.fault?.reason).toContain("sees less");
  });

  it.each(seeds)("is left open without a scale (seed %i)", (seed) => {
    const bench = new Bench(rowanSettings({ scale: false }), seed).give(150).give(40, { seen: 0.25 });
    expect(bench.fault?.kind, bench.fault?.reason).toBe("chuteBlind"); // which is not urgent
    expect(bench.fault?.reason).toContain("a dirty chute sensor and a tray that is partly jammed look the same");
  });

  it.each(seeds)("that creeps over ten days is told while the sensor sees two pieces in five (seed %i)", (seed) => {
    const perDay = 160;
    const bench = new Bench(rowanSettings(), seed, perDay).give(10 * perDay);
    expect(bench.fault).toBeUndefined();
    const sight = (portion: number) => 1 - portion / (10 * perDay);
    let portion = 0;
    while (bench.fault === undefined && portion < 10 * perDay) bench.give(1, { seen: sight(portion++) });
    expect(sight(portion)).toBeGreaterThan(0.4);
    expect(bench.fault?.kind).toBe("chuteBlind");
  });
});

describe("a motor's current", () => {
  const withoutChute = rowanSettings({ chute: false });

  it("that differs by one step of a coarse meter is no sign of anything", () => {
    const bench = new Bench(withoutChute, 120_911).give(80, { drawn: 66.5 });
    bench.give(30, { drawn: 58.2 });
    expect(bench.feed.diagnosis).toBeNull();
    expect(bench.feed.statistics.emptyTray.sum).toBeLessThan(3);
  });

  it("of a motor that turned against a jam is well below the one it started with; that of a blocked one isn't", () => {
    const usual = { drawn: 250, peak: 900 };
    const jam = new Bench(rowanSettings(), 120_912).give(80, usual).give(8, { falls: 0, drawn: 600, peak: 900 });
    expect(jam.fault?.kind, jam.fault?.reason).toBe("trayJammed");
    const block = new Bench(rowanSettings(), 120_912).give(80, usual).give(8, { falls: 0, drawn: 890, peak: 900 });
    expect(block.fault?.kind, block.fault?.reason).toBe("motorStalled");
  });
});

describe("a hopper that grows lighter", () => {
  const track = { ...initialScaleTrack, readingAt: dawn, lastReading: 940, meanPortion: 8, noise: 4 };
  const jam = { ...initialStatistics.trayJammed, portions: 10, scaleAtBegin: 1_000 };

  it("by most of what was given says that food falls; by less, or for a scale that couldn't show it, nothing", () => {
    expect(isFallingByScale(jam, track)).toBe(true); // 60 of 80 g
    expect(isFallingByScale(jam, { ...track, lastReading: 960 })).toBe(false);
    expect(isFallingByScale(jam, { ...track, noise: 900 })).toBe(false);
    expect(isFallingByScale({ ...jam, scaleAtBegin: null }, track)).toBe(false);
    expect(isFallingByScale(jam, { ...track, lastReading: null })).toBe(false);
  });
});
