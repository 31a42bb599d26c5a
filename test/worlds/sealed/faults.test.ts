import { describe, expect, it } from "vitest";
import { type WorldFault, type WorldMoment, worldFaults } from "../world.ts";
import { Garden } from "./garden.ts";
import { sealedWorld } from "./sealedWorld.ts";
import { dayMs, hourMs } from "./sky.ts";
import {
  eventsOf,
  faultOn,
  mean,
  momentsOf,
  portionsOf,
  readingsOf,
  reportsOf,
  storyOf,
  type ToldEvent,
} from "./stories.ts";

/** Each planted fault shows in what is reported, and the same garden without it doesn't show it. */

const seeds = [2, 3, 4, 8, 11];
const days = 12;
const faultDay = 3;
const tellings = new Map<string, Told>();

interface Told {
  readonly since: number;
  readonly moments: readonly WorldMoment[];
  readonly after: readonly WorldMoment[]; // since the fault, or as long without it
  readonly before: readonly WorldMoment[];
}

function told(seed: number, kind: WorldFault | null): Told {
  const key = `${seed}/${kind}`;
  const known = tellings.get(key);
  if (known !== undefined) return known;
  const moments = momentsOf(storyOf({ seed, days, fault: kind === null ? null : faultOn(kind, faultDay) }));
  const since = (moments[0]?.line.at ?? 0) + faultDay * dayMs;
  const [before, after] = [
    moments.filter(({ line }) => line.at < since),
    moments.filter(({ line }) => line.at >= since),
  ];
  tellings.set(key, { since, moments, after, before });
  return { since, moments, after, before };
}

/** Events that happened later than that. */
const eventsSince = ({ moments, since }: Told, hours = 0): readonly ToldEvent[] =>
  eventsOf(moments).filter(({ happenedAt }) => happenedAt >= since + hours * hourMs);

const eventsBefore = ({ moments, since }: Told) => eventsOf(moments).filter(({ happenedAt }) => happenedAt < since);

const grown = (moments: readonly WorldMoment[], name: "portions" | "pieces" | "unfed" | "bouts") =>
  (moments.at(-1)?.truth[name] ?? 0) - (moments[0]?.truth[name] ?? 0);

const currents = (events: readonly ToldEvent[]) =>
  portionsOf(events).flatMap(({ meanCurrent, peakCurrent }) => {
    const current = meanCurrent ?? peakCurrent;
    return current === null ? [] : [current as number];
  });

describe("a planted fault", () => {
  it("changes nothing before it begins", () => {
    for (const kind of worldFaults) {
      const healthy = told(3, null).before;
      expect(told(3, kind).before).toEqual(healthy);
      expect(healthy.every(({ truth }) => truth.faultSince === null && truth.unfed === 0)).toBe(true);
    }
  });

  it("is in the truth from its begin on, and its runs without food are counted from then on", () => {
    for (const kind of worldFaults) {
      const { after, since } = told(3, kind);
      expect(after.every(({ truth }) => truth.faultSince === since)).toBe(true);
    }
    expect(told(3, null).after.every(({ truth }) => truth.faultSince === null)).toBe(true);
  });

  it("can be any: this world leaves none out", () => {
    expect(sealedWorld.neverPlants).toBeUndefined();
  });
});

describe.each(["trayJammed", "motorStalled", "motorWireOff"] as const)("%s", (kind) => {
  it("lets no piece fall and no gram go, though the motor is run", () => {
    for (const seed of seeds) {
      const { after } = told(seed, kind);
      const runs = grown(after, "portions");
      expect(runs).toBeGreaterThan(5);
      expect([grown(after, "pieces"), after.at(-1)?.truth.emptySince]).toEqual([0, null]);
      const grams = after.map(({ truth }) => truth.grams);
      expect(grams.every((each, index) => each >= (grams[index - 1] ?? each))).toBe(true);
      expect(Math.abs(grown(after, "unfed") - runs)).toBeLessThan(3);
      const counted = portionsOf(eventsSince(told(seed, kind), 1)).map(({ chuteCount }) => chuteCount ?? 0);
      expect(Math.max(...counted)).toBe(0);
      expect(grown(told(seed, null).after, "pieces")).toBeGreaterThan(50);
    }
  });
});

describe("the motor's current", () => {
  const ratios = (kind: WorldFault | null) =>
    seeds.flatMap((seed) => {
      const story = told(seed, kind);
      const [before, after] = [currents(eventsBefore(story)), currents(eventsSince(story, 1))];
      return before.length > 5 && after.length > 5 ? [mean(after) / mean(before)] : [];
    });

  it("stays where it was in a healthy feeder", () => {
    expect(ratios(null).length).toBeGreaterThan(2);
    for (const ratio of ratios(null)) expect(Math.abs(ratio - 1)).toBeLessThan(0.2);
  });

  it("rises against a jam, and more when stalled", () => {
    for (const ratio of ratios("trayJammed")) expect(ratio).toBeGreaterThan(1.02);
    for (const ratio of ratios("motorStalled")) expect(ratio).toBeGreaterThan(1.08);
    expect(mean(ratios("motorStalled"))).toBeGreaterThan(mean(ratios("trayJammed")));
  });

  it("is gone, but for the sensor's offset, with the wire off", () => {
    for (const ratio of ratios("motorWireOff")) expect(ratio).toBeLessThan(0.25);
  });
});

