import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { truncatedNormalInterval } from "../../../server/domain/hopper/truncatedNormal.ts";

/** The cut normal distribution added up in small steps. */
function addedUp(mean: number, deviation: number, most: number) {
  const steps = 40_000;
  const width = most / steps;
  let [weight, moment] = [0, 0];
  const until: number[] = [];
  for (let step = 0; step < steps; step += 1) {
    const value = (step + 0.5) * width;
    const density = Math.exp(-0.5 * ((value - mean) / deviation) ** 2);
    weight += density;
    moment += density * value;
    until.push(weight);
  }
  const quantile = (share: number) => until.findIndex((sum) => sum >= share * weight) * width;
  return { low: quantile(0.05), mean: moment / weight, high: quantile(0.95) };
}

/** Draws evenly; `fc.double` draws by exponent. */
const between = (min: number, max: number) => fc.noBias(fc.integer({ min, max }));

describe("the interval that holds nine tenths", () => {
  it("is 1.6449 deviations to either side where all of it lies between nothing and the most", () => {
    expect(truncatedNormalInterval(500, 100, 1_000)).toEqual({ low: 500 - 164.49, mean: 500, high: 500 + 164.49 });
    expect(truncatedNormalInterval(500, 0, 1_000)).toEqual({ low: 500, mean: 500, high: 500 });
  });

  it("is that of the normal distribution cut off at nothing and at the most, as by adding it up", () => {
    const drawn = fc.property(between(-200, 1_200), between(50, 600), (mean, deviation) => {
      const most = 1_000;
      const inside = mean - 1.6449 * deviation >= 0 && mean + 1.6449 * deviation <= most;
      if (inside) return;
      const interval = truncatedNormalInterval(mean, deviation, most);
      const share = Math.max(-mean, mean - most) / deviation;
      if (share > 3) return; // so far out that what lies between is nearly nothing
      const expected = addedUp(mean, deviation, most);
      // The quantile's formula is good to 0.00045 deviations where the whole is there; a cut leaves less of it.
      const close = 0.02 * deviation;
      for (const end of ["low", "mean", "high"] as const) {
        expect(Math.abs(interval[end] - expected[end]), `${end} of ${mean} ± ${deviation}`).toBeLessThan(close);
      }
    });
    fc.assert(drawn, { numRuns: 60 });
  });

  it("lies at the bound where hardly anything of it lies between", () => {
    expect(truncatedNormalInterval(-5_000, 100, 1_000)).toEqual({ low: 0, mean: 0, high: 0 });
    expect(truncatedNormalInterval(9_000, 100, 1_000)).toEqual({ low: 1_000, mean: 1_000, high: 1_000 });
  });

  it("holds its mean, and stays between nothing and the most, for whatever is believed", () => {
    const drawn = fc.property(between(-3_000, 4_000), between(0, 2_000), between(1, 2_000), (mean, deviation, most) => {
      const interval = truncatedNormalInterval(mean, deviation, most);
      expect(interval.low).toBeGreaterThanOrEqual(0);
      expect(interval.low).toBeLessThanOrEqual(interval.mean);
      expect(interval.mean).toBeLessThanOrEqual(interval.high);
      expect(interval.high).toBeLessThanOrEqual(most);
    });
    fc.assert(drawn, { numRuns: 500 });
  });
});
