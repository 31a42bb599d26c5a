import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { after, days, hours, instantOf, minutes } from "../../../server/domain/instant.ts";
import {
  addLongGap,
  extendQuarter,
  gapDistribution,
  gapExceededPerYear,
  initialLongGaps,
  logGapsPerYear,
} from "../../../server/domain/silence/longGaps.ts";
import { seededRandom } from "../../../server/practice/random.ts";

const start = instantOf("2026-01-15T00:00:00Z");
const minute = minutes(1);

/** So many exponential gaps a day over a minute and a half, for so many days. */
function exponential(aDay: number, mean: number, length: number, seed = 1) {
  const random = seededRandom(seed);
  let gaps = initialLongGaps(start);
  let day = 0;
  for (day = random.exponential(1 / aDay); day < length; day += random.exponential(1 / aDay)) {
    gaps = addLongGap(gaps, 1.5 * minute + random.exponential(mean), after(start, days(day)));
  }
  return { gaps, law: gapDistribution(gaps, minute, 1.5 * minute, after(start, days(length))) };
}

describe("the longest gaps", () => {
  it("tell how long a gap is exceeded once a year, though most were forgotten (against the exponential law they came from)", () => {
    const truth = 1.5 * minute + 2 * minute * Math.log(5 * 365);
    let sum = 0;
    for (let seed = 1; seed <= 20; seed++)
      sum += gapExceededPerYear(exponential(5, 2 * minute, 150, seed).law, 1) / truth;
    expect(sum / 20).toBeGreaterThan(0.95);
    expect(sum / 20).toBeLessThan(1.25); // the presumed shape is a little heavier
  });

  it("answer the same question both ways", () => {
    const { law } = exponential(5, 2 * minute, 150);
    fc.assert(
      fc.property(fc.double({ min: 0.01, max: 20, noNaN: true }), (aYear) => {
        expect(Math.exp(logGapsPerYear(law, gapExceededPerYear(law, aYear)))).toBeCloseTo(aYear, 6);
      }),
    );
  });

  it("are sixteen at most, and forgotten after half a year", () => {
    const { gaps } = exponential(20, minute, 170);
    expect([gaps.thisQuarter.length, gaps.lastQuarter?.length]).toEqual([8, 8]);
    const later = addLongGap(gaps, 3 * minute, after(start, days(400)));
    expect(later.thisQuarter).toEqual([3 * minute]);
    expect(later.lastQuarter).toEqual([]);
  });

  it("show the shape of their law only from the third one on", () => {
    const shapeOf = (...waits: readonly number[]) => {
      const add = (gaps: ReturnType<typeof initialLongGaps>, wait: number, n: number) =>
        addLongGap(gaps, wait * minute, after(start, days(n)));
      const gaps = waits.reduce(add, initialLongGaps(start));
      return gapDistribution(gaps, minute, 1.5 * minute, after(start, days(10))).shape;
    };
    expect(shapeOf(2, 90)).toBe(shapeOf(2, 3));
    expect(shapeOf(2, 3, 90)).toBeGreaterThan(shapeOf(2, 3, 4));
  });

  it("don't grow rarer by a time in which nothing could be seen of them", () => {
    const { gaps, law } = exponential(5, minute, 60);
    const blind = gapDistribution(extendQuarter(gaps, days(20)), minute, 1.5 * minute, after(start, days(80)));
    expect(blind).toEqual(law);
  });

  it("reckon from a presumption where there were none, and from it less and less", () => {
    const waits = [1, 10, 60].map((day) =>
      gapExceededPerYear(gapDistribution(initialLongGaps(start), minute, 1.5 * minute, after(start, days(day))), 1),
    );
    expect(waits[0]).toBeLessThan(12 * minute);
    expect(waits[0]).toBeGreaterThan(waits[1] ?? Number.NaN);
    expect(waits[1]).toBeGreaterThan(waits[2] ?? Number.NaN);
    const young = gapDistribution(initialLongGaps(start), minute, 1.5 * minute, after(start, hours(1)));
    expect(gapExceededPerYear(young, 1)).toBe(waits[0]); // nobody's year is known from an hour
  });
});
