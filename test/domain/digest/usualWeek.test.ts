import { describe, expect, it } from "vitest";
import { compareCount, medianOf, probabilityOfAtMost, usualWeekOf } from "../../../server/domain/digest/usualWeek.ts";
import { poisson } from "../../../server/practice/model/birdDay.ts";
import { seededRandom } from "../../../server/practice/random.ts";

const level = 0.05;
const said = (yesterday: number, week: readonly number[]) => {
  const usual = usualWeekOf(week);
  return usual === null ? null : compareCount(usual, yesterday, level);
};

describe("a day's count beside the usual week", () => {
  it("is foreseen by the negative binomial law", () => {
    // With size 10 and p = 1/2, P(Y <= 2) is the binomial tail of check value poisson-two-rates: half of 0.0385742.
    expect(2 * probabilityOfAtMost(2, { mean: 10, variance: 20 })).toBeCloseTo(0.0385742, 7);
  });

  it("stays a chance where the counts are too large for a plain exponential", () => {
    const law = { mean: 5_000, variance: 5_100 };
    expect(probabilityOfAtMost(4_000, law)).toBeLessThan(1e-9);
    expect(probabilityOfAtMost(5_000, law)).toBeGreaterThan(0.45);
    expect(probabilityOfAtMost(5_000, law)).toBeLessThan(0.55);
    expect(probabilityOfAtMost(9_000, law)).toBeCloseTo(1, 9);
  });

  it("is told by the median, so that one storm doesn't change what is usual", () => {
    expect(medianOf([40, 41, 39, 400, 40, 38, 42])).toBe(40);
    expect(medianOf([1, 2, 3, 4])).toBe(2.5);
  });

  it("is called fewer or more only where it is plainly so", () => {
    const week = [38, 44, 40, 35, 47, 41, 39];
    expect(said(41, week)).toBe("usual");
    expect(said(27, week)).toBe("usual"); // beyond Poisson's 95 %, and still a day like others
    expect(said(8, week)).toBe("fewer");
    expect(said(0, week)).toBe("fewer");
    expect(said(110, week)).toBe("more");
  });

  it("is compared with nothing where the week was too short", () => {
    expect(said(0, [40, 40, 40])).toBeNull();
  });

  it("calls the first bird after a week without one no news, and a flock that comes then is", () => {
    const nobody = [0, 0, 0, 0, 0, 0, 0];
    expect(said(0, nobody)).toBe("usual");
    expect(said(1, nobody)).toBe("usual");
    expect(said(12, nobody)).toBe("more");
  });

  it("is not called fewer while it is above the middle of the week, however wild the week", () => {
    expect(said(6, [0, 0, 5, 0, 0, 900, 0])).not.toBe("fewer");
  });

  it("cries by chance on fewer than one day in twenty, and hardly more often where days are as moody as birds' days are", () => {
    const chance = seededRandom(7);
    for (const mean of [2, 12, 40, 120]) {
      for (const scatter of [0, 0.33]) {
        let cries = 0;
        const days = 1_500;
        for (let trial = 0; trial < days; trial++) {
          const draw = () => {
            const mood = chance.normal(-0.5 * scatter * scatter, scatter);
            return poisson(mean * Math.exp(mood), chance);
          };
          const week = Array.from({ length: 7 }, draw);
          if (said(draw(), week) !== "usual") cries += 1;
        }
        expect(cries).toBeGreaterThan(scatter === 0 ? -1 : 0); // it can cry
        expect(cries / days, `mean ${mean}, scatter ${scatter}`).toBeLessThan(scatter === 0 ? 0.05 : 0.06);
      }
    }
  });
});