/** While there is food enough. */
function piecesPerRun(moments: readonly WorldMoment[]): number {
  const enough = 0.2 * Math.max(...moments.map(({ truth }) => truth.grams));
  const sum = { pieces: 0, runs: 0 };
  for (const [index, { truth }] of moments.entries()) {
    const before = moments[index - 1]?.truth;
    if (before === undefined || truth.grams < enough) continue;
    sum.pieces += truth.pieces - before.pieces;
    sum.runs += truth.portions - before.portions;
  }
  return sum.pieces / sum.runs;
}

describe("the food", () => {
  it("foodOut: runs out and isn't filled again, where a healthy one is", () => {
    let emptied = 0;
    for (const seed of seeds) {
      const grams = told(seed, "foodOut").after.map(({ truth }) => truth.grams);
      expect(grams.every((each, index) => each <= (grams[index - 1] ?? each))).toBe(true);
      emptied += told(seed, "foodOut").after.at(-1)?.truth.emptySince == null ? 0 : 1;
    }
    expect(emptied).toBeGreaterThan(1);
    const filled = seeds.filter((seed) => {
      const grams = told(seed, null).after.map(({ truth }) => truth.grams);
      return grams.some((each, index) => each > (grams[index - 1] ?? each) + 1);
    });
    expect(filled.length).toBeGreaterThan(1);
  });

  it("foodBridged: lies in the hopper and on the scale, and doesn't come down", () => {
    for (const seed of seeds) {
      const { after } = told(seed, "foodBridged");
      const late = after.slice(Math.floor(after.length * 0.6));
      expect(grown(late, "pieces")).toBe(0);
      expect(grown(late, "portions")).toBeGreaterThan(2);
      expect(grown(late, "unfed")).toBe(grown(late, "portions"));
      expect(late.at(-1)?.truth).toMatchObject({ emptySince: null });
      expect(late.at(-1)?.truth.grams).toBeGreaterThan(0);
    }
  });

  it("trayPartlyJammed: far less comes than before", () => {
    for (const seed of seeds) {
      const { before, after } = told(seed, "trayPartlyJammed");
      expect(piecesPerRun(after)).toBeLessThan(0.6 * piecesPerRun(before));
      expect(grown(after, "pieces")).toBeGreaterThan(0);
      const healthy = piecesPerRun(told(seed, null).after) / piecesPerRun(before);
      expect([healthy > 0.7, healthy < 1.4]).toEqual([true, true]);
    }
  });
});

describe("the chute", () => {
  const seen = (moments: readonly WorldMoment[]) => {
    const counts = reportsOf(moments).flatMap(({ report }) => {
      const { chute } = report.readings.counts;
      return chute === null ? [] : [{ boot: report.boot, chute }];
    });
    return counts.reduce((sum, { boot, chute }, index) => {
      const before = counts[index - 1];
      return before?.boot === boot ? sum + Math.max(0, chute - before.chute) : sum;
    }, 0);
  };
  const share = (moments: readonly WorldMoment[]) => seen(moments) / Math.max(1, grown(moments, "pieces"));

  it("chuteBlind: counts nothing while pieces fall", () => {
    for (const seed of seeds) {
      const { after } = told(seed, "chuteBlind");
      expect(grown(after, "pieces")).toBeGreaterThan(20);
      expect(portionsOf(eventsSince(told(seed, "chuteBlind"), 1)).every(({ chuteCount }) => !chuteCount)).toBe(true);
    }
  });

  it("chuteDirty: counts less and less within a week, then nothing", () => {
    let compared = 0;
    for (const seed of seeds) {
      const { after, since } = told(seed, "chuteDirty");
      const at = (day: number) => after.filter(({ line }) => Math.floor((line.at - since) / dayMs) === day);
      if (seen(at(0)) === 0) continue; // a feeder without running totals
      compared += 1;
      expect(share(at(0))).toBeGreaterThan(share(at(5)));
      expect(seen(at(8))).toBe(0);
      expect(grown(at(8), "pieces")).toBeGreaterThan(0);
    }
    expect(compared).toBeGreaterThan(2);
  });
});

