import { describe, expect, it } from "vitest";
import { after, hours, instantOf } from "../../server/domain/instant.ts";
import { isWithin, lengthOfSpans, withoutSpans } from "../../server/domain/timeSpans.ts";

const midnight = instantOf("2026-12-03T00:00:00Z");
const at = (hour: number) => after(midnight, hours(hour));
const span = (from: number, to: number) => ({ from: at(from), to: at(to) });
const day = span(0, 24);

describe("a span without others", () => {
  const without = (...others: (readonly [number, number])[]) =>
    withoutSpans(
      day,
      others.map(([from, to]) => span(from, to)),
    );

  it("is cut where they were", () => {
    expect(without()).toEqual([day]);
    expect(without([6, 8])).toEqual([span(0, 6), span(8, 24)]);
    expect(without([6, 8], [7, 10], [-5, 1], [23, 30])).toEqual([span(1, 6), span(10, 23)]);
    expect(without([24, 30], [-3, 0])).toEqual([day]);
  });

  it("is nothing where one lasts all day", () => {
    expect(without([-2, 26])).toEqual([]);
  });

  it("has a length, and holds its begin but not its end", () => {
    expect(lengthOfSpans(without([6, 8]))).toBe(hours(22));
    expect([isWithin(day, at(0)), isWithin(day, at(24))]).toEqual([true, false]);
  });
});
