import { expect, it } from "vitest";
import {
  fullScale,
  scaleDrift,
  scaleNoise,
  slopeDeviation,
  zeroOffsetVariance,
} from "../../../server/domain/hopper/scaleModel.ts";
import { grams } from "../../../server/domain/units.ts";
import { rowanSettings } from "../rowan.ts";

const holding = (capacity: number) => ({ ...rowanSettings, hopperCapacity: grams(capacity) });

it("takes a scale to err by shares of its hopper, and by no less than a small hopper's large cell does", () => {
  expect(fullScale(holding(2_000))).toBe(4_400);
  expect([500, 2_000, 4_000].map((capacity) => scaleNoise(holding(capacity)))).toEqual([4, 4, 8]);
  expect([500, 1_000, 4_000].map((capacity) => scaleDrift(holding(capacity)))).toEqual([5, 5, 20]);
  expect(slopeDeviation(holding(2_000))).toBeCloseTo(0.88, 9);
});

it("doubts the zero by the taring and by the temperature of that moment, more where no thermometer tells of it", () => {
  const taring = 33 ** 2; // of a hopper of less than 2.5 kg; a larger one's cell errs by 0.6 % of its full scale
  expect(zeroOffsetVariance(0.5, true, holding(2_000))).toBeCloseTo(taring + 36 * 0.5, 9);
  expect(zeroOffsetVariance(0.5, false, holding(2_000))).toBeCloseTo(taring + 100 * 0.5, 9);
  expect(zeroOffsetVariance(0, true, holding(500))).toBe(33 ** 2); // a small hopper's cell is seldom a small one
  expect(zeroOffsetVariance(0, true, holding(5_000))).toBeCloseTo((0.006 * 11_000) ** 2, 9);
});
