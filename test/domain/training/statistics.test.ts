import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { shareLimits } from "../../../server/domain/intervals.ts";
import { hashedRandom } from "../../../server/domain/seededRandom.ts";
import {
  betaBelow,
  betaLimits,
  betaQuantile,
  logGamma,
  studentTail,
} from "../../../server/domain/training/betaDistribution.ts";
import { effectiveTrials, newcombeLimits, shareDifference } from "../../../server/domain/training/changeEffect.ts";
import {
  changeBayesFactor,
  changePoints,
  farthestFromLine,
  logitOf,
} from "../../../server/domain/training/changePoint.ts";
import { deltaP } from "../../../server/domain/training/contingency.ts";
import {
  criterionError,
  decisiveEvidence,
  evidenceAbove,
  evidenceBelow,
  logBet,
} from "../../../server/domain/training/criterionTest.ts";
import { delayedWorth, discountedValue } from "../../../server/domain/training/delayDiscounting.ts";
import { fieldMetabolicRate, foodEnergy, rationFor } from "../../../server/domain/training/ration.ts";
import { fitRegression, predictLinear } from "../../../server/domain/training/regression.ts";

describe("contingency", () => {
  it.each([
    ["dp-pos", 30, 10, 5, 55, 0.6667],
    ["dp-zero", 12, 8, 12, 8, 0],
    ["dp-neg", 2, 8, 18, 2, -0.7],
  ])("is the difference of two shares (Allan 1980; check value %s)", (_, a, b, c, d, expected) => {
    expect(deltaP(a, b, c, d)).toBeCloseTo(expected, 4);
  });

  it("is unknown where one of the rows is empty (check value dp-undefined)", () => {
    expect(deltaP(0, 0, 3, 7)).toBeNull();
    expect(deltaP(3, 7, 0, 0)).toBeNull();
  });
});

describe("what a delayed portion is worth", () => {
  it("falls by a hyperbola (Mazur 1987; check value mazur)", () => {
    const values = [0, 1, 5, 10, 30].map((seconds) => discountedValue(1, 0.2, seconds));
    for (const [index, value] of [1, 0.83333, 0.5, 0.33333, 0.14286].entries()) {
      expect(values[index]).toBeCloseTo(value, 5);
    }
  });

  it("is a range, since no bird's own k is known", () => {
    expect(delayedWorth(5)).toEqual({ low: 1 / 6, high: 0.5 });
  });
});

describe("the ration", () => {
  it("comes from the field metabolic rate of passerines (Nagy, Girard & Brown 1999; check value fmr-passerine)", () => {
    const expected = [204.71, 327.97, 407.27, 432.09, 711.76, 1290.85];
    for (const [index, mass] of [80, 160, 220, 240, 500, 1200].entries()) {
      expect(fieldMetabolicRate(mass)).toBeCloseTo(expected[index] as number, 2);
    }
  });

  it("is a share of it (check value ration-cap: a bird of 220 g, a fifth)", () => {
    const birds = [{ species: "magpie", count: 1 }] as const;
    expect(rationFor({ birds, energyPerGram: foodEnergy.peanutHalves, share: 0.2 })).toBeCloseTo(3.437, 2);
    expect(rationFor({ birds, energyPerGram: foodEnergy.catKibble, share: 0.2 })).toBeCloseTo(5.091, 2);
  });
});

