import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  feedFaults,
  updateFeedByDeposit,
  updateFeedByPortion,
  updateFeedByPress,
  updateFeedByReport,
} from "../../../server/domain/feed/feed.ts";
import { type FeedState, initialFeed } from "../../../server/domain/feed/feedState.ts";
import { after, hours, type Instant, seconds } from "../../../server/domain/instant.ts";
import type { Deposit, Portion } from "../../../server/domain/report.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { dawn, portionAt, rowanSettings } from "../hopper/rowan.ts";

const settings = rowanSettings();
const at = (second: number): Instant => after(dawn, seconds(second));

type DepositFields = Partial<Omit<Deposit, "earns">> & { readonly earns?: boolean | undefined };

/** A history in seconds since dawn; each report arrives at once and holds what was recorded before it. */
class Story {
  feed: FeedState = initialFeed();
  second = 0;

  /** Promised by the feeder itself, so that a single one counts; `{ earns: undefined }`: without its word. */
  deposit(second: number, seq: number, more: DepositFields = {}, paused = false): this {
    const { earns, ...fields } = { earns: true, ...more };
    const deposit = {
      kind: "deposit",
      metal: true,
      signal: 0.8,
      chute: true,
      seq,
      recordedAt: at(second),
      ...fields,
      ...(earns === undefined ? {} : { earns }),
    } as const;
    this.feed = updateFeedByDeposit(this.feed, deposit, at(Math.max(second, this.second)), paused);
    return this;
  }
  press(second: number, seq: number, more: { readonly earns?: boolean } = {}): this {
    const press = { seq, recordedAt: at(second), ...more };
    this.feed = updateFeedByPress(this.feed, press, at(Math.max(second, this.second)));
    return this;
  }
  portion(second: number, more: Partial<Portion> = {}): this {
    this.feed = updateFeedByPortion(this.feed, portionAt(at(second), { cause: "deposit", ...more }), null, settings);
    return this;
  }
  report(second: number, { spooled = 0 as number | null, paused = false } = {}): this {
    this.second = second;
    this.feed = updateFeedByReport(this.feed, at(second), spooled, paused, at(second));
    return this;
  }
  faults(paused = false, second = this.second) {
    return feedFaults(this.feed, null, settings, at(second), paused).filter(({ kind }) =>
      ["depositUnpaid", "paymentUnclear"].includes(kind),
    );
  }
  get quiet() {
    return this.faults().length === 0;
  }
}

