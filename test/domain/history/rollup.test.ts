import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { emptyRollup, isCounted, mergeRollups } from "../../../server/domain/history/rollup.ts";
import { decodeRollup, encodeRollup } from "../../../server/domain/history/rollupText.ts";
import { instant } from "../../../server/domain/instant.ts";
import { rollup } from "./rollupFixture.ts";

describe("merging roll-ups", () => {
  it("gives the same in any order", () => {
    fc.assert(
      fc.property(rollup, rollup, (a, b) => {
        expect(mergeRollups(a, b)).toStrictEqual(mergeRollups(b, a));
      }),
    );
  });

  it("gives the same in any grouping", () => {
    fc.assert(
      fc.property(rollup, rollup, rollup, (a, b, c) => {
        expect(mergeRollups(mergeRollups(a, b), c)).toStrictEqual(mergeRollups(a, mergeRollups(b, c)));
      }),
    );
  });

  it("changes nothing where one is empty", () => {
    fc.assert(
      fc.property(rollup, (a) => {
        expect(mergeRollups(a, emptyRollup)).toStrictEqual(a);
      }),
    );
  });

  it("keeps the last level, and the least and the most of all", () => {
    const early = { at: instant(1_000), last: 50, low: 40, high: 60, least: 45, most: 90 };
    const late = { at: instant(2_000), last: 30, low: 20, high: 40, least: 30, most: 35 };
    const merged = mergeRollups({ ...emptyRollup, level: late }, { ...emptyRollup, level: early });
    expect(merged.level).toEqual({ at: 2_000, last: 30, low: 20, high: 40, least: 30, most: 90 });
  });

  it("knows no grams where they are unknown of a part", () => {
    const known = { ...emptyRollup, decigramsGiven: 80 };
    expect(mergeRollups(known, { ...emptyRollup, decigramsGiven: null }).decigramsGiven).toBeNull();
    expect(mergeRollups(known, known).decigramsGiven).toBe(160);
  });
});

describe("a roll-up as text", () => {
  it("is read back the same", () => {
    fc.assert(
      fc.property(rollup, (a) => {
        expect(decodeRollup(encodeRollup(a))).toStrictEqual(a);
      }),
      { numRuns: 500 },
    );
  });

  it("is empty for an empty roll-up", () => {
    expect(encodeRollup(emptyRollup)).toBe("");
    expect(decodeRollup("")).toStrictEqual(emptyRollup);
  });

  it("leaves out a kind of fault that this version doesn't know", () => {
    const text = encodeRollup({ ...emptyRollup, standingAlarms: ["foodLow", "trayJammed"] });
    expect(decodeRollup(text.replace("foodLow", "foodHeld")).standingAlarms).toEqual(["trayJammed"]);
  });

  it.each(["!", "1,2,x y", "1;1;1,2", "1;;;1,2", "1,2,3,4,5,6,7,8,9,1,2,3,4,5", ";;;;;;;;;", "01", "zzzzzzzzzzzzzzzz"])(
    "is refused where it is damaged: %s",
    (text) => {
      expect(() => decodeRollup(text)).toThrow(RangeError);
    },
  );
});

describe("whether a span is counted", () => {
  it("needs a report, time that reports stand for, or an event that was reported later", () => {
    const counted = (counts: Partial<typeof emptyRollup.counts>) =>
      isCounted({ ...emptyRollup, counts: { ...emptyRollup.counts, ...counts } });
    expect(counted({})).toBe(false);
    expect(counted({ alarmsRaised: 1 })).toBe(false);
    expect(counted({ reports: 1 })).toBe(true);
    expect(counted({ reportedTime: 60_000 })).toBe(true);
    expect(counted({ keeperPortions: 1 })).toBe(true);
  });
});
