import { describe, expect, it } from "vitest";
import { causeProbabilities } from "../../../server/domain/feed/causeProbabilities.ts";
import { initialFeed } from "../../../server/domain/feed/feedState.ts";
import {
  type HopperState,
  hopperLevel,
  initialHopper,
  updateHopperByPortion,
} from "../../../server/domain/hopper/level.ts";
import { believeUnweighedWord, updateHopperByRefill } from "../../../server/domain/hopper/refill.ts";
import { updateHopperByWeighing } from "../../../server/domain/hopper/weighing.ts";
import { celsius, grams } from "../../../server/domain/units.ts";
import { dawn, minuteAfter, portionAt, rowanSettings } from "./rowan.ts";

/** How people tell of refills, each as a small story: two kilograms, portions of eight grams. */

const noScale = rowanSettings({ scale: false });
const minutesADay = 1_440;

class Story {
  readonly settings;
  hopper: HopperState;
  minute = 0;

  constructor(settings = noScale) {
    this.settings = settings;
    this.hopper = initialHopper(settings, dawn);
  }
  tell(what: Parameters<typeof updateHopperByRefill>[1]["what"]): this {
    this.hopper = updateHopperByRefill(this.hopper, { at: minuteAfter(dawn, this.minute), what }, this.settings);
    return this;
  }
  /** A portion each ten minutes; `chuteCount` 0: nothing falls. */
  give(portions: number, chuteCount = 3): this {
    for (let given = 0; given < portions; given += 1) {
      this.minute += 10;
      const portion = portionAt(minuteAfter(dawn, this.minute), { chuteCount });
      this.hopper = updateHopperByPortion(this.hopper, portion, this.settings);
    }
    return this;
  }
  cutShort(): this {
    this.minute += 10;
    const portion = portionAt(minuteAfter(dawn, this.minute), { cutShort: true });
    this.hopper = updateHopperByPortion(this.hopper, portion, this.settings);
    return this;
  }
  wait(minutes: number): this {
    this.minute += minutes;
    return this;
  }
  get level() {
    const level = hopperLevel(this.hopper, this.settings);
    if (level === null) throw new Error("expected a known level");
    return level;
  }
  holds(truth: number): boolean {
    return this.level.low <= truth && truth <= this.level.high;
  }
}
const filled = () => new Story().tell({ kind: "filled" });
const added = (mass: number) => ({ kind: "added" as const, grams: grams(mass) });

