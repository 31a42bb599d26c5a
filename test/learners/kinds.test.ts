import { describe, expect, it } from "vitest";
import { distanceResponse, drawBody } from "./bird.ts";
import { liveDays, someConditions } from "./liveDays.ts";
import { Random } from "./random.ts";
import { type LivedDay, type SiteMaker, type StageKind, siteMakers } from "./site.ts";

const makerOf = (kind: string): SiteMaker => {
  const make = siteMakers[kind];
  if (make === undefined) throw new RangeError(`expected a kind of site, got ${kind}`);
  return make;
};
const mean = (days: readonly LivedDay[]): number =>
  days.reduce((sum, { truth }) => sum + truth.actShare, 0) / days.length;
const seeds = Array.from({ length: 10 }, (_, index) => index + 1);
/** Three weeks of free food, then the stage. */
const learn = (kind: string, seed: number, days: number, stage: StageKind = "pressForFood") => {
  const site = makerOf(kind)(seed);
  liveDays(site, "2026-02-01", 21, someConditions({ stage: "comeForFood" }));
  return liveDays(site, "2026-02-22", days, someConditions({ stage }));
};

describe("abrupt learners", () => {
  it("have a day of change: nearly nothing before, plenty after", () => {
    const gains: number[] = [];
    for (const seed of seeds) {
      const days = learn("insight", seed, 80);
      const day = days.findIndex(
        ({ truth }, index) => index > 0 && truth.birdsKnowing > (days[index - 1]?.truth.birdsKnowing ?? 0),
      );
      if (day < 5 || days[0]?.truth.birdsKnowing !== 0) continue;
      const [before, after] = [mean(days.slice(0, day)), mean(days.slice(day, day + 10))];
      gains.push(after - before);
      expect(before, `seed ${seed}`).toBeLessThan(0.13);
      expect(after, `seed ${seed}, from ${before}`).toBeGreaterThan(before + 0.02);
    }
    expect(gains.length).toBeGreaterThanOrEqual(3);
    expect(gains.reduce((sum, gain) => sum + gain, 0) / gains.length).toBeGreaterThan(0.15);
  });
});

describe("gradual learners", () => {
  it("act more after three months than in the first week, on most sites", () => {
    const gains = seeds.map((seed) => {
      const days = learn("associative", seed, 80);
      return mean(days.slice(-7)) - mean(days.slice(0, 7));
    });
    expect(gains.filter((gain) => gain > 0.1).length).toBeGreaterThan(0.6 * gains.length);
  });

  it("learn no press whose food comes from so far away that they don't wait for it", () => {
    const far = seeds.map((seed) => {
      const site = makerOf("associative")(seed);
      return mean(
        liveDays(site, "2026-02-01", 90, someConditions({ stage: "pressForFood", distanceCm: 2_000 })).slice(-7),
      );
    });
    expect(Math.max(...far)).toBeLessThan(0.15);
  });
});

describe("a flock that copies", () => {
  it("is joined in its knowledge by one bird after the other", () => {
    const spreads = seeds.map((seed) => learn("social", seed, 75).map(({ truth }) => truth.birdsKnowing));
    expect(spreads.every(([first]) => first === 0)).toBe(true);
    expect(spreads.filter((known) => Math.max(...known) >= 3).length).toBeGreaterThan(2);
  });

  it("comes in numbers that jump more from day to day than chance makes them", () => {
    const days = learn("social", 3, 90);
    const bouts = days.map(({ truth }) => truth.expectedBouts);
    const middle = bouts.reduce((sum, count) => sum + count, 0) / bouts.length;
    const spread = bouts.reduce((sum, count) => sum + (count - middle) ** 2, 0) / bouts.length;
    expect(Math.sqrt(spread) / middle).toBeGreaterThan(0.3);
  });
});

describe("birds that never learn", () => {
  it("act by accident in at most 15 % of bouts, but for a juvenile's two days", () => {
    let whims = 0;
    for (const seed of seeds) {
      const days = learn("neverLearns", seed, 64);
      expect(days.every(({ truth }) => truth.birdsKnowing === 0)).toBe(true);
      const above = days.filter(({ truth }) => truth.actShare > 0.1501);
      expect(above.length).toBeLessThanOrEqual(2);
      if (above.length > 0) whims += 1;
      const usual = days.filter(({ truth }) => truth.actShare <= 0.1501);
      expect(Math.abs(mean(usual.slice(-20)) - mean(usual.slice(0, 20)))).toBeLessThan(0.05);
    }
    expect(whims).toBeGreaterThan(0);
  });
});

describe("birds that lose it", () => {
  it("have a day from which none knows the act, and most of it is gone two weeks later", () => {
    let losses = 0;
    for (const seed of seeds) {
      const days = learn("loses", seed, 95);
      const known = days.map(({ truth }) => truth.birdsKnowing);
      const day = known.findIndex((count, index) => count === 0 && (known[index - 1] ?? 0) > 0);
      if (day === -1 || day > 78) continue;
      losses += 1;
      expect(known.slice(day).every((count) => count === 0)).toBe(true);
      const [before, after] = [mean(days.slice(Math.max(0, day - 10), day)), mean(days.slice(day + 14))];
      expect(after, `seed ${seed}, from ${before}`).toBeLessThan(0.5 * before);
    }
    expect(losses).toBeGreaterThanOrEqual(5);
  });
});

describe("a bird's answer to distance", () => {
  it("falls smoothly from 1, and half of it is left at the bird's own distance", () => {
    for (const seed of seeds) {
      const body = drawBody(new Random(seed, "test body"), 2);
      const curve = Array.from({ length: 60 }, (_, index) => distanceResponse(body, "pressForFood", index * 20));
      expect(curve[0]).toBe(1);
      for (const [index, value] of curve.entries()) expect(value).toBeLessThanOrEqual(curve[index - 1] ?? 1);
      expect(distanceResponse(body, "pressForFood", body.distanceHalfCm)).toBeCloseTo(0.5, 9);
      expect(distanceResponse(body, "fetchCap", 300)).toBeGreaterThan(distanceResponse(body, "dropCap", 300));
    }
  });
});
