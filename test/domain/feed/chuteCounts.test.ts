import { describe, expect, it } from "vitest";
import { alarmThreshold, initialPortionRate, updatePortionRate } from "../../../server/domain/feed/alarmThreshold.ts";
import { countLogLikelihoods, initialChuteModel, updateChuteModel } from "../../../server/domain/feed/chuteModel.ts";
import { after, days, minutes } from "../../../server/domain/instant.ts";
import { dawn } from "../hopper/rowan.ts";

describe("what a chute sensor usually counts", () => {
  const learnt = (...counts: readonly number[]) => counts.reduce(updateChuteModel, initialChuteModel);

  it("is a share that it misses, begun at one in fifty with the weight of fifty portions", () => {
    expect(learnt(0).missedShare).toBeCloseTo(0.02 + 0.98 / 51, 12);
    expect(learnt(3).missedShare).toBeCloseTo(0.02 - 0.02 / 51, 12);
    expect(learnt(0)).toMatchObject({ portionsLearnt: 1, meanPieces: 0, variance: 0 });
  });

  it("is a mean and a spread of the pieces, and how often each number came", () => {
    const model = learnt(2, 4, 4, 6);
    expect(model.meanPieces).toBeCloseTo(4, 12);
    expect(model.variance).toBeCloseTo(2, 12);
    expect(model.countShares.slice(0, 7)).toEqual(
      [0, 0.25, 0, 0.5, 0, 0.25, 0].map((share) => expect.closeTo(share, 12)),
    );
    expect(learnt(40).countShares[11]).toBe(1);
  });

  it("forgets: five hundred portions count for the share, for the pieces three hundred or three weeks of them", () => {
    const many = learnt(...Array.from({ length: 600 }, () => 3));
    expect(many.portionsLearnt).toBe(600);
    expect(updateChuteModel(many, 6, 20).meanPieces).toBeCloseTo(3 + 3 / 420, 9);
    expect(updateChuteModel(many, 0).missedShare).toBeCloseTo(many.missedShare + (1 - many.missedShare) / 550, 12);
    expect(updateChuteModel(many, 6).meanPieces).toBeCloseTo(3 + 3 / 300, 9);
  });

  it("makes nothing as rare of a sound sensor as empty portions are, within one in 250 and four in five, and usual of a blind one", () => {
    const healthy = (emptyShare: number) => Math.exp(countLogLikelihoods(initialChuteModel, 0, emptyShare).healthy);
    expect([healthy(0.0001), healthy(0.02), healthy(0.9)]).toEqual(
      [0.004, 0.02, 0.8].map((value) => expect.closeTo(value, 12)),
    );
    const { nothing, blind, halfBlind } = countLogLikelihoods(learnt(3, 3, 3), 0, 0.02);
    expect(Math.exp(nothing)).toBeGreaterThan(0.9);
    expect(Math.exp(blind)).toBeGreaterThan(0.9);
    expect(halfBlind).toBeLessThan(blind);
  });
});

