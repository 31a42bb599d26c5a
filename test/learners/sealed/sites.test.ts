import { describe, expect, it } from "vitest";
import { dayProblems } from "../dayProblems.ts";
import { liveDays, someConditions, truthDeviation } from "../liveDays.ts";
import { stageKinds } from "../livedDay.ts";
import { latentSite } from "./latent.ts";
import { producersSite } from "./producers.ts";
import { sealedSiteMakers } from "./sites.ts";

/** Only that the sites are sound, never how a judgement does on them. */
describe.each(Object.entries(sealedSiteMakers))("a sealed site of the kind %s", (kind, make) => {
  it("gives the same days for the same seed, sound ones in each stage", () => {
    for (const seed of [1, 2, 3, 4]) {
      const site = make(seed);
      const live = (stage: (typeof stageKinds)[number], index: number) =>
        liveDays(site, `2026-0${2 * index + 1}-20`, 12, someConditions({ stage }));
      const days = stageKinds.flatMap(live);
      expect(days.flatMap((day) => dayProblems(site, day))).toEqual([]);
      expect(liveDays(make(seed), "2026-01-20", 12, someConditions({ stage: stageKinds[0] }))).toEqual(
        days.slice(0, 12),
      );
    }
    expect(make(1).truth).toEqual({ kind, learns: true });
  });
});

describe.each(Object.entries({ latentSite, producersSite }))("the truth of %s", (_, make) => {
  const sites = () => Array.from({ length: 10 }, (_one, index) => make(index + 1));

  it.each(["comeForFood", "pressForFood", "dropCap"] as const)("is what happens on average: %s", (stage) => {
    expect(Math.abs(truthDeviation(sites(), someConditions({ stage }), 20).deviation)).toBeLessThan(4);
  });

  it("moves on most sites, by what they learn", () => {
    const moved = sites().map((site) => {
      const days = liveDays(site, "2026-03-01", 70, someConditions({ stage: "pressForFood" })).map((day) => day.truth);
      const mean = (part: typeof days) => part.reduce((sum, { actShare }) => sum + actShare, 0) / part.length;
      return mean(days.slice(-10)) - mean(days.slice(0, 10));
    });
    expect(moved.filter((by) => by > 0.1).length).toBeGreaterThan(5);
  });
});
