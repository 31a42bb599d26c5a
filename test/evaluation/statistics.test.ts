import { describe, expect, it } from "vitest";
import { seededRandom } from "../../server/practice/random.ts";
import { ExactCusum, findLimit } from "./optimum.ts";
import {
  exactRunLength,
  poissonAtMost,
  poissonLimits,
  proportionLimits,
  siegmundRunLength,
  twoSidedRunLength,
} from "./statistics.ts";

describe("the run length of a cumulative sum", () => {
  // Check values arl-0.5-4-0 … arl-0.25-8-0 (computed with scipy by Nyström's method; Siegmund 1985).
  it.each([
    [0.5, 4, 0, 335.3676, 338.0932],
    [0.5, 4, 1, 8.3832, 8.3434],
    [0.5, 5, 0, 930.887, 938.2224],
    [0.5, 5, 0.5, 38.0096, 38.0196],
    [0.5, 5, 1, 10.376, 10.3362],
    [0.5, 5, 2, 4.0089, 3.8884],
    [0.25, 8, 0, 736.7877, 737.795],
  ])(
    "is that of Page's equation and of Siegmund's approximation: reference %d, limit %d, shift %d",
    (k, h, shift, exact, siegmund) => {
      expect(exactRunLength(k, h, shift)).toBeCloseTo(exact, 3);
      expect(siegmundRunLength(k, h, shift)).toBeCloseTo(siegmund, 3);
    },
  );

  it("is halved where both sides are watched (check value arl-two-sided; Montgomery's 469.1, from memory)", () => {
    const exact = exactRunLength(0.5, 5, 0);
    expect(twoSidedRunLength(exact, exact)).toBeCloseTo(465.4435, 3);
    const siegmund = siegmundRunLength(0.5, 5, 0);
    expect(twoSidedRunLength(siegmund, siegmund)).toBeCloseTo(469.1112, 3);
    // At a shift of 1 the other side hardly ever alarms: 10.3362 is what the one side needs.
    expect(twoSidedRunLength(siegmundRunLength(0.5, 5, 1), siegmundRunLength(0.5, 5, -1))).toBeCloseTo(10.3362, 3);
  });

  it("shows that ln(run length) / information is no bound for short runs (check value lorden-trap)", () => {
    const bound = Math.log(exactRunLength(0.5, 5, 0)) / 0.5;
    expect(bound).toBeCloseTo(13.6723, 4);
    expect(exactRunLength(0.5, 5, 1)).toBeLessThan(bound);
  });
});

describe("the exact cumulative sum", () => {
  // NIST/SEMATECH e-Handbook 6.3.2.3 (check value nist-cusum, quoted): k and h are in the data's own units.
  const data = [
    324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6, 324.625, 325.15, 328.325,
    327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35,
  ];
  const [target, k, h] = [325, 0.3175, 4.1959];

  it("goes through the handbook's columns", () => {
    const high = new ExactCusum(h);
    const low = new ExactCusum(h);
    const sums = data.map((x) => [high.take(x - target - k), high.sum, low.take(target - k - x), low.sum] as const);
    const expectedHigh = [
      0, 0, 0, 0, 0.0325, 0, 0, 0, 0, 0, 0, 0, 3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035,
    ];
    const expectedLow = [0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.715, 0.1725, 0.255, 0.3125, 0, 0, 0, 0, 0, 0, 0, 0, 0];
    sums.forEach(([, up, , down], index) => {
      expect(up).toBeCloseTo(expectedHigh[index] ?? Number.NaN, 9);
      expect(down).toBeCloseTo(expectedLow[index] ?? Number.NaN, 9);
    });
    expect(sums.flatMap(([alarms], index) => (alarms ? [index + 1] : []))).toEqual([14, 15, 16, 17, 18, 19, 20]);
    expect(sums.some(([, , alarms]) => alarms)).toBe(false);
  });

  it("has the limit that gives the wanted run length: for a normal shift, Page's equation agrees", () => {
    const shift = 1;
    const ratio = (x: number) => shift * x - (shift * shift) / 2;
    const chance = seededRandom(5);
    const wanted = 930.887; // of reference 0.5 and limit 5: here the limit of the log ratio is 5 too
    const limit = findLimit(
      wanted,
      (luck) => ratio(luck.normal(0, 1)),
      (luck) => ratio(luck.normal(shift, 1)),
      chance,
      20_000,
    );
    expect(limit).toBeGreaterThan(4.9);
    expect(limit).toBeLessThan(5.1);
  });

  it("has a higher limit the fewer false alarms are wanted", () => {
    const of = (wanted: number) => {
      const chance = seededRandom(9);
      return findLimit(
        wanted,
        (luck) => luck.normal(-0.5, 1),
        (luck) => luck.normal(0.5, 1),
        chance,
      );
    };
    expect(of(10_000)).toBeGreaterThan(of(1_000) + 1.5);
  });
});

describe("limits of a rate", () => {
  it("are Garwood's (check value poisson-garwood, by chi-square)", () => {
    for (const [count, low, high] of garwood) {
      const limits = poissonLimits(count);
      expect(limits.low).toBeCloseTo(low, 4);
      expect(limits.high).toBeCloseTo(high, 4);
    }
  });

  it("come from the law's own tails (check value poisson-tails)", () => {
    expect(1 - poissonAtMost(9, 4)).toBeCloseTo(0.00813224, 8);
    expect(poissonAtMost(1, 6)).toBeCloseTo(0.01735127, 8);
    expect(poissonLimits(0, 0.9).high).toBeCloseTo(2.99573, 5); // one-sided 95 %: "the rule of three"
  });

  it("leave just their tail on either side", () => {
    // Of thousands exp(-mean) is no number any more; there the normal law is near: count ± 1.96 √count, and a little more above.
    const many = poissonLimits(10_000);
    expect(many.low).toBeCloseTo(9_804.9, 0);
    expect(many.high).toBeCloseTo(10_197.9, 0);
    expect(poissonAtMost(10_000, 10_000)).toBeCloseTo(0.5, 2);
    const { low, high } = poissonLimits(7, 0.9);
    expect(1 - poissonAtMost(6, low)).toBeCloseTo(0.05, 9);
    expect(poissonAtMost(7, high)).toBeCloseTo(0.05, 9);
  });

  it("of a share hold it, and all of 0 to 1 where nothing was seen", () => {
    const { low, high } = proportionLimits(8, 10);
    expect(low).toBeCloseTo(0.4902, 4); // Wilson's interval of 8 in 10, computed by hand
    expect(high).toBeCloseTo(0.9433, 4);
    expect(proportionLimits(0, 0)).toEqual({ low: 0, high: 1 });
  });
});

const garwood: readonly (readonly [number, number, number])[] = [
  [0, 0, 3.68888],
  [5, 1.62349, 11.66833],
];