describe("the likelihood of a count", () => {
  /** A sound sensor that has seen `count` pieces of each portion. */
  const sound = (pieces: number, portions = 30) =>
    Array.from({ length: portions }, () => pieces).reduce(updateChuteModel, initialChuteModel);
  const emptyShare = 0.02;
  const choose = (n: number, k: number): number => (k === 0 ? 1 : (choose(n, k - 1) * (n - k + 1)) / k);
  const binomial = (n: number, k: number, p: number) => choose(n, k) * p ** k * (1 - p) ** (n - k);
  const likelihoods = (count: number, pieces = 4) => {
    const logs = countLogLikelihoods(sound(pieces), count, emptyShare);
    return Object.fromEntries(Object.entries(logs).map(([name, log]) => [name, Math.exp(log)]));
  };

  it("is binomial where each piece is seen with two in five, or a third or two of a portion falls", () => {
    for (const count of [1, 2, 3, 4]) {
      const few = binomial(4, count, 0.4);
      const shrunk = (binomial(4, count, 0.3) + binomial(4, count, 0.65)) / 2;
      expect(likelihoods(count).undercounting, `${count}`).toBeCloseTo(0.98 * few, 9);
      expect(likelihoods(count).shrunk, `${count}`).toBeCloseTo(0.98 * shrunk, 9);
    }
    expect(likelihoods(0).undercounting).toBeCloseTo(0.02 + 0.6 ** 4, 9);
    expect(likelihoods(0).shrunk).toBeCloseTo(0.02 + (0.7 ** 4 + 0.35 ** 4) / 2, 9);
  });

  it("is that of the counts so far for a sound sensor, smoothed by a bell curve with the weight of eight portions", () => {
    const bell = (count: number) => Math.exp(-0.5 * ((count - 4) ** 2 / 0.25)) / Math.sqrt(2 * Math.PI * 0.25);
    expect(likelihoods(4).healthy).toBeCloseTo((0.98 * (30 + 8 * bell(4))) / 38, 9);
    expect(likelihoods(3).healthy).toBeCloseTo((0.98 * 8 * bell(3)) / 38, 9);
    expect(likelihoods(9).healthy).toBeCloseTo(0.98 * 0.006, 9); // never seen, not impossible
    expect(likelihoods(4).halfBlind).toBeCloseTo((0.55 * (30 + 8 * bell(4))) / 38, 9);
  });

  it("is that of a moth or a crumb where nothing falls or nothing is seen: halved with each piece", () => {
    for (const count of [1, 2, 5]) {
      expect(likelihoods(count).nothing).toBeCloseTo(0.03 * 0.5 ** count, 12);
      expect(likelihoods(count).blind).toBeCloseTo(0.02 * 0.5 ** count, 12);
    }
    expect([likelihoods(0).nothing, likelihoods(0).blind, likelihoods(0).halfBlind]).toEqual(
      [0.97, 0.98, 0.45].map((value) => expect.closeTo(value, 12)),
    );
  });

  it("shows little before twenty portions are known", () => {
    const early = (count: number) => countLogLikelihoods(sound(4, 19), count, emptyShare);
    expect(Math.exp(early(1).healthy)).toBeCloseTo(0.98 * 0.3, 9);
    expect(Math.exp(early(9).undercounting)).toBeCloseTo(0.98 * 0.24, 9);
    expect(Math.exp(early(0).shrunk)).toBeCloseTo(0.02 + 0.2, 9);
  });

  it("is a bell curve where more pieces fall than are counted one by one", () => {
    const normal = (value: number, mean: number, variance: number) =>
      Math.exp((-0.5 * (value - mean) ** 2) / variance) / Math.sqrt(2 * Math.PI * variance);
    const variance = 0.15 * 10; // at least
    expect(likelihoods(9, 10).healthy).toBeCloseTo(0.98 * (normal(9, 10, variance) + 0.0015), 9);
    expect(likelihoods(5, 10).shrunk).toBeCloseTo(0.98 * (0.9 * normal(5, 5, 2.5 ** 2 + 0.5 * variance) + 0.0015), 9);
    expect(likelihoods(4, 10).undercounting).toBeCloseTo(
      0.98 * (0.98 * normal(4, 4, 1.5 ** 2 + 0.4 * variance) + 0.0015),
      9,
    );
    expect(likelihoods(0, 10).shrunk).toBeCloseTo(0.12, 9);
    expect(likelihoods(0, 10).undercounting).toBeCloseTo(0.04, 9);
  });
});

describe("how much evidence an alarm takes", () => {
  const rate = (portions: number) => ({ portions, days: 1, at: null });

  it("is ln of a year's portions, within twenty and four hundred a day", () => {
    const threshold = (portions: number) => alarmThreshold(rate(portions));
    expect(threshold(100)).toBeCloseTo(Math.log(36_500), 12);
    expect(threshold(1)).toBeCloseTo(Math.log(365 * 20), 12);
    expect(threshold(9_999)).toBeCloseTo(Math.log(365 * 400), 12);
  });

  it("follows the portions of some two weeks", () => {
    const first = updatePortionRate(initialPortionRate, dawn);
    expect(first).toEqual({ portions: 100, days: 1, at: dawn });
    const next = updatePortionRate(first, after(dawn, days(1)));
    expect(next.portions).toBeCloseTo(100 * Math.exp(-1 / 14) + 1, 9);
    expect(next.days).toBeCloseTo(Math.exp(-1 / 14) + 1, 9);
    expect(updatePortionRate(first, after(dawn, minutes(-5)))).toMatchObject({ portions: 101, days: 1 });
  });
});