describe("a hopper without a scale", () => {
  it("was refilled where food goes on falling long after it should be empty", () => {
    const story = filled().give(370); // 2,960 g from a hopper of 2 kg; somebody refilled it
    expect(story.level.high).toBeGreaterThan(1_000);
    expect(story.hopper.emptySince).toBeNull();
    expect(story.holds(2_000 - 120 * 8)).toBe(true); // if it was filled when it ran out
    // And the portion isn't learnt to be a fraction of what it is.
    expect(story.hopper.estimate.portion).toBeGreaterThan(6);
  });

  it("isn't fuller by the same word said twice", () => {
    const once = filled().give(150).tell(added(1_100));
    const twice = filled().give(150).tell(added(1_100)).wait(25).tell(added(1_100));
    expect(Math.abs(twice.level.grams - once.level.grams)).toBeLessThan(150);
  });

  it("was filled, though less than half of it was told", () => {
    const story = filled().give(200).tell(added(640)); // 1,600 g were poured in
    expect(story.holds(1_850)).toBe(true);
    expect(story.holds(1_040)).toBe(true); // or it was right
  });

  it("is told a day late as if now, and may have been full before", () => {
    const story = filled()
      .give(230)
      .wait(2 * minutesADay)
      .give(1);
    expect(story.level.high).toBeGreaterThan(1_200); // 10 % of it: refilled, and not told yet
  });

  it("learns the portion from what is poured in to the same height again and again", () => {
    const story = filled();
    for (let refill = 0; refill < 4; refill += 1) story.give(120).tell(added(1_200)); // 10 g a portion, not 8
    expect(story.hopper.estimate.portion).toBeGreaterThan(9.2);
    expect(story.hopper.estimate.portion).toBeLessThan(10.8);
  });

  it("is out of food once nothing falls where little was left, and not where much is", () => {
    expect(filled().give(250).give(12, 0).hopper.emptySince).not.toBeNull();
    expect(filled().give(60).give(12, 0).hopper.emptySince).toBeNull();
  });

  it("that is out of food stays so, through a trickle and portions cut short", () => {
    const story = filled().give(250).give(14, 0);
    let changes = 0;
    for (let round = 0; round < 30; round += 1) {
      const before = story.hopper.emptySince;
      if (round % 10 === 9) story.give(1, 1);
      else story.give(2, 0).cutShort();
      if (before !== story.hopper.emptySince) changes += 1;
    }
    expect(changes).toBe(0);
    expect(story.level.high).toBeLessThan(250); // what is said to be left fits the word
  });

  it("isn't out of food while a tenth of what is thought is a refill that nobody told", () => {
    const story = filled().give(240);
    const rings: number[] = [];
    for (let empty = 0; empty < 12; empty += 1) {
      story.give(1, 0);
      if (story.hopper.emptySince !== null) rings.push(story.level.high);
    }
    expect(rings.length).toBeGreaterThan(0);
    expect(Math.max(...rings)).toBeLessThan(300);
  });

  it("that may have been refilled or be empty isn't said to be bridged where nothing falls", () => {
    const level = { grams: grams(20), low: grams(0), high: grams(1_700) }; // one history empty, another refilled
    const { statistics, scale, motor } = initialFeed();
    const causes = causeProbabilities({ statistics, scale, motor }, level, noScale);
    const of = (name: string) => causes.find(({ cause }) => cause === name)?.probability ?? 0;
    expect(of("hopperEmpty")).toBeGreaterThan(10 * of("feedBridged"));
  });

  it("tells its level in tenths of a gram", () => {
    const { level } = filled().give(37);
    for (const value of [level.grams, level.low, level.high]) expect(value).toBe(Math.round(10 * value) / 10);
    expect(filled().level.grams).toBe(2_000);
  });

  it("isn't empty by a run of empty portions that ends", () => {
    const story = filled().give(190).give(3, 0).give(6);
    expect(story.hopper.emptySince).toBeNull();
    expect(story.holds(2_000 - 196 * 8)).toBe(true);
  });

  it("starts from several portion weights where none was entered", () => {
    const assumed = new Story({ ...noScale, assumed: ["portionMass"] }).tell({ kind: "filled" }).give(100);
    expect(assumed.holds(2_000 - 100 * 5)).toBe(true);
    expect(assumed.holds(2_000 - 100 * 18)).toBe(true); // heavier ones would have ended just now, which is the twentieth case
  });
});

describe("a hopper of which nobody has entered the size or the portion", () => {
  const unknown = { ...noScale, assumed: ["portionMass", "hopperCapacity"] as const };

  it("is not taken for smaller than what its keeper has seen in it, though each day a run of portions was empty", () => {
    const story = new Story(unknown).tell({ kind: "filled" });
    for (let day = 0; day < 25; day += 1) {
      story.give(40).give(8, 0).wait(600);
      story.tell(day % 2 === 1 ? { kind: "level", grams: grams(2_600) } : { kind: "filled" });
    }
    expect(story.holds(2_600)).toBe(true);
    expect(Math.min(...story.hopper.hypotheses.map(({ brim }) => brim))).toBeGreaterThan(2_000); // 515 where "filled" spoke for small ones
  });

  it("is not taken for ten times as large after a slip of the pen", () => {
    const story = new Story(unknown).tell({ kind: "filled" });
    for (let day = 0; day < 6; day += 1) story.give(100).tell({ kind: "level", grams: grams(1_900) });
    story.give(100).tell({ kind: "level", grams: grams(19_000) });
    story.give(100).tell({ kind: "level", grams: grams(1_900) });
    expect(story.level.grams).toBeLessThan(2_500);
    expect(story.holds(1_900)).toBe(true);
  });
});

