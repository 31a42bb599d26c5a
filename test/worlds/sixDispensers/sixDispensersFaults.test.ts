import { describe, expect, it } from "vitest";
import { type WorldFault, type WorldMoment, worldFaults } from "../world.ts";
import { day } from "./agenda.ts";
import { eventsOf, faulty, mean, playParts, readingsOf, seedsTo } from "./toldStory.ts";

const seeds = seedsTo(4);

/** The lines before the fault, and those a while after its begin. */
function split(moments: readonly WorldMoment[], settleDays = 0.2) {
  const since = moments.find(({ truth }) => truth.faultSince !== null)?.truth.faultSince ?? Number.POSITIVE_INFINITY;
  return {
    before: moments.filter(({ truth }) => truth.faultSince === null),
    after: moments.filter(({ line }) => line.at > since + settleDays * day),
  };
}

const runsIn = (moments: readonly WorldMoment[]) => {
  const [first, last] = [moments[0]?.truth, moments.at(-1)?.truth];
  return { runs: (last?.portions ?? 0) - (first?.portions ?? 0), pieces: (last?.pieces ?? 0) - (first?.pieces ?? 0) };
};
const bodiesIn = (moments: readonly WorldMoment[], kind: string) =>
  eventsOf(moments).flatMap(({ body }) => (body.kind === kind ? [body] : []));
const column = (bodies: readonly Record<string, unknown>[], name: string) =>
  bodies.map((body) => Number(body[name] ?? 0));

/** Events that arrive well after the fault's begin may be older than it: what was recorded later has the later number. */
const lateHalf = <Item>(items: readonly Item[]) => items.slice(items.length >> 1);

