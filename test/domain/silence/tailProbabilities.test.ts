import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { logNormalTail } from "../../../server/domain/normalTail.ts";
import {
  logBetaSilence,
  logGammaSilence,
  normalQuantileOfLog,
  phiExponential,
  phiNormal,
} from "../../../server/domain/silence/tailProbabilities.ts";

describe("the chance of a gap, in logarithms", () => {
  it("is φ of Hayashibara et al. 2004 for normal gaps (check value phi-normal, computed; mean 60 s, sd 10 s)", () => {
    const waits = [60, 70, 80, 90, 100, 120, 160];
    const phis = [0.30103, 0.799546, 1.643016, 2.869699, 4.499335, 9.005864, 23.118053];
    waits.forEach((waited, i) => {
      expect(Math.abs(phiNormal(waited, 60, 10) - (phis[i] ?? Number.NaN))).toBeLessThan(1e-5);
    });
  });

  it("is φ for exponential gaps (check value phi-exp, computed)", () => {
    const waits = [60, 138.155, 300, 600];
    const phis = [Math.LOG10E, 0.999999, 2.171472, 4.342945];
    waits.forEach((waited, i) => {
      expect(Math.abs(phiExponential(waited, 60) - (phis[i] ?? Number.NaN))).toBeLessThan(1e-5);
    });
  });

  it("can be inverted", () => {
    fc.assert(
      fc.property(fc.double({ min: 0, max: 60, noNaN: true }), (z) => {
        expect(normalQuantileOfLog(logNormalTail(z))).toBeCloseTo(z, 6);
      }),
    );
  });
});

describe("the chance of no event", () => {
  it("is the gamma-Poisson predictive (check value gamma-silence, computed: 12 events in 24 h, silent for 6 h)", () => {
    expect(Math.abs(Math.exp(logGammaSilence(12, 24, 6)) - 0.0687195)).toBeLessThan(1e-7);
    // The plug-in of the same check, e^(-12 x 6 / 24), is overconfident.
    expect(Math.exp((-12 * 6) / 24)).toBeCloseTo(0.0497871, 7);
  });

  it("is the beta-binomial predictive among marks: 2 hits, 1 miss, then 3 misses is 1/3 x 2/4 x 3/5", () => {
    expect(Math.exp(logBetaSilence(2, 1, 3))).toBeCloseTo(0.1, 12);
  });

  it("stays true for thousands of marks in one step (against the whole product)", () => {
    let whole = 0;
    for (let i = 0; i < 50_000; i++) whole += Math.log((12.5 + i) / (40 + 12.5 + i));
    expect(Math.abs(logBetaSilence(40, 12.5, 50_000) / whole - 1)).toBeLessThan(0.02);
  });
});
