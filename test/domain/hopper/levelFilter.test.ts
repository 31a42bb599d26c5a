import { describe, expect, it } from "vitest";
import {
  clampLidLoad,
  diagonalCovariance,
  expectedReading,
  type LevelEstimate,
  levelVariance,
  lidLoadVariance,
  portionVariance,
  predictByPortion,
  predictByTime,
  slopeVariance,
  updateByMeasurement,
  updateByReading,
} from "../../../server/domain/hopper/levelFilter.ts";

/** A portion that is known for certain leaves the scalar filter of Welch & Bishop. */
const scalar = (level: number, variance: number): LevelEstimate =>
  believed({ level }, diagonalCovariance({ level: variance }));
const believed = (about: Partial<LevelEstimate>, covariance: LevelEstimate["covariance"]): LevelEstimate => ({
  level: 0,
  portion: 0,
  slope: 0,
  offset: 0,
  zeroDrift: 0,
  lidLoad: 0,
  ...about,
  covariance,
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
      const predicted = predictByPortion(belief, 1e-5, 0); // Q: the spread that each step adds
      const before = predicted.level;
      belief = updateByMeasurement(predicted, before + 1, 0.01);
      const value = expected[step];
      if (!value) continue;
      expect(levelVariance(belief)).toBeCloseTo(value.variance, 9);
      expect(belief.level - before).toBeCloseTo(value.gain, 9);
    }
    for (let step = 0; step < 2_000; step += 1)
      belief = updateByMeasurement(predictByPortion(belief, 1e-5, 0), 0, 0.01);
    expect(levelVariance(belief)).toBeCloseTo(0.000311267292, 9);
  });

  it("without process noise knows R·P0/(R + n·P0) after n readings (check kf-q0, computed)", () => {
    let belief = scalar(0, 1);
    for (let step = 0; step < 50; step += 1) belief = updateByMeasurement(belief, 0, 0.01);
    expect(levelVariance(belief)).toBeCloseTo(0.00019996001, 10);
  });

  it("follows a fixed sequence of readings (check kf-sequence, computed with numpy)", () => {
    const levels = [-0.2970297, -0.373173, -0.3821006, -0.3740673, -0.3752586];
    const variances = [0.009900991, 0.004977648, 0.003327839, 0.002502534, 0.002008014];
    let belief = scalar(0, 1);
    [-0.3, -0.45, -0.4, -0.35, -0.38].forEach((reading, step) => {
      belief = updateByMeasurement(predictByPortion(belief, 1e-5, 0), reading, 0.01);
      expect(belief.level).toBeCloseTo(levels[step] ?? Number.NaN, 7);
      expect(levelVariance(belief)).toBeCloseTo(variances[step] ?? Number.NaN, 9);
    });
  });

  it("lets an error of the mean portion grow with the count, and single spreads with its root", () => {
    let belief: LevelEstimate = believed({ level: 1000, portion: 8 }, diagonalCovariance({ portion: 4 }));
    for (let step = 0; step < 10; step += 1) belief = predictByPortion(belief, 1, 0);
    expect(belief.level).toBeCloseTo(920, 9);
    expect(levelVariance(belief)).toBeCloseTo(10 * 10 * 4 + 10 * 1, 9);
  });

  it("learns the portion from the scale's weights after several of them", () => {
    let belief: LevelEstimate = believed({ level: 1000, portion: 8 }, diagonalCovariance({ level: 1, portion: 5 }));
    for (let step = 0; step < 20; step += 1) belief = predictByPortion(belief, 1, 0);
    belief = updateByMeasurement(belief, 1000 - 20 * 10, 16);
    expect(belief.portion).toBeGreaterThan(9.8);
    expect(belief.portion).toBeLessThan(10.1);
    expect(portionVariance(belief)).toBeLessThan(0.2);
  });

  it("learns from a night's cold how the scale's zero moves, while no food goes", () => {
    let belief = believed({ level: 1_000 }, diagonalCovariance({ level: 1e6, slope: 1, offset: 25 }));
    for (let minute = 0; minute < 600; minute += 1) {
      const warmer = -10 * Math.sin((minute / 600) * Math.PI);
      belief = updateByReading(belief, 1_000 + 0.7 * warmer, warmer, 4);
    }
    expect(belief.slope).toBeCloseTo(0.7, 1);
    expect(slopeVariance(belief)).toBeLessThan(0.01);
    expect(belief.level).toBeCloseTo(1_000, 0);
    // What the taring missed is seen by no reading: the level stays as uncertain as that.
    expect(levelVariance(belief)).toBeGreaterThan(24);
  });

  it("takes what the keeper weighs as a word on the scale's zero", () => {
    let belief = believed({}, diagonalCovariance({ level: 1e6, offset: 100 }));
    for (let reading = 0; reading < 50; reading += 1) belief = updateByReading(belief, 512, 0, 4);
    belief = updateByMeasurement(belief, 500, 1);
    expect(belief.offset).toBeCloseTo(12, 0);
    expect(expectedReading(belief, 0)).toBeCloseTo(512, 0);
  });

  it("lets nothing on the lid weigh less than nothing, and gives the level what it took", () => {
    let belief = believed({ level: 500 }, diagonalCovariance({ level: 100, lidLoad: 100 }));
    belief = updateByReading(belief, 470, 0, 1);
    expect(belief.lidLoad).toBeLessThan(-10);
    for (let step = 0; step < 12; step += 1) belief = clampLidLoad(updateByReading(belief, 470, 0, 1));
    expect(belief.lidLoad).toBeGreaterThan(-0.5);
    expect(belief.level).toBeCloseTo(470, 0);
    expect(lidLoadVariance(belief)).toBeGreaterThanOrEqual(0);
  });

  it("forgets a wandering zero and keeps all else as time passes", () => {
    const before = believed(
      { level: 500, zeroDrift: 8, lidLoad: 20 },
      diagonalCovariance({ level: 9, zeroDrift: 4, lidLoad: 16 }),
    );
    const kept = {
      levelDrop: 0,
      levelVariance: 0,
      zeroDriftKept: 0.5,
      zeroDriftVariance: 3,
      lidLoadKept: 1,
      lidLoadVariance: 2,
    };
    const after = predictByTime(before, kept);
    expect(after).toMatchObject({ level: 500, zeroDrift: 4, lidLoad: 20 });
    expect(after.covariance[14]).toBeCloseTo(0.25 * 4 + 3, 9);
    expect(lidLoadVariance(after)).toBeCloseTo(18, 9);
    expect(portionVariance(after)).toBe(0);
  });
});

describe("a lid that stays bare for a summer", () => {
  it("leaves no doubt too small to be divided", () => {
    const still = { levelDrop: 0, levelVariance: 0, zeroDriftKept: 1, zeroDriftVariance: 0, lidLoadVariance: 0 };
    let belief = believed({ lidLoad: 1 }, diagonalCovariance({ level: 1, offset: 1, zeroDrift: 1, lidLoad: 4 }));
    for (let hour = 0; hour < 3_000; hour += 1) {
      belief = clampLidLoad(updateByReading(predictByTime(belief, { ...still, lidLoadKept: 0.7 }), 0, 0, 1));
    }
    expect(belief.lidLoad).toBe(0);
    expect(lidLoadVariance(belief)).toBe(0);
    expect(JSON.parse(JSON.stringify(belief))).toEqual(belief);
  });
});
