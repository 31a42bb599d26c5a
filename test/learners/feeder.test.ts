import { describe, expect, it } from "vitest";
import { after, hours, instantOf, seconds } from "../../server/domain/instant.ts";
import { Feeder } from "./feeder.ts";
import { someConditions } from "./liveDays.ts";
import type { Conditions, FaultKind } from "./livedDay.ts";
import { Random } from "./random.ts";
import { drawTraits } from "./traits.ts";

const noon = instantOf("2026-04-01T12:00:00Z");
const traits = { ...drawTraits(new Random(1, "test")), hasPerch: true, hasChuteSensor: true, perchSenses: 1 };

/** Ten acts, half a minute apart, while the feeder has this fault. */
function tenActs(changes: Partial<Conditions> & Pick<Conditions, "stage">, fault: FaultKind | null) {
  const episode = { from: noon, to: after(noon, hours(1)), knownFrom: null, left: 0 };
  const episodes = fault === null ? [] : [{ ...episode, kind: fault }];
  const hasDetector = changes.stage !== "pressForFood";
  const feeder = new Feeder(
    { conditions: someConditions(changes), traits, episodes, hasDetector },
    new Random(2, "feeder"),
    0,
  );
  const fell = Array.from({ length: 10 }, (_, index) => feeder.act(after(noon, seconds(30 * index))));
  const events = feeder.record(5);
  return {
    acts: events.filter(({ kind }) => kind === "press" || kind === "deposit"),
    portions: events.flatMap((event) => (event.kind === "portion" ? [event] : [])),
    fed: fell.filter((at) => at !== null).length,
    grams: feeder.dishGrams,
  };
}

describe("a feeder of a site", () => {
  it("pays each act, or each second, within its latency", () => {
    const all = tenActs({ stage: "pressForFood", gramsEach: 3 }, null);
    expect([all.acts.length, all.portions.length, all.fed, all.grams]).toEqual([10, 10, 10, 30]);
    expect(all.portions.map(({ paysFor }) => paysFor)).toEqual(all.acts.map(({ seq }) => seq));
    expect(tenActs({ stage: "dropCap", paysEvery: 2 }, null).portions).toHaveLength(5);
  });

  it("pays nothing while paused, and gives nothing when empty or jammed", () => {
    const paused = tenActs({ stage: "pressForFood" }, "paused");
    expect([paused.acts.length, paused.portions.length, paused.fed]).toEqual([10, 0, 0]);
    for (const kind of ["foodOut", "jammed"] as const) {
      const { acts, portions, fed, grams } = tenActs({ stage: "nudgeCap" }, kind);
      expect([acts.length, fed, grams]).toEqual([10, 0, 0]);
      expect(portions.map(({ chuteCount }) => chuteCount)).toEqual(Array.from({ length: 10 }, () => 0));
    }
  });

  it("records nothing that a deaf sensor doesn't sense", () => {
    const { acts, portions } = tenActs({ stage: "fetchCap" }, "detectorDeaf");
    expect([acts, portions]).toEqual([[], []]);
  });

  it("turns its motor once at a time", () => {
    const feeder = new Feeder(
      { conditions: someConditions({ stage: "pressForFood" }), traits, episodes: [], hasDetector: false },
      new Random(3, "feeder"),
      0,
    );
    for (let index = 0; index < 5; index += 1) feeder.act(after(noon, seconds(index / 10)));
    const portions = feeder.record(1).flatMap((event) => (event.kind === "portion" ? [event] : []));
    expect(portions).toHaveLength(5);
    for (const [index, { recordedAt }] of portions.entries()) {
      const before = portions[index - 1];
      if (before !== undefined) expect(recordedAt).toBeGreaterThan(before.recordedAt + (before.motorRan ?? 0));
    }
  });
});