describe("the beta distribution", () => {
  // scipy.stats.beta and scipy.special 1.17.1.
  it("has scipy's values", () => {
    expect(logGamma(0.5)).toBeCloseTo(0.5723649429247001, 12);
    expect(logGamma(10)).toBeCloseTo(12.801827480081469, 11); // ln 9!
    expect(betaBelow(0.3, 2, 5)).toBeCloseTo(0.579825, 10);
    expect(betaBelow(0.7, 0.5, 0.5)).toBeCloseTo((2 / Math.PI) * Math.asin(Math.sqrt(0.7)), 12); // arcsine law
  });

  it("has quantiles that its distribution function takes back", () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.01, max: 0.99, noNaN: true }),
        fc.integer({ min: 1, max: 200 }),
        fc.integer({ min: 1, max: 200 }),
        (share, a, b) => {
          expect(betaBelow(betaQuantile(share, a, b), a, b)).toBeCloseTo(share, 9);
        },
      ),
      { numRuns: 100 },
    );
  });

  it("gives Jeffreys' limits of a share", () => {
    expect(betaLimits(0, 10)).toEqual({ low: 0, high: expect.closeTo(0.2171963, 6) });
    expect(betaLimits(10, 10)).toEqual({ low: expect.closeTo(0.7828037, 6), high: 1 });
    expect(betaLimits(18, 20).low).toBeCloseTo(0.7161467, 6);
  });

  it("gives Student's tail (NIST/SEMATECH e-Handbook 1.3.6.7.2: 2.571 for 5 degrees, from memory)", () => {
    expect(studentTail(2.571, 5)).toBeCloseTo(0.05, 4);
    expect(studentTail(3.1, 4.7)).toBeCloseTo(0.029165614, 8); // scipy
    expect(studentTail(12.706, 1)).toBeCloseTo(0.05, 4);
    expect(studentTail(0, 7)).toBeCloseTo(1, 12);
  });
});

describe("the test of a criterion", () => {
  it("bets Wald's likelihood ratio on single trials (check value sprt-0.5-0.8)", () => {
    const stake = (0.8 - 0.5) / (0.5 * 0.5);
    expect(logBet(1, 0.5, stake)).toBeCloseTo(0.47, 4);
    expect(logBet(0, 0.5, stake)).toBeCloseTo(-0.91629, 5);
  });

  it("has no evidence before anything was seen, and refuses a limit that no share can pass", () => {
    expect(evidenceAbove([], 0.3)).toBeCloseTo(0, 12);
    expect(() => evidenceAbove([], 1)).toThrow("between 0 and 1");
  });

  it("finds learning that begins late", () => {
    const before = [0.1, 0.2, 0.1, 0, 0.2, 0.1, 0.1, 0.2, 0.1, 0.1];
    const after = [0.7, 0.8, 0.7, 0.6, 0.8, 0.7, 0.7, 0.8, 0.7, 0.7];
    expect(evidenceAbove(before, 0.3)).toBeLessThan(decisiveEvidence);
    expect(evidenceAbove([...before, ...after], 0.3)).toBeGreaterThan(decisiveEvidence);
    expect(evidenceBelow(before, 0.6)).toBeGreaterThan(decisiveEvidence);
  });

  it("calls a site that never learns ready in at most the promised share, though looked at daily for eight weeks", () => {
    const sites = 2_000;
    let everCalled = 0;
    for (let site = 0; site < sites; site += 1) {
      const days: number[] = [];
      let called = false;
      for (let day = 0; day < 56 && !called; day += 1) {
        // The worst site that has not learnt: the limit itself on average, and no two days alike.
        days.push(shareOfDay(site, day, hashedRandom(71, site, day) < 0.5 ? 0.1 : 0.5));
        called = evidenceAbove(days, 0.3) >= decisiveEvidence;
      }
      if (called) everCalled += 1;
    }
    expect(everCalled / sites).toBeLessThan(criterionError);
    expect(everCalled).toBeGreaterThan(0); // the test can fail
  });
});

/** Of twenty trials. */
const shareOfDay = (site: number, day: number, share: number): number =>
  Array.from({ length: 20 }, (_, trial) => hashedRandom(72, site, 100 * day + trial)).filter((u) => u < share).length /
  20;

describe("the change point", () => {
  it("has the logit of its criterion (Gallistel, Fairhurst & Balsam 2004; check value gallistel-logit)", () => {
    expect(logitOf(0.05)).toBeCloseTo(1.2788, 4);
    expect(logitOf(0.01)).toBeCloseTo(1.9956, 4);
    expect(logitOf(0.001)).toBeCloseTo(2.9996, 4);
  });

  it("is where the cumulative record is farthest from its chord", () => {
    expect(farthestFromLine([0, 0, 0, 1, 1, 1, 1])).toBe(3);
  });

  const session = (successes: number) => ({ from: 0 as never, successes, trials: 10 });
  it("is found where learning began, and nowhere in a steady record", () => {
    const steady = [1, 2, 1, 1, 2, 0, 1, 2, 1, 1].map(session);
    expect(changePoints(steady)).toEqual([]);
    const [change, ...more] = changePoints([...steady, ...[8, 7, 9, 8, 8, 7].map(session)]);
    expect(more).toEqual([]);
    expect(change).toMatchObject({ session: 10, shareBefore: 0.12 });
    expect(change?.shareAfter).toBeGreaterThan(0.7);
  });

  it("is weighed by Bayes' factor against no change: for it after a plain change, against it without", () => {
    expect(changeBayesFactor([1, 1, 1, 1, 1, 1].map(session))).toBeLessThan(1);
    expect(changeBayesFactor([1, 1, 1, 9, 9, 9].map(session))).toBeGreaterThan(1_000);
  });
});

