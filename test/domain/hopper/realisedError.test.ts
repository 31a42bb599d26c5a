import { describe, expect, it } from "vitest";
import {
  initialRealisedError,
  type RealisedError,
  trackQuantile,
  updateRealisedError,
} from "../../../server/domain/hopper/realisedError.ts";

describe("the tracker of a quantile", () => {
  it("moves as Angelopoulos, Candès and Tibshirani 2023, eq. 7, have it (check qt-update)", () => {
    const scores = [30, 55, 20, 80, 35];
    let quantile = 40;
    const path = scores.map((score) => {
      quantile = trackQuantile(quantile, score > quantile, 0.1, 20);
      return quantile;
    });
    expect(path).toEqual([38, 56, 54, 72, 70].map((value) => expect.closeTo(value, 9)));
  });

  it("misses as often as asked in the long run, whatever the scores are (check qt-bound)", () => {
    // Proposition 1: |share of misses − α| ≤ (b + η) / (η T); here with b = 200 g, η = 20 g and T = 60.
    let [quantile, misses] = [0, 0];
    for (let turn = 0; turn < 60; turn += 1) {
      const score = 200 * Math.abs(Math.sin(turn * turn)); // of no law
      const isMissed = score > quantile;
      misses += isMissed ? 1 : 0;
      quantile = trackQuantile(quantile, isMissed, 0.1, 20);
    }
    expect(Math.abs(misses / 60 - 0.1)).toBeLessThanOrEqual((200 + 20) / (20 * 60));
  });
});

describe("the width by realised errors", () => {
  const after = (...scores: readonly number[]): RealisedError =>
    scores.reduce(updateRealisedError, initialRealisedError);

  it("begins at a normal distribution's, grows by a miss and shrinks a little by each hit", () => {
    expect(after(3).factor).toBeCloseTo(1.6449 + 0.135, 9);
    expect(after(-3).factor).toBeCloseTo(1.6449 + 0.135, 9); // a level that was too low is as wrong
    expect(after(0.5).factor).toBeCloseTo(1.6449 - 0.015, 9);
  });

  it("stays within its bounds, whatever comes", () => {
    expect(after(...new Array<number>(50).fill(9)).factor).toBe(2.6);
    expect(after(...new Array<number>(50).fill(0)).factor).toBe(1.4);
  });
});