describe("a scale that rises", () => {
  const scale = rowanSettings();
  /** Read each five minutes for an hour. */
  const read = (hopper: HopperState, mass: number, fromMinute: number, air: number, minutes = 60): HopperState => {
    const temperatures = { air: celsius(air), lid: null, inside: null };
    let next = hopper;
    for (let minute = fromMinute; minute <= fromMinute + minutes; minute += 5)
      next = updateHopperByWeighing(next, grams(mass), minuteAfter(dawn, minute), scale, temperatures).hopper;
    return next;
  };
  const levelOf = (hopper: HopperState) => hopperLevel(hopper, scale);
  const begun = (air: number) => read(initialHopper(scale, dawn), 1_000, 0, air);

  it("by day in the cold carries snow, or an untold refill that the interval still holds where food was low", () => {
    const low = read(initialHopper(scale, dawn), 300, 0, -5);
    const risen = read(low, 1_300, 65, -5);
    expect(levelOf(risen)?.grams).toBeLessThan(400);
    expect(levelOf(risen)?.high).toBeGreaterThan(1_250);
    expect(levelOf(read(risen, 300, 130, 4))?.high).toBeLessThan(450); // it slid off
  });

  it("by night, or above the brim, carries snow", () => {
    const night = read(read(begun(-5), 1_000, 65, -5, 15 * 60), 1_600, 16 * 60, -5); // 23:00 in the yard
    expect(levelOf(night)?.grams).toBeLessThan(1_050);
    expect(levelOf(night)?.high).toBeLessThan(1_200);
    const heaped = read(begun(-5), 3_200, 65, -5);
    expect(levelOf(heaped)?.grams).toBeLessThan(1_050);
    expect(levelOf(heaped)?.high).toBeLessThan(1_200);
  });

  it("in the cold was refilled once the keeper says so, also a day late", () => {
    const risen = read(begun(-5), 1_800, 65, -5);
    const told = updateHopperByRefill(risen, { at: minuteAfter(dawn, 130), what: added(800) }, scale);
    expect(levelOf(told)?.grams).toBeLessThan(1_100); // another rise may follow, which it is said of
    expect(levelOf(read(told, 1_800, 135, -5))?.grams).toBeGreaterThan(1_700);
  });

  it("in the cold and before the refill that is told carries the snow still", () => {
    const snowed = read(begun(-5), 1_400, 65, -5);
    const told = updateHopperByRefill(snowed, { at: minuteAfter(dawn, 129), what: added(800) }, scale);
    const level = levelOf(read(told, 2_200, 130, -5));
    expect(Math.abs((level?.grams ?? 0) - 1_800)).toBeLessThan(60);
  });

  it("by more than was told, after hours without a reading in the cold, carries snow as well", () => {
    const snowed = (gapMinutes: number) => {
      const told = updateHopperByRefill(begun(-5), { at: minuteAfter(dawn, 70), what: added(300) }, scale);
      return levelOf(read(told, 1_600, 70 + gapMinutes, -5))?.grams ?? 0;
    };
    expect(snowed(5)).toBeGreaterThan(1_550); // the word was wrong
    expect(snowed(12 * 60)).toBeLessThan(1_400);
  });

  it("and doesn't sink in a long thaw was refilled", () => {
    const risen = read(begun(-5), 1_500, 65, -5);
    const thawed = read(risen, 1_500, 130, 8, 3 * minutesADay);
    expect(Math.abs((levelOf(thawed)?.grams ?? 0) - 1_500)).toBeLessThan(60);
  });

  it("loses its snow when the lid is opened for a refill, by what the keeper says", () => {
    const snowed = read(read(begun(-5), 1_000, 65, -5, 15 * 60), 1_600, 16 * 60, -5, 9 * 60); // 600 g of snow by night
    const told = updateHopperByRefill(snowed, { at: minuteAfter(dawn, 25 * 60 + 4), what: { kind: "filled" } }, scale);
    const after = read(told, 1_900, 25 * 60 + 5, -5);
    expect(Math.abs((levelOf(after)?.grams ?? 0) - 1_900)).toBeLessThan(60);
  });
});

describe("a refill told of a feeder whose scale is read", () => {
  const feeder = rowanSettings({});
  const at = (minute: number) => minuteAfter(dawn, minute);
  const weighed = (until: number, mass: number, from = initialHopper(feeder, dawn), begin = 0) => {
    let hopper = from;
    for (let minute = begin; minute <= until; minute += 1) {
      hopper = updateHopperByWeighing(hopper, grams(mass), at(minute), feeder).hopper;
    }
    return hopper;
  };
  const told = updateHopperByRefill(
    weighed(60, 900),
    { at: at(61), what: { kind: "added", grams: grams(500) } },
    feeder,
  );

  it("counts by itself only once the scale hasn't been read for a while", () => {
    expect(hopperLevel(told, feeder)?.grams).toBeCloseTo(900, -1);
    expect(believeUnweighedWord(told, at(75), feeder)).toBe(told);
    const believed = believeUnweighedWord(told, at(76), feeder);
    expect(Math.abs((hopperLevel(believed, feeder)?.grams ?? 0) - 1_400)).toBeLessThan(30);
    expect(believeUnweighedWord(believed, at(300), feeder)).toBe(believed);
  });

  it("counts for nothing where the scale shows that nothing was added", () => {
    const read = weighed(100, 900, told, 62);
    expect(believeUnweighedWord(read, at(300), feeder)).toBe(read);
    expect(hopperLevel(read, feeder)?.grams).toBeCloseTo(900, -1);
  });
});
