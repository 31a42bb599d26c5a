import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { constantProbabilityGaps, freeGaps, ratioList } from "../../../server/domain/feedingPlan/variableSchedule.ts";
import { minutes, type Span, seconds } from "../../../server/domain/instant.ts";

const sum = (numbers: readonly number[]) => numbers.reduce((all, one) => all + one, 0);
const sorted = (numbers: readonly number[]) => [...numbers].sort((a, b) => a - b);
const first = <Item>(count: number, from: Generator<Item>): Item[] =>
  Array.from({ length: count }, () => from.next().value as Item);

describe("the gaps of a constant-probability schedule", () => {
  // The equation of Fleshler and Hoffman 1962 (JEAB 5:529-530), computed with NumPy 2.4.6, in seconds.
  it.each([
    [5, 30, [3.223, 10.803, 20.997, 36.694, 78.283]],
    [10, 60, [3.105, 9.786, 17.305, 25.906, 35.953, 48.034, 63.195, 83.583, 114.977, 198.155]],
    [12, 60, [2.572, 8.035, 14.045, 20.725, 28.245, 36.846, 46.892, 58.974, 74.134, 94.522, 125.917, 209.094]],
  ])("are the published ones for %i gaps of a mean of %i s", (count, mean, expected) => {
    const gaps = constantProbabilityGaps(count, seconds(mean)).map((gap) => gap / 1_000);
    expect(gaps).toHaveLength(expected.length);
    for (const [index, gap] of gaps.entries()) expect(gap).toBeCloseTo(expected[index] ?? Number.NaN, 3);
  });

  it("have exactly the mean, whatever their count", () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 200 }), fc.integer({ min: 1, max: 86_400 }), (count, mean) => {
        const gaps = constantProbabilityGaps(count, seconds(mean));
        expect(sum(gaps) / count / seconds(mean)).toBeCloseTo(1, 9);
        expect(gaps.every((gap, index) => gap > (gaps[index - 1] ?? 0))).toBe(true);
      }),
    );
  });

  it.each([0, -1, 1.5, Number.NaN])("refuse a count of %d", (count) => {
    expect(() => constantProbabilityGaps(count, minutes(50))).toThrow(/count of gaps/);
  });
});

describe("the gaps between free food", () => {
  const variable = { kind: "variableTime", mean: minutes(50) } as const;

  it("take each gap once a pass, in another order each time and each day", () => {
    const list = constantProbabilityGaps(12, minutes(50));
    const gaps = first(36, freeGaps(variable, 7, 20_000));
    const passes = [gaps.slice(0, 12), gaps.slice(12, 24), gaps.slice(24)];
    for (const pass of passes) expect(sorted(pass)).toEqual(list);
    expect(passes[0]).not.toEqual(passes[1]);
    expect(first(12, freeGaps(variable, 7, 20_001))).not.toEqual(passes[0]);
    expect(first(12, freeGaps(variable, 8, 20_000))).not.toEqual(passes[0]);
    expect(first(36, freeGaps(variable, 7, 20_000))).toEqual(gaps); // as the server and the feeder must agree on
  });

  it("begin a day with any of them alike: a first gap that is mostly short would be a sign", () => {
    const firsts = Array.from({ length: 6_000 }, (_, day) => freeGaps(variable, 3, day).next().value as Span);
    const list = constantProbabilityGaps(12, minutes(50));
    for (const gap of list) {
      // 500 expected of each; 4.5 standard deviations of a binomial draw: 4.5 sqrt(6000/12 * 11/12) = 96
      expect(Math.abs(firsts.filter((one) => one === gap).length - 500)).toBeLessThan(96);
    }
  });

  it("with jitter lie evenly around the mean", () => {
    const gaps = first(4_000, freeGaps({ kind: "jitter", mean: minutes(50), by: minutes(15) }, 5, 1));
    expect(Math.min(...gaps)).toBeGreaterThanOrEqual(minutes(35));
    expect(Math.max(...gaps)).toBeLessThanOrEqual(minutes(65));
    // A uniform variable has a variance of width^2 / 12, so the mean of 4,000 is within 4 * 8.66/63 min of its own.
    expect(Math.abs(sum(gaps) / gaps.length - minutes(50))).toBeLessThan(minutes(0.55));
    const late = gaps.filter((gap) => gap > minutes(57.5)).length;
    expect(late / gaps.length).toBeCloseTo(0.25, 1);
  });
});

describe("how many acts a portion takes", () => {
  it("is always the same of a fixed ratio", () => {
    expect(ratioList({ kind: "fixed", of: 1 }, 1)).toEqual([1]);
    expect(ratioList({ kind: "fixed", of: 4 }, 1)).toEqual([4]);
    expect(ratioList({ kind: "variable", of: 1 }, 1)).toEqual([1]);
  });

  it("is at least one of a variable ratio, on average exactly what was asked for, and in another order by seed", () => {
    for (const of of [2, 3, 5, 10]) {
      const list = ratioList({ kind: "variable", of }, 11);
      expect(sum(list)).toBe(of * list.length);
      expect(Math.min(...list)).toBeGreaterThanOrEqual(1);
      expect(new Set(list).size).toBeGreaterThan(2);
      expect(ratioList({ kind: "variable", of }, 12)).not.toEqual(list);
      expect(sorted(ratioList({ kind: "variable", of }, 12))).toEqual(sorted(list));
    }
  });
});