describe("a deposit", () => {
  it("that no portion follows is unpaid, with which and when", () => {
    const story = new Story().deposit(10, 412).report(15).report(75);
    const [fault] = story.faults();
    expect(fault?.reason).toBe("A deposit got no portion.");
    expect(fault?.evidence).toEqual([{ label: "deposit 412", value: "no portion", at: at(10) }]);
  });

  it("that is answered by a portion which nobody saw fall is no broken promise yet: chute sensors miss some", () => {
    const story = new Story().deposit(10, 412).portion(11, { paysFor: 412, chuteCount: 0 }).report(15).report(75);
    expect(story.quiet).toBe(true);
    // Nor does it lengthen the count of those that got no portion at all.
    const other = story.deposit(100, 413).report(105).report(165);
    expect(other.faults()[0]?.reason).toBe("A deposit got no portion.");
  });

  it("is listed as unpaid beside its cause, once the feed's tests have found that nothing falls", () => {
    const story = new Story();
    for (let n = 1; n <= 10; n += 1) {
      story
        .deposit(n * 100, n)
        .portion(n * 100 + 1, { paysFor: n, chuteCount: 0 })
        .report(n * 100 + 50);
    }
    expect(story.faults()[0]?.reason).toMatch(/the motor ran, but no food was seen to fall\. \d+ in a row\.$/);
    expect(story.feed.diagnosis).not.toBeNull();
  });

  it("is paid by a second try that drops something", () => {
    const story = new Story()
      .deposit(10, 412)
      .portion(11, { paysFor: 412, chuteCount: 0 })
      .portion(15, { paysFor: 412 });
    expect(story.report(20).report(80).quiet).toBe(true);
  });

  it("is paid by a portion that names it, or within ten seconds by one that names nothing", () => {
    expect(new Story().deposit(10, 412).portion(40, { paysFor: 412 }).report(75).report(135).quiet).toBe(true);
    expect(new Story().deposit(10, 412).portion(19).report(75).report(135).quiet).toBe(true);
    const late = new Story().deposit(10, 412, { earns: undefined }).portion(25).report(75).report(135);
    expect(late.feed.payments.depositsUnanswered).toBe(1);
  });

  it("is paid within two minutes by one that names nothing where the feeder promised it, and isn't called unpaid before", () => {
    const knowsUnnamed = () => new Story().deposit(10, 1).portion(12).report(75);
    const promised = (story: Story) => story.deposit(200, 2, { earns: true }).report(260);
    expect(promised(knowsUnnamed()).quiet).toBe(true);
    expect(promised(knowsUnnamed()).portion(300).report(380).report(500).quiet).toBe(true);
    expect(promised(knowsUnnamed()).portion(340).report(380).report(500).quiet).toBe(false);
    const names = new Story().deposit(10, 1).portion(12, { paysFor: 1 }).report(75);
    expect(promised(names).quiet).toBe(false);
  });

  it("leaves the next one its own portion where its own was empty", () => {
    const empty = new Story().deposit(10, 1).portion(11, { chuteCount: 0 });
    const both = empty.deposit(19, 2).portion(19.5).report(75).report(240);
    expect(both.feed.payments.unpaid.map(({ seq }) => seq)).toEqual([1]);
    expect(both.quiet).toBe(true); // an empty portion is the feed's matter
  });

  it("isn't paid by free food, nor by a portion for another one", () => {
    expect(new Story().deposit(10, 412).portion(12, { cause: "timer" }).report(75).report(135).quiet).toBe(false);
    expect(new Story().deposit(10, 412).portion(12, { paysFor: 9 }).report(75).report(135).quiet).toBe(false);
  });

  it("that the detector doesn't call metal isn't owed; one it can't judge is", () => {
    expect(new Story().deposit(10, 1, { metal: false }).report(75).report(135).quiet).toBe(true);
    expect(new Story().deposit(10, 1, { metal: null }).report(75).report(135).quiet).toBe(false);
  });

  it("seen twice by the detector within two seconds is one deposit", () => {
    const story = new Story().deposit(10, 1).deposit(11, 2).portion(12, { paysFor: 2 }).report(75).report(135);
    expect(story.quiet).toBe(true);
  });

  it("isn't judged before the next report has had its time", () => {
    const story = new Story().deposit(10, 412).report(11);
    expect(story.quiet).toBe(true);
    expect(story.portion(12, { paysFor: 412 }).report(71).quiet).toBe(true);
  });

  it("isn't judged by the report that tells of it late, since its portion may stand in the next", () => {
    const story = new Story().report(100).deposit(10, 412).report(101);
    expect(story.quiet).toBe(true);
    expect(story.portion(12, { paysFor: 412 }).report(102).report(200).quiet).toBe(true);
  });

  it("isn't judged by a feeder that fell silent or still has something to tell", () => {
    const story = new Story().deposit(10, 412).report(15);
    expect(story.faults(false, 3_600)).toEqual([]);
    expect(story.report(75, { spooled: 12 }).quiet).toBe(true);
    expect(story.portion(12, { paysFor: 412 }).report(135).quiet).toBe(true);
  });

  it("reported before its portion, or after it, is paid alike", () => {
    const story = new Story().portion(12, { paysFor: 412 }).report(15).deposit(10, 412).report(75).report(135);
    expect(story.quiet).toBe(true);
  });

  it("from a backlog is history and wakes nobody", () => {
    const story = new Story().report(7_200).deposit(10, 412).report(7_201).report(7_300);
    expect(story.quiet).toBe(true);
  });

  it("isn't owed while the feeder is paused, and not afterwards either", () => {
    const story = new Story().deposit(10, 412, {}, true).report(75, { paused: true }).report(135).report(200);
    expect(story.quiet).toBe(true);
    const untold = new Story().deposit(10, 412).report(75, { paused: true }).report(135).report(200);
    expect(untold.quiet).toBe(true);
    const before = new Story().deposit(10, 412).report(15).report(75);
    expect(before.faults(true)).toEqual([]);
    expect(before.quiet).toBe(false);
  });

  it("of an earlier boot isn't paid by the same seq of a later one", () => {
    const story = new Story().deposit(10, 5).report(15).report(75);
    expect(story.portion(4_000, { paysFor: 5 }).report(4_010).quiet).toBe(false);
  });
});

