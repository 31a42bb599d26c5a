import { describe, expect, it } from "vitest";
import { afterMeasurement, afterPortion, type LevelBelief } from "../../../server/domain/hopper/levelFilter.ts";

/** A portion that is known for certain leaves the scalar filter of Welch & Bishop. */
const scalar = (level: number, levelVariance: number): LevelBelief => ({
  level,
  levelVariance,
  portion: 0,
  portionVariance: 0,
  covariance: 0,
});

describe("the level filter", () => {
  it("agrees with Welch & Bishop TR 95-041 s.3 on how certain it grows (check kf-welch-bishop, computed with numpy)", () => {
    const expected: Record<number, { variance: number; gain: number }> = {
      1: { variance: 0.009900991079, gain: 0.9900991079 },
      2: { variance: 0.004977648295, gain: 0.4977648295 },
      10: { variance: 0.001027316001, gain: 0.1027316001 },
      50: { variance: 0.000339210818, gain: 0.0339210818 },
    };
    let belief = scalar(0, 1);
    for (let step = 1; step <= 50; step += 1) {
      const predicted = afterPortion(belief, 1e-5, 0); // Q: the spread that each step adds
      const before = predicted.level;
      belief = afterMeasurement(predicted, before + 1, 0.01);
      const value = expected[step];
      if (!value) continue;
      expect(belief.levelVariance).toBeCloseTo(value.variance, 9);
      expect(belief.level - before).toBeCloseTo(value.gain, 9);
    }
    for (let step = 0; step < 2_000; step += 1) belief = afterMeasurement(afterPortion(belief, 1e-5, 0), 0, 0.01);
    expect(belief.levelVariance).toBeCloseTo(0.000311267292, 9);
  });

  it("without process noise knows R·P0/(R + n·P0) after n readings (check kf-q0, computed)", () => {
    let belief = scalar(0, 1);
    for (let step = 0; step < 50; step += 1) belief = afterMeasurement(belief, 0, 0.01);
    expect(belief.levelVariance).toBeCloseTo(0.00019996001, 10);
  });

  it("follows a fixed sequence of readings (check kf-sequence, computed with numpy)", () => {
    const levels = [-0.2970297, -0.373173, -0.3821006, -0.3740673, -0.3752586];
    const variances = [0.009900991, 0.004977648, 0.003327839, 0.002502534, 0.002008014];
    let belief = scalar(0, 1);
    [-0.3, -0.45, -0.4, -0.35, -0.38].forEach((reading, step) => {
      belief = afterMeasurement(afterPortion(belief, 1e-5, 0), reading, 0.01);
      expect(belief.level).toBeCloseTo(levels[step] ?? Number.NaN, 7);
      expect(belief.levelVariance).toBeCloseTo(variances[step] ?? Number.NaN, 9);
    });
  });

  it("lets an error of the mean portion grow with the count, and single spreads with its root", () => {
    let belief: LevelBelief = { level: 1000, levelVariance: 0, portion: 8, portionVariance: 4, covariance: 0 };
    for (let step = 0; step < 10; step += 1) belief = afterPortion(belief, 1, 0);
    expect(belief.level).toBeCloseTo(920, 9);
    expect(belief.levelVariance).toBeCloseTo(10 * 10 * 4 + 10 * 1, 9);
  });

  it("learns the portion from what the scale says after several of them", () => {
    let belief: LevelBelief = { level: 1000, levelVariance: 1, portion: 8, portionVariance: 5, covariance: 0 };
    for (let step = 0; step < 20; step += 1) belief = afterPortion(belief, 1, 0);
    belief = afterMeasurement(belief, 1000 - 20 * 10, 16);
    expect(belief.portion).toBeGreaterThan(9.8);
    expect(belief.portion).toBeLessThan(10.1);
    expect(belief.portionVariance).toBeLessThan(0.2);
  });
});
