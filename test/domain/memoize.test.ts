import { describe, expect, it } from "vitest";
import { memoize } from "../../server/domain/memoize.ts";
import { memoizeLatest } from "../../server/domain/memoizeLatest.ts";

describe("a function that remembers", () => {
  it("computes once for the same key, and separately for each key", () => {
    const reckoned: number[] = [];
    const squared = memoize(
      8,
      (value: number) => String(value),
      (value) => {
        reckoned.push(value);
        return value * value;
      },
    );
    expect([squared(3), squared(4), squared(3)]).toEqual([9, 16, 9]);
    expect(reckoned).toEqual([3, 4]);
  });

  it("never keeps more than it may, and answers the same afterwards", () => {
    let reckoned = 0;
    const same = memoize(
      2,
      (value: number) => String(value),
      (value) => {
        reckoned += 1;
        return value;
      },
    );
    expect([1, 2, 3, 1, 2, 3].map((value) => same(value))).toEqual([1, 2, 3, 1, 2, 3]);
    expect(reckoned).toBe(6); // each third one empties a memory of two
  });
});

describe("an answer remembered once", () => {
  it("is computed again as soon as one argument differs", () => {
    let reckoned = 0;
    const sum = memoizeLatest((a: number, b: number) => {
      reckoned += 1;
      return a + b;
    });
    expect([sum(1, 2), sum(1, 2), sum(2, 2), sum(1, 2), sum(1, 3)]).toEqual([3, 3, 4, 3, 4]);
    expect(reckoned).toBe(4);
  });
});