describe("the alarm about an unpaid deposit", () => {
  it("ends when a later deposit is paid, or when it turns out that it was paid after all", () => {
    const unpaid = () => new Story().deposit(10, 1).report(15).report(75);
    expect(unpaid().deposit(300, 2).portion(301, { paysFor: 2 }).report(310).quiet).toBe(true);
    expect(unpaid().portion(12, { paysFor: 1 }).quiet).toBe(true);
  });

  it("ends by itself after a day", () => {
    const story = new Story().deposit(10, 1).report(15).report(75);
    expect(story.faults(false, 23 * 3_600)).toHaveLength(1);
    expect(story.faults(false, 25 * 3_600)).toEqual([]);
  });

  it("counts how many in a row, and remembers no more than a few", () => {
    const story = new Story();
    for (let n = 0; n < 100; n += 1)
      story
        .deposit(n * 100, n + 1)
        .report(n * 100 + 10)
        .report(n * 100 + 60);
    const [fault] = story.faults();
    expect(fault?.reason).toContain("100 in a row.");
    expect(fault?.evidence.length).toBeLessThanOrEqual(4);
    expect(JSON.stringify(story.feed.payments).length).toBeLessThan(2_000);
  });
});

describe("a press", () => {
  const answered = (count: number) => {
    const story = new Story();
    for (let n = 0; n < count; n += 1) {
      const second = n * 100;
      story
        .press(second, 2 * n + 1)
        .portion(second + 2, { cause: "press", paysFor: 2 * n + 1 })
        .report(second + 50);
    }
    return story;
  };

  it("is owed where presses are normally answered", () => {
    const story = answered(20);
    for (let n = 0; n < 5; n += 1)
      story
        .press(5_000 + 100 * n, 99 + n)
        .report(5_010 + 100 * n)
        .report(5_070 + 100 * n);
    expect(story.faults()[0]?.reason).toContain("A press got no portion");
  });

  it("is not owed where they never were", () => {
    const story = new Story();
    for (let n = 0; n < 50; n += 1)
      story
        .press(n * 100, n + 1)
        .report(n * 100 + 10)
        .report(n * 100 + 70);
    expect(story.quiet).toBe(true);
  });

  it("hammered again while the portion falls isn't owed", () => {
    const story = answered(20).press(5_000, 99).portion(5_001, { cause: "press", paysFor: 99 });
    expect(story.press(5_002, 101).press(5_004, 102).report(5_060).report(5_120).quiet).toBe(true);
  });
});

