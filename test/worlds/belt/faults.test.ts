import { describe, expect, it } from "vitest";
import { type WorldFault, type WorldMoment, worldFaults } from "../world.ts";
import { day, hour } from "./agenda.ts";
import { sunSine } from "./place.ts";
import { type Body, eventsOf, faultAt, mean, numbers, plant, play, readingsOf, seedsTo, tell } from "./told.ts";

const seeds = seedsTo(6);
const each = (kind: WorldFault, check: (planted: ReturnType<typeof plant>) => void, days?: number) => {
  for (const seed of seeds) check(plant(kind, seed, days));
};
const grew = (moments: readonly WorldMoment[], name: "pieces" | "portions" | "unfed" | "bouts") =>
  (moments.at(-1)?.truth[name] ?? 0) - (moments[0]?.truth[name] ?? 0);
const caused = (bodies: readonly Body[], cause: string) => bodies.filter((body) => body.cause === cause);
const ofMetal = (bodies: readonly Body[]) => bodies.filter(({ metal }) => metal === true);

describe("a planted fault of the belt world", () => {
  it.each(worldFaults)("changes nothing before its moment, and is true from then on: %s", (kind) => {
    for (const seed of [2, 9]) {
      const healthy = tell({ seed, days: 4 });
      const faulty = tell({ seed, days: 4, fault: { kind, at: faultAt } });
      const since = (healthy[0]?.line.at ?? 0) + faultAt;
      const early = faulty.filter(({ line }) => line.at < since);
      expect(early.length).toBeGreaterThan(700);
      expect(JSON.stringify(early)).toBe(JSON.stringify(healthy.slice(0, early.length)));
      const late = faulty.slice(early.length);
      expect(late.length).toBeGreaterThan(200);
      expect(late.every(({ truth }) => truth.faultSince === since)).toBe(true);
      expect(early.every(({ truth }) => truth.unfed === 0)).toBe(true);
    }
  });

  it.each(["trayJammed", "motorStalled", "motorWireOff"] as const)("%s: runs, and not one piece", (kind) => {
    let runs = 0;
    each(kind, ({ after }) => {
      expect(grew(after, "pieces")).toBeLessThan(4); // what hung at the edge
      expect(grew(after, "unfed")).toBe(grew(after, "portions"));
      expect(after.at(-1)?.truth.emptySince).toBeNull();
      runs += grew(after, "portions");
    });
    expect(runs).toBeGreaterThan(50);
  });

  it("the motor's current tells them apart: none, much more, or some more", () => {
    const ratios = (kind: WorldFault, name: string) =>
      seeds.flatMap((seed) => {
        const { bodiesBefore, bodiesAfter } = plant(kind, seed);
        const [was, is] = [numbers(bodiesBefore("portion"), name), numbers(bodiesAfter("portion"), name)];
        return was.length < 5 || is.length < 5 ? [] : [mean(is) / mean(was)];
      });
    for (const ratio of ratios("motorWireOff", "meanMilliamps")) expect(ratio).toBeLessThan(0.4);
    for (const ratio of ratios("motorStalled", "meanMilliamps")) expect(ratio).toBeGreaterThan(2);
    const jammed = ratios("trayJammed", "meanMilliamps");
    expect(jammed.length).toBeGreaterThan(3);
    for (const ratio of jammed) {
      expect(ratio).toBeGreaterThan(1.1);
      expect(ratio).toBeLessThan(4);
    }
  });

  it("trayPartlyJammed: far less comes, and not nothing", () => {
    const shares: number[] = [];
    each("trayPartlyJammed", ({ before, after }) => {
      if (grew(after, "portions") < 30 || grew(before, "portions") < 30) return;
      const a = (moments: readonly WorldMoment[]) => grew(moments, "pieces") / grew(moments, "portions");
      shares.push(a(after) / a(before));
    });
    expect(shares.length).toBeGreaterThan(2);
    expect(Math.min(...shares)).toBeGreaterThan(0);
    expect(Math.max(...shares)).toBeLessThan(0.65);
  });

  it("foodBridged: the hopper keeps its food, and after what was below and on the belt nothing comes", () => {
    let dry = 0;
    each(
      "foodBridged",
      ({ before, after }) => {
        const last = after.at(-1)?.truth;
        expect(last?.grams).toBeGreaterThan(0);
        expect(last?.emptySince).toBeNull();
        const tail = after.slice(-300);
        if (grew(after, "portions") < 60) return;
        expect(grew(tail, "pieces")).toBe(0);
        expect(last?.grams).toBeGreaterThan(0.2 * Math.max(...before.map(({ truth }) => truth.grams)));
        dry += 1;
      },
      14,
    );
    expect(dry).toBeGreaterThan(2);
  });

  it("foodOut: nobody pours any more, not even the neighbour", () => {
    for (const seed of seedsTo(8)) {
      const { after } = plant("foodOut", seed, 30);
      const grams = after.map(({ truth }) => truth.grams);
      expect(grams.filter((now, index) => now > (grams[index - 1] ?? now) + 1e-6)).toEqual([]);
    }
  });

  it("chuteBlind: nothing is counted, though pieces fall", () => {
    each("chuteBlind", ({ before, after, bodiesAfter, bodiesBefore }) => {
      expect(Math.max(...numbers(bodiesBefore("portion"), "chuteCount"))).toBeGreaterThan(0);
      expect(Math.max(0, ...numbers(bodiesAfter("portion"), "chuteCount"))).toBe(0);
      if (grew(before, "portions") > 20) expect(grew(after, "pieces")).toBeGreaterThan(0);
    });
  });

  it("chuteDirty: counts less and less, and nothing after a week", () => {
    let checked = 0;
    for (const seed of seeds) {
      const moments = tell({ seed, days: 13, fault: { kind: "chuteDirty", at: faultAt } });
      const begin = (moments[0]?.line.at ?? 0) + faultAt;
      const counts = (from: number, to: number) =>
        numbers(
          eventsOf(moments).flatMap(({ at, body }) =>
            at >= begin + from * day && at < begin + to * day ? [body] : [],
          ),
          "chuteCount",
        );
      expect(Math.max(0, ...counts(7.1, 10))).toBe(0);
      if (counts(-3, 0).length < 20 || counts(3, 7).length < 20) continue;
      expect(mean(counts(3, 7))).toBeLessThan(0.6 * mean(counts(-3, 0)));
      checked += 1;
    }
    expect(checked).toBeGreaterThan(2);
  });

  it("scaleStuck: the same or nearly; scaleDead: null or left out", () => {
    const kinds = new Set<boolean>();
    for (const seed of seedsTo(10)) {
      const shown = numbers(readingsOf(plant("scaleStuck", seed, 4).after), "hopperGrams");
      expect(shown.length).toBeGreaterThan(100);
      expect(Math.max(...shown) - Math.min(...shown)).toBeLessThanOrEqual(2);
      const dead = readingsOf(plant("scaleDead", seed, 4).after);
      expect(dead.length).toBeGreaterThan(100);
      expect(dead.every(({ hopperGrams }) => (hopperGrams ?? null) === null)).toBe(true);
      for (const reading of dead) kinds.add("hopperGrams" in reading);
    }
    expect(kinds).toEqual(new Set([true, false]));
  });

  it("detectorDeaf: no deposit is metal, and the slot's beam still sees them", () => {
    let [metal, beams] = [0, 0];
    each("detectorDeaf", ({ bodiesBefore, bodiesAfter }) => {
      metal += ofMetal(bodiesBefore("deposit")).length;
      expect(ofMetal(bodiesAfter("deposit"))).toEqual([]);
      expect(caused(bodiesAfter("portion"), "deposit")).toEqual([]);
      beams += bodiesAfter("deposit").filter(({ chute }) => chute === true).length;
    });
    expect(metal).toBeGreaterThan(50);
    expect(beams).toBeGreaterThan(20);
  });

  it("buttonDead and perchDead: no press, no visit, and birds still come", () => {
    for (const [kind, event] of [
      ["buttonDead", "press"],
      ["perchDead", "visit"],
    ] as const) {
      let [was, came] = [0, 0];
      each(kind, ({ after, bodiesBefore, bodiesAfter }) => {
        was += bodiesBefore(event).length;
        came += grew(after, "bouts");
        expect(bodiesAfter(event)).toEqual([]);
      });
      expect(was).toBeGreaterThan(50);
      expect(came).toBeGreaterThan(50);
    }
  });

  it("buttonChatters: bursts that no bird makes, by night as by day", () => {
    const hours = new Set<number>();
    for (const seed of seeds) {
      const { moments, since } = plant("buttonChatters", seed);
      const presses = eventsOf(moments).filter(({ body }) => body.kind === "press");
      const late = presses.filter(({ at }) => at > since);
      for (const { at } of late) hours.add(Math.floor(at / hour) % 24);
      const { place } = play({ seed, days: 0.01 }).parts;
      const byNight = (some: typeof presses) => some.filter(({ at }) => sunSine(at, place) < -0.2).length;
      const before = presses.length - late.length;
      expect(late.length).toBeGreaterThan(20 + before);
      if (Math.abs(place.latitude) < 60) expect(byNight(late)).toBeGreaterThan(5);
    }
    expect(hours.size).toBe(24);
  });

  it("thermometerStuck: one stands still while the weather goes on", () => {
    each("thermometerStuck", ({ after, before }) => {
      const names = ["airCelsius", "insideCelsius", "lidCelsius"];
      const stuck = (moments: readonly WorldMoment[]) =>
        names.filter((name) => new Set(numbers(readingsOf(moments), name)).size === 1);
      expect(stuck(after)).toHaveLength(1);
      expect(stuck(before)).toHaveLength(0);
    });
  });

  it("paysNoMore: caps are found as before and none is paid; other portions go on", () => {
    const counts = { paidBefore: 0, presses: 0, caps: 0, promised: 0 };
    for (const seed of seedsTo(16)) {
      const { bodiesBefore, bodiesAfter } = plant("paysNoMore", seed);
      expect(caused(bodiesAfter("portion"), "deposit")).toEqual([]);
      counts.paidBefore += caused(bodiesBefore("portion"), "deposit").length;
      counts.presses += caused(bodiesAfter("portion"), "press").length + caused(bodiesAfter("portion"), "timer").length;
      counts.caps += ofMetal(bodiesAfter("deposit")).length;
      counts.promised += bodiesAfter("deposit").filter(({ earns }) => earns === true).length;
    }
    for (const count of Object.values(counts)) expect(count).toBeGreaterThan(20);
  });
});