describe("a planted fault", () => {
  it.each(worldFaults)("of the kind %s is known from its moment on, and stays", (kind) => {
    const moments = faulty(kind, 2);
    const { before, after } = split(moments, 0);
    expect(before.length).toBeGreaterThan(100);
    expect(after.length).toBeGreaterThan(100);
    const begin = (moments[0]?.line.at ?? 0) + 4 * day;
    expect(new Set(after.map(({ truth }) => truth.faultSince))).toEqual(new Set([begin]));
  });

  it.each(["trayJammed", "motorStalled", "motorWireOff"] as const)("%s: runs, and not one piece", (kind) => {
    for (const seed of seeds) {
      const { after } = split(faulty(kind, seed), 0);
      const { runs, pieces } = runsIn(after);
      expect(runs).toBeGreaterThan(0);
      expect(pieces).toBe(0);
      expect(after.at(-1)?.truth.unfed).toBeGreaterThanOrEqual(runs);
    }
  });

  it("foodBridged: the food stays, and the runs end in nothing", () => {
    for (const seed of seeds) {
      const { after } = split(faulty("foodBridged", seed), 4);
      const { runs, pieces } = runsIn(after);
      expect(pieces).toBeLessThanOrEqual(0.3 * runs + 2);
      expect(after.at(-1)?.truth.grams).toBeGreaterThan(0);
      expect(after.at(-1)?.truth.emptySince).toBe(null);
    }
  });

  it("trayPartlyJammed: far less comes out than before", () => {
    const shares = seeds.map((seed) => {
      const { before, after } = split(faulty("trayPartlyJammed", seed), 1);
      const [was, is] = [runsIn(before), runsIn(after)];
      return is.pieces / is.runs / (was.pieces / was.runs);
    });
    for (const share of shares) expect(share).toBeLessThan(0.6);
    expect(Math.max(...shares)).toBeGreaterThan(0.02);
  });

  it("foodOut: nobody pours any more", () => {
    for (const seed of seeds) {
      const { after } = split(faulty("foodOut", seed), 0);
      const grams = after.map(({ truth }) => truth.grams);
      expect(grams.filter((now, index) => now > (grams[index - 1] ?? now) + 0.001)).toEqual([]);
    }
    expect(
      playParts({ seed: 1, days: 60, fault: { kind: "foodOut", at: day } }, { asksForFood: true }).hopper.givable,
    ).toBe(0);
  });

  it("motorStalled draws far more than a turning motor, motorWireOff next to nothing, trayJammed more", () => {
    const ratios = (kind: WorldFault) =>
      seeds.map((seed) => {
        const { before, after } = split(faulty(kind, seed));
        const was = mean(column(bodiesIn(before, "portion"), "peakMilliamps"));
        const [mA, later] = ["meanMilliamps", lateHalf(bodiesIn(after, "portion"))] as const;
        return {
          peak: mean(column(later, "peakMilliamps")) / was,
          mean: mean(column(later, mA)) / mean(column(bodiesIn(before, "portion"), mA)),
        };
      });
    for (const { peak } of ratios("motorStalled")) expect(peak).toBeGreaterThan(0.75);
    expect(mean(ratios("motorStalled").map((ratio) => ratio.mean))).toBeGreaterThan(1.8);
    for (const ratio of ratios("motorWireOff")) expect(ratio.mean).toBeLessThan(0.3);
    for (const ratio of ratios("trayJammed")) expect(ratio.mean).toBeGreaterThan(1.05);
  });

  it("chuteBlind: food falls and nothing is counted; chuteDirty: it creeps until then", () => {
    for (const seed of seeds) {
      const blind = split(faulty("chuteBlind", seed));
      expect(Math.max(0, ...column(lateHalf(bodiesIn(blind.after, "portion")), "chuteCount"))).toBe(0);
      const dirty = split(faulty("chuteDirty", seed, { days: 24 }), 0);
      const counts = column(bodiesIn(dirty.after, "portion"), "chuteCount");
      expect(mean(counts.slice(0, Math.max(3, counts.length >> 4)))).toBeGreaterThan(0);
      expect(Math.max(0, ...lateHalf(lateHalf(counts)))).toBe(0);
    }
  });

  it("scaleStuck: the same or nearly; scaleDead: no reading", () => {
    for (const seed of seeds) {
      const stuck = readingsOf(split(faulty("scaleStuck", seed)).after).flatMap(({ hopper }) => hopper ?? []);
      const sorted = [...stuck].sort((a, b) => a - b);
      expect(stuck.length).toBeGreaterThan(100);
      expect((sorted.at(-1) ?? 0) - (sorted[0] ?? 0)).toBeLessThanOrEqual(20);
      expect(readingsOf(split(faulty("scaleDead", seed)).after).every(({ hopper }) => hopper === null)).toBe(true);
    }
  });

  it("buttonDead, perchDead: no more events of the kind", () => {
    for (const [kind, event] of [
      ["buttonDead", "press"],
      ["perchDead", "visit"],
    ] as const) {
      const counts = seeds.map((seed) => {
        const { before, after } = split(faulty(kind, seed), 3.5); // what waited on the feeder has arrived by then, mostly
        return [bodiesIn(before, event).length, bodiesIn(after, event).length] as const;
      });
      expect(mean(counts.map(([was]) => was))).toBeGreaterThan(20);
      expect(mean(counts.map(([, is]) => is))).toBeLessThan(2);
    }
  });

  it("buttonChatters: presses that no bird makes, also at night", () => {
    for (const seed of seeds) {
      const { before, after } = split(faulty("buttonChatters", seed));
      const nights = (moments: readonly WorldMoment[]) =>
        eventsOf(moments).filter(({ body, arrived }) => body.kind === "press" && !arrived.truth.daylight).length;
      expect(nights(after)).toBeGreaterThan(20 + 5 * nights(before));
    }
  });

  it("detectorDeaf: no cap is seen any more, a beam in the slot still sees", () => {
    const metal = seeds.map((seed) => bodiesIn(split(faulty("detectorDeaf", seed), 3.5).after, "deposit"));
    expect(metal.flat().filter((body) => body.metal === true).length).toBeLessThan(5);
    expect(metal.flat().filter((body) => body.chute === true).length).toBeGreaterThan(20);
  });

  it("paysNoMore: caps are found as before and none is paid", () => {
    const told = seedsTo(8).map((seed) => split(faulty("paysNoMore", seed), 3.5));
    const paid = (moments: readonly WorldMoment[]) =>
      bodiesIn(moments, "portion").filter(({ cause }) => cause === "deposit").length;
    expect(mean(told.map(({ before }) => paid(before)))).toBeGreaterThan(5);
    expect(mean(told.map(({ after }) => paid(after)))).toBeLessThan(0.5); // what waited on the feeder
    const caps = told.flatMap(({ after }) => bodiesIn(after, "deposit")).filter(({ metal }) => metal === true);
    expect(caps.length).toBeGreaterThan(40);
  });

  it("thermometerStuck: one stands still, while the weather goes on", () => {
    for (const seed of seeds) {
      const readings = readingsOf(split(faulty("thermometerStuck", seed)).after);
      const kinds = (["air", "inside", "lid"] as const).map(
        (name) => new Set(readings.flatMap((reading) => reading[name] ?? [])).size,
      );
      expect(kinds.filter((count) => count === 1)).toHaveLength(1);
    }
  });
});