describe("before and after a change", () => {
  it("has Newcombe's interval (1998, method 10: 56 of 70 and 48 of 80 give 0.0524 to 0.3339, from memory)", () => {
    const limits = newcombeLimits(
      { share: 56 / 70, limits: shareLimits(56, 70) },
      { share: 48 / 80, limits: shareLimits(48, 80) },
    );
    expect(limits.low).toBeCloseTo(0.0524, 4);
    expect(limits.high).toBeCloseTo(0.3339, 4);
  });

  it("counts days that differ more than chance for fewer trials", () => {
    const alike = Array.from({ length: 4 }, () => ({ successes: 5, trials: 10 }));
    const unlike = [0, 10, 0, 10].map((successes) => ({ successes, trials: 10 }));
    expect(effectiveTrials(alike)?.trials).toBe(40);
    expect(effectiveTrials(unlike)?.trials).toBeCloseTo(3, 1);
    const sure = shareDifference(alike, [{ successes: 9, trials: 10 }]);
    const unsure = shareDifference(unlike, [{ successes: 9, trials: 10 }]);
    expect(unsure?.difference).toBe(sure?.difference);
    expect(unsure?.limits.low).toBeLessThan(sure?.limits.low ?? 0);
    expect(shareDifference([], alike)).toBeNull();
  });
});

describe("the regression", () => {
  // The randomized trial of Dobson 1990, p. 93, as R's documentation of glm has it: coefficients and standard errors.
  const counts = [18, 17, 15, 20, 10, 20, 25, 13, 12];
  const rows = counts.map((y, index) => ({
    x: [1, index % 3 === 1 ? 1 : 0, index % 3 === 2 ? 1 : 0, Math.floor(index / 3) === 1 ? 1 : 0, index >= 6 ? 1 : 0],
    y,
    size: 1,
  }));

  it("has the coefficients of R's glm", () => {
    const fitted = fitRegression("counts", rows);
    const expected = [3.0445, -0.4543, -0.293, 0, 0];
    for (const [index, value] of expected.entries()) expect(fitted?.coefficients[index]).toBeCloseTo(value, 4);
    const scale = fitted?.dispersion ?? 1; // R's family poisson has 1
    const errors = [0, 1, 2].map((k) => Math.sqrt((fitted?.covariance[k]?.[k] ?? 0) / scale));
    for (const [index, value] of [0.1709, 0.2022, 0.1927].entries()) expect(errors[index]).toBeCloseTo(value, 4);
    expect(scale).toBeCloseTo(5.1732 / 4, 3); // Pearson's chi-squared by its degrees of freedom
  });

  it("solves the score equations of a logistic one", () => {
    const days = [5, 20, 60, 120].map((distance, index) => ({
      x: [1, distance / 100],
      y: [9, 8, 5, 1][index] as number,
      size: 10,
    }));
    const fitted = fitRegression("shares", days);
    if (fitted === null) throw new Error("expected a fit");
    for (const column of [0, 1]) {
      const sum = days.reduce((all, day) => {
        const share = 1 / (1 + Math.exp(-predictLinear(fitted, day.x).value));
        return all + (day.x[column] ?? 0) * (day.y - day.size * share);
      }, 0);
      expect(sum).toBeCloseTo(0, 8);
    }
  });

  it("gives nothing where the rows leave a coefficient open", () => {
    expect(fitRegression("counts", rows.slice(0, 5))).toBeNull();
    const twice = rows.map((row) => ({ ...row, x: [1, row.y, row.y] }));
    expect(fitRegression("counts", twice)).toBeNull();
  });
});
