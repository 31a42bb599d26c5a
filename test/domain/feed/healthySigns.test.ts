import { describe, expect, it } from "vitest";
import { causeFaults } from "../../../server/domain/feed/causeFaults.ts";
import { updateFeedByPortion, updateFeedByWeighing } from "../../../server/domain/feed/feed.ts";
import { type FeedState, initialFeed } from "../../../server/domain/feed/feedState.ts";
import { after, hours } from "../../../server/domain/instant.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { celsius, grams, milliamps } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { dawn, minuteAfter, portionAt, rowanSettings } from "../hopper/rowan.ts";

/** What healthy feeders send that looks like a fault of the feed. */

const withoutChute = rowanSettings({ chute: false });
const portionGrams = 8;

/** A portion each ten minutes, by day and night, at 5 °C, and a reading two minutes after it; a healthy day first. */
class Bench {
  feed: FeedState = initialFeed();
  minute = 0;
  #scale = 5_000;
  readonly settings: FeederSettings;
  readonly #random = seededRandom(31);

  constructor(settings = withoutChute) {
    this.settings = settings;
    this.give(140);
  }

  /** `falls` and `comes`: g that leave the hopper and that something else adds to the scale; `reads`: whether it is read. */
  give(count: number, { falls = portionGrams, comes = 0, drawn = 240, reads = true, seen = 6 } = {}): this {
    const { settings } = this;
    for (let n = 0; n < count; n += 1) {
      this.minute += 10;
      const at = minuteAfter(dawn, this.minute);
      const meanCurrent = milliamps(drawn + 3 * this.#random.normal(0, 1));
      const chuteCount = settings.sensors.chute ? seen : null;
      const portion = portionAt(at, { meanCurrent, chuteCount });
      this.feed = updateFeedByPortion(this.feed, portion, null, settings, celsius(5));
      this.#scale += comes - falls;
      const reading = grams(this.#scale + this.#random.normal(0, 0.5));
      if (reads) this.feed = updateFeedByWeighing(this.feed, reading, minuteAfter(at, 2), settings);
    }
    return this;
  }

  kinds(later = hours(0)) {
    const now = after(minuteAfter(dawn, this.minute + 3), later);
    return causeFaults(this.feed, null, this.settings, now).map(({ kind }) => kind);
  }
}

describe("a hopper that grows heavier while portions are given", () => {
  it("is told nothing of: rain or soaking wood hides what falls", () => {
    // Four in ten of what should have fallen, and more.
    for (const comes of [12, 14, 16]) expect(new Bench().give(20, { comes }).kinds(), `${comes} g`).toEqual([]);
  });

  it("is one that stands still where nothing falls, and is told", () => {
    expect(new Bench().give(20, { falls: 0 }).kinds()).toHaveLength(1);
    expect(new Bench().give(20, { falls: 0, comes: 1 }).kinds()).toHaveLength(1);
  });
});

describe("a motor that draws some percent less for a while", () => {
  it("is no tray without food by itself, where no chute sensor and no scale shows that none falls", () => {
    for (const drawn of [216, 208, 200])
      for (let count = 1; count <= 12; count += 1)
        expect(new Bench().give(count, { drawn, reads: false }).kinds(), `${drawn} mA, ${count}`).toEqual([]);
  });

  it("is one together with a scale that stands still", () => {
    expect(new Bench().give(12, { drawn: 216, falls: 0 }).kinds()).toHaveLength(1);
  });
});

describe("a part of each portion", () => {
  const few = (portions: number) => {
    const bench = new Bench(rowanSettings());
    while (bench.feed.diagnosis === null && bench.minute < 3_000) bench.give(1, { seen: 2, falls: 2 });
    return bench.give(portions, { seen: 2, falls: 2 });
  };

  it("is told after four more such portions at the earliest, however long no bird comes", () => {
    expect(few(0).feed.diagnosis).not.toBeNull();
    expect([0, 3].map((portions) => few(portions).kinds(hours(7)))).toEqual([[], []]);
    expect(few(4).kinds(hours(7))).toHaveLength(1);
  });
});

describe("a finding about the chute sensor", () => {
  it("is not turned into one about the food by the next empty portion: that takes its own proof", () => {
    const bench = new Bench(rowanSettings({ scale: false }));
    while (bench.feed.diagnosis === null && bench.minute < 4_000) bench.give(1, { seen: 1 });
    const { hypothesis } = bench.feed.diagnosis ?? {};
    const { statistics } = bench.feed;
    const emptyTray = { ...statistics.emptyTray, sum: 30, emptyPortions: 0, portions: 1 };
    bench.feed = { ...bench.feed, statistics: { ...statistics, emptyTray } };
    expect(bench.give(1, { seen: 0 }).feed.diagnosis?.hypothesis).toBe(hypothesis);
    expect(bench.give(8, { seen: 0 }).feed.diagnosis?.hypothesis).not.toBe(hypothesis);
  });
});