describe("the scale", () => {
  const weighed = (moments: readonly WorldMoment[]) =>
    readingsOf(reportsOf(moments)).flatMap(({ hopperGrams }) => (typeof hopperGrams === "number" ? [hopperGrams] : []));

  it("scaleStuck: says the same, or nearly, while the food changes", () => {
    for (const seed of seeds) {
      const readings = weighed(told(seed, "scaleStuck").after);
      expect(readings.length).toBeGreaterThan(50);
      expect(Math.max(...readings) - Math.min(...readings)).toBeLessThanOrEqual(10);
      expect(new Set(readings).size).toBeLessThanOrEqual(3);
      expect(new Set(weighed(told(seed, null).after)).size).toBeGreaterThan(10);
    }
  });

  it("scaleDead: says nothing, or null", () => {
    for (const seed of seeds) {
      expect(weighed(told(seed, "scaleDead").after.slice(5))).toEqual([]);
      expect(weighed(told(seed, "scaleDead").before).length).toBeGreaterThan(50);
    }
  });
});

describe("slot, button, perch and thermometer", () => {
  const many = Array.from({ length: 9 }, (_, seed) => seed);
  const ofKind = (events: readonly ToldEvent[], kind: string) => events.filter((event) => event.kind === kind);

  it("detectorDeaf: no metal from then on; only a beam still sees what falls in", () => {
    const sum = { metal: 0, beam: 0, healthy: 0 };
    for (const seed of many) {
      const deposits = ofKind(eventsSince(told(seed, "detectorDeaf")), "deposit");
      for (const { content } of deposits) {
        if (content.kind !== "deposit") continue;
        sum.metal += content.metal === true ? 1 : 0;
        sum.beam += content.chute === true ? 1 : 0;
        if (content.chute === null) expect(content.metal).toBe(true); // without a beam it knows nothing else
      }
      sum.healthy += ofKind(eventsSince(told(seed, null)), "deposit").length;
    }
    expect(sum.metal).toBe(0);
    expect(sum.beam).toBeGreaterThan(10);
    expect(sum.healthy).toBeGreaterThan(200);
  });

  it("buttonDead and perchDead: no press and no visit, though birds come", () => {
    for (const seed of seeds) {
      const [dead, unseen, healthy] = [told(seed, "buttonDead"), told(seed, "perchDead"), told(seed, null)];
      expect(ofKind(eventsSince(dead), "press")).toEqual([]);
      expect(ofKind(eventsSince(unseen), "visit")).toEqual([]);
      expect(Math.min(grown(dead.after, "bouts"), grown(unseen.after, "bouts"))).toBeGreaterThan(5);
      expect(ofKind(eventsSince(healthy), "press").length).toBeGreaterThan(5);
      expect(ofKind(eventsSince(healthy), "visit").length).toBeGreaterThan(5);
    }
  });

  it("buttonChatters: bursts, by day and by night", () => {
    for (const seed of seeds) {
      const presses = (kind: WorldFault | null) =>
        ofKind(eventsSince(told(seed, kind)), "press").map((event) => event.happenedAt);
      const bursts = (times: readonly number[]) =>
        times.filter((at, index) => at - (times[index - 3] ?? Number.NEGATIVE_INFINITY) < 3_000).length;
      expect(bursts(presses("buttonChatters"))).toBeGreaterThan(20);
      expect(bursts(presses(null))).toBeLessThan(5);
      const hours = new Set(presses("buttonChatters").map((at) => Math.floor((at % dayMs) / hourMs)));
      expect(hours.size).toBeGreaterThan(20);
    }
  });

  it("thermometerStuck: one value for ever", () => {
    const air = (moments: readonly WorldMoment[]) =>
      new Set(
        readingsOf(reportsOf(moments)).flatMap(({ airCelsius }) =>
          typeof airCelsius === "number" ? [airCelsius] : [],
        ),
      );
    for (const seed of seeds) {
      expect(air(told(seed, "thermometerStuck").after.slice(3)).size).toBe(1);
      expect(air(told(seed, null).after).size).toBeGreaterThan(5);
    }
  });

  it("paysNoMore: deposits are seen and bring nothing; presses and free food go on", () => {
    const sum = { paid: 0, deposits: 0, others: 0, healthy: 0 };
    const paid = (events: readonly ToldEvent[]) => portionsOf(events).filter(({ cause }) => cause === "deposit").length;
    for (const seed of many) {
      const events = eventsSince(told(seed, "paysNoMore"), 0.1);
      sum.paid += paid(events);
      sum.deposits += ofKind(events, "deposit").length;
      sum.others += portionsOf(events).length;
      sum.healthy += paid(eventsSince(told(seed, null)));
    }
    expect(sum.paid).toBe(0);
    expect(Math.min(sum.deposits, sum.others, sum.healthy)).toBeGreaterThan(200);
  });
});

describe("any fault", () => {
  it("can be planted in a feeder that lacks the sensors for it", () => {
    const sensors = {
      ...storyOf({}).sensors,
      button: false,
      detector: false,
      chute: false,
      perch: false,
      scale: false,
    };
    for (const kind of worldFaults) {
      const garden = new Garden(storyOf({ seed: 5, sensors, fault: faultOn(kind, 1) }), { asksForFood: true });
      while (garden.agenda.step(garden.begin + 3 * dayMs));
      expect(garden.books.runs).toBeGreaterThan(5);
    }
  });
});