describe("a healthy feeder's payments", () => {
  it("raise no alarm over thousands of deposits, whatever the order of reports", () => {
    const random = seededRandom(9);
    const story = new Story();
    let second = 0;
    let unsent: (() => void)[] = [];
    for (let seq = 1; seq < 8_000; seq += 2) {
      second += 5 + Math.floor(random.uniform() * 400);
      const [made, paid, deposit] = [second, second + 1 + Math.floor(random.uniform() * 6), seq];
      unsent.push(() => story.deposit(made, deposit));
      // Now and then a report leaves between the deposit and its portion.
      if (random.uniform() < 0.3) {
        for (const tell of unsent) tell();
        unsent = [];
        story.report(made + 1);
      }
      const named = random.uniform() < 0.7;
      unsent.push(() => story.portion(paid, { paysFor: named ? deposit : null }));
      second = paid;
      if (random.uniform() < 0.5) {
        for (const tell of unsent) tell();
        unsent = [];
        story.report(paid + 40);
        second = paid + 40;
      }
      expect(story.quiet, `seed 9, deposit ${seq}`).toBe(true);
    }
  });

  it("are remembered as plain JSON of bounded size, whatever is reported (property)", () => {
    const step = fc.record({
      kind: fc.constantFrom("deposit", "press", "portion", "report"),
      seconds: fc.integer({ min: -20, max: 200 }),
      seq: fc.integer({ min: 1, max: 30 }),
      named: fc.boolean(),
      count: fc.nat(2),
    });
    fc.assert(
      fc.property(fc.array(step, { maxLength: 200 }), (steps) => {
        const story = new Story();
        let second = Number(hours(0));
        for (const { kind, seconds, seq, named, count } of steps) {
          second = Math.max(0, second + seconds);
          if (kind === "deposit") story.deposit(second, seq);
          else if (kind === "press") story.press(second, seq);
          else if (kind === "report") story.report(Math.max(second, story.second));
          else story.portion(second, { paysFor: named ? seq : null, chuteCount: count });
          story.faults();
        }
        expect(JSON.parse(JSON.stringify(story.feed))).toEqual(story.feed);
        expect(JSON.stringify(story.feed.payments).length).toBeLessThan(5_000);
      }),
    );
  });
});

describe("a portion that was cut short", () => {
  const cutShort = { cutShort: true, motorRan: null, meanCurrent: null, peakCurrent: null, chuteCount: null } as const;

  it("neither raises an alarm at once nor pays for sure: unpaid, if no other portion follows in time", () => {
    const story = new Story()
      .deposit(10, 412)
      .portion(11, { ...cutShort, paysFor: 412 })
      .report(15);
    expect(story.quiet).toBe(true);
    const [fault] = story.report(75).faults();
    expect(fault?.reason).toBe("A deposit got no portion: the portion was interrupted.");
    expect(fault?.evidence).toEqual([{ label: "deposit 412", value: "portion interrupted", at: at(10) }]);
  });
  it("is forgotten once another portion pays the same deposit", () => {
    const story = new Story().deposit(10, 412).portion(11, { ...cutShort, paysFor: 412 });
    expect(story.portion(40, { paysFor: 412 }).report(75).quiet).toBe(true);
  });
  it("is no evidence about the feed, however many there are", () => {
    const story = new Story();
    for (let second = 0; second < 60; second += 1) story.portion(second * 60, { cause: "timer" });
    const before = story.feed;
    for (let second = 60; second < 120; second += 1) story.portion(second * 60, { ...cutShort, cause: "timer" });
    expect(feedFaults(story.feed, null, settings, at(7_200))).toEqual([]);
    expect({ ...story.feed, payments: null, scale: null }).toEqual({ ...before, payments: null, scale: null });
  });
});

describe("an act of which the feeder says what it earned", () => {
  it("is owed nothing where it earned nothing, however many they are", () => {
    const story = new Story();
    for (let seq = 1; seq <= 20; seq += 1) {
      story.deposit(120 * seq, 2 * seq, { earns: false }).press(120 * seq + 60, 2 * seq + 1, { earns: false });
    }
    expect(story.report(3_000).quiet).toBe(true);
  });

  it("is a promise where it earned a portion, also the first press ever and right after another portion", () => {
    const unpaid = new Story().press(10, 1, { earns: true }).report(15).report(75);
    expect(unpaid.faults()[0]?.reason).toBe("A press got no portion.");
    expect(new Story().press(10, 1).report(15).report(75).quiet).toBe(true); // without a word it may be meant

    const after = new Story().deposit(10, 1).portion(12, { paysFor: 1 });
    after.deposit(20, 3, { earns: true }).report(25).report(90);
    expect(after.faults()[0]?.evidence[0]?.label).toContain("3");
    const withoutWord = new Story().deposit(10, 1).portion(12, { paysFor: 1 }).deposit(20, 3, { earns: undefined });
    expect(withoutWord.report(25).report(90).feed.payments.unpaid).toEqual([]);
  });

  it("is paid by the portion that names it", () => {
    const story = new Story().press(10, 1, { earns: true }).portion(12, { cause: "press", paysFor: 1 });
    expect(story.report(90).quiet).toBe(true);
  });
});
