import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { emptyRollup, isCounted, mergeRollups } from "../../../server/domain/history/rollup.ts";
import { decodeRollup, encodeRollup } from "../../../server/domain/history/rollupText.ts";
import { instant } from "../../../server/domain/instant.ts";
import { rollup } from "./rollupFixture.ts";
import { simulateYear } from "./simulatedYear.ts";

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

describe("a roll-up as octets", () => {
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

  it("has a quarter of a busy feeder in some 50 octets", () => {
    const lengths = simulateYear(3)
      .slice(0, 2_000)
      .map((quarter) => encodeRollup(quarter.rollup).length);
    expect(lengths.reduce((sum, length) => sum + length, 0) / lengths.length).toBeLessThan(60);
  });

  it.each([
    ["nothing that follows", "\x02"],
    ["a number that goes on", "\x02\x80"],
    ["a number that is longer than it need be", "\x02\x82\x00"],
    ["a count that is zero", "\x02\x00"],
    ["a number that no sum reaches", `\x02${"\xff".repeat(9)}\x01`],
    ["something that no roll-up has", "\x80\x80\x80\x02"],
    ["no octets", "\x02\u0141"],
    ["no names", "\x00;"],
    ["known and unknown grams", "\x80\x80\x03\x02"],
  ])("is refused where it has %s", (_, text) => {
    expect(() => decodeRollup(text)).toThrow(RangeError);
  });
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
