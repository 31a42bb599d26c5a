import { describe, expect, it } from "vitest";
import { logLineSchemas } from "../../../server/contract/feederLog.ts";
import { isoOf } from "../../../server/domain/instant.ts";
import type { WorldSensors } from "../world.ts";
import { Garden } from "./garden.ts";
import { sealedWorld } from "./sealedWorld.ts";
import { dayMs } from "./sky.ts";
import { allFitted, eventsOf, faultOn, momentsOf, problemsOf, readingsOf, reportsOf, storyOf } from "./stories.ts";

const seeds = [1, 2, 3, 4, 5, 6, 7, 8];
const names = Object.keys(allFitted) as (keyof WorldSensors)[];
const subsets = Array.from(
  { length: 2 ** names.length },
  (_, bits) =>
    Object.fromEntries(names.map((name, index) => [name, (bits & (1 << index)) !== 0])) as unknown as WorldSensors,
);

describe("a story", () => {
  it("gives the same lines and truths each time it is told", () => {
    for (const seed of seeds.slice(0, 4)) {
      expect(momentsOf(storyOf({ seed, days: 6 }))).toEqual(momentsOf(storyOf({ seed, days: 6 })));
    }
  });

  it("gives other lines with another seed", () => {
    const [one, other] = [momentsOf(storyOf({ seed: 1, days: 1 })), momentsOf(storyOf({ seed: 2, days: 1 }))];
    expect(one).not.toEqual(other);
  });

  it("begins with the settings and the first food, and goes on in order of time", () => {
    for (const seed of seeds) {
      const moments = momentsOf(storyOf({ seed }));
      expect(moments[0]?.line.kind).toBe("settings");
      expect(moments[1]?.line).toMatchObject({ kind: "keeper", act: { refill: {} } });
      const times = moments.map(({ line }) => line.at as number);
      expect(times).toEqual(times.toSorted((a, b) => a - b));
      expect(moments.every(({ line, truth }) => line.at === truth.at)).toBe(true);
    }
  });

  it.each([30, 60, 300] as const)("has a report each %i s but for those that are lost", (reportEverySeconds) => {
    const counts = seeds.map((seed) => reportsOf(momentsOf(storyOf({ seed, days: 2, reportEverySeconds }))).length);
    const all = (2 * dayMs) / (reportEverySeconds * 1_000);
    expect(Math.max(...counts)).toBeLessThan(1.15 * all);
    expect(Math.max(...counts)).toBeGreaterThan(0.97 * all);
    expect(counts.filter((count) => count > 0.7 * all).length).toBeGreaterThan(5);
  });

  it("has every place, several dispensers and the seasons among its seeds", () => {
    const gardens = Array.from({ length: 60 }, (_, seed) => new Garden(storyOf({ seed }), { asksForFood: false }));
    expect(new Set(gardens.map(({ machine }) => machine.dispenser.build.kind.name)).size).toBe(6);
    const zones = gardens.map(({ moments }) => {
      const [first] = moments;
      return first?.line.kind === "settings" ? first.line.settings.place?.latitudeDegrees : undefined;
    });
    expect([45, 59.5, 68, -35].every((latitude) => zones.includes(latitude))).toBe(true);
    expect(new Set(gardens.map(({ begin }) => new Date(begin).getUTCMonth())).size).toBeGreaterThan(9);
  });
});

describe("every report", () => {
  it("is read whole by the contract, with any sensors", () => {
    for (const [seed, sensors] of subsets.entries()) {
      const reports = reportsOf(momentsOf(storyOf({ seed, sensors, days: 1 })));
      expect(reports.length).toBeGreaterThan(0);
      expect(problemsOf(reports)).toEqual([]);
    }
  });

  it("is read whole over many gardens, also with each fault's odd values", () => {
    for (let seed = 100; seed < 130; seed += 1) {
      const fault = faultOn(seed % 2 === 0 ? "motorStalled" : "buttonChatters", 1);
      expect(problemsOf(reportsOf(momentsOf(storyOf({ seed, fault, days: 3 }))))).toEqual([]);
    }
  });

  it("has nothing of a sensor that isn't fitted, nor is one in the settings", () => {
    for (const [seed, sensors] of subsets.entries()) expect(foreign(seed, sensors)).toEqual([]);
  });

  it("has all that is fitted, in one garden or another", () => {
    const told = seeds.flatMap((seed) => [momentsOf(storyOf({ seed, days: 6 }))]);
    const kinds = new Set(told.flatMap((moments) => eventsOf(moments).map(({ kind }) => kind)));
    expect([...kinds]).toEqual(expect.arrayContaining(["portion", "press", "deposit", "visit"]));
    const readings = new Set(told.flatMap((moments) => readingsOf(reportsOf(moments)).flatMap(Object.keys)));
    const usual = [
      "hopperGrams",
      "airCelsius",
      "insideCelsius",
      "supplyVolts",
      "signalDbm",
      "spooled",
      "counts",
      "paused",
    ];
    expect([...readings]).toEqual(expect.arrayContaining(usual));
    const fields = new Set(told.flatMap((moments) => eventsOf(moments).flatMap(({ body }) => Object.keys(body))));
    const stated = [
      "motorMs",
      "meanMilliamps",
      "peakMilliamps",
      "chuteCount",
      "paysFor",
      "earns",
      "metal",
      "signal",
      "chute",
    ];
    expect([...fields]).toEqual(expect.arrayContaining(stated));
  });
});

/** What a feeder with these sensors tells that it can't know. */
function foreign(seed: number, sensors: WorldSensors): readonly string[] {
  const moments = momentsOf(storyOf({ seed, sensors, days: 1 }));
  const found: string[] = [];
  const events = eventsOf(moments);
  const fields = new Set(events.filter(({ kind }) => kind === "portion").flatMap(({ body }) => Object.keys(body)));
  const kinds = new Set(events.map(({ kind }) => kind));
  const readings = readingsOf(reportsOf(moments));
  const counts = new Set(readings.flatMap((each) => Object.keys(each.counts ?? {})));
  const says = (isFitted: boolean, isSaid: boolean, what: string) => {
    if (!isFitted && isSaid) found.push(what);
  };
  says(sensors.button, kinds.has("press") || counts.has("button"), "button");
  says(sensors.detector, kinds.has("deposit") || counts.has("detector"), "detector");
  says(sensors.perch, kinds.has("visit") || counts.has("perch"), "perch");
  says(sensors.chute, fields.has("chuteCount") || counts.has("chute"), "chute");
  says(
    sensors.scale,
    readings.some((each) => Object.hasOwn(each, "hopperGrams")),
    "scale",
  );
  says(sensors.motorCurrent, fields.has("meanMilliamps") || fields.has("peakMilliamps"), "motorCurrent");
  says(sensors.portionEvents, kinds.has("portion"), "portionEvents");
  const [first] = moments;
  const { button, detector, chute, perch, scale } = sensors;
  if (first?.line.kind !== "settings") throw new Error("expected the settings first");
  expect(first.line.settings.sensors).toEqual({ button, detector, chute, perch, scale });
  return found;
}

describe("the other lines", () => {
  it("are such as a log may hold: settings and what the keeper does", () => {
    const acts = new Set<string>();
    for (let seed = 0; seed < 16; seed += 1) {
      for (const { line } of momentsOf(storyOf({ seed, days: 20 }))) {
        const common = { at: isoOf(line.at), feeder: line.feeder };
        if (line.kind === "settings") logLineSchemas.settings.parse({ ...common, settings: line.settings });
        if (line.kind !== "keeper") continue;
        logLineSchemas.keeper.parse({ ...common, keeper: line.act });
        for (const act of Object.keys(line.act)) acts.add(act);
      }
    }
    expect([...acts].toSorted()).toEqual(["by", "cleaned", "pause", "refill", "resume"]);
  });
});

describe("events", () => {
  const told = seeds.map((seed) => momentsOf(storyOf({ seed, days: 16 })));

  it("count from 1 within a boot, without a gap where the first arrive at all", () => {
    let boots = 0;
    for (const moments of told) {
      const events = eventsOf(moments);
      for (const boot of new Set(events.map((event) => event.boot))) {
        const numbers = events.flatMap((event) => (event.boot === boot ? [event.seq] : [])).toSorted((a, b) => a - b);
        expect(numbers).toEqual(numbers.map((_, index) => index + 1));
        boots += 1;
      }
    }
    expect(boots).toBeGreaterThan(seeds.length); // some have restarted
  });

  it("stay the same when they are sent again, and some are", () => {
    let repeats = 0;
    const changed: string[] = [];
    for (const moments of told) {
      const seen = new Map<string, string>();
      for (const { report } of reportsOf(moments)) {
        for (const { seq, body } of report.events) {
          const key = `${report.boot}/${seq}`;
          const text = JSON.stringify(body);
          if (seen.has(key)) repeats += 1;
          if ((seen.get(key) ?? text) !== text) changed.push(key);
          seen.set(key, text);
        }
      }
    }
    expect(changed).toEqual([]);
    expect(repeats).toBeGreaterThan(0);
  });

  it("pay for an act that was reported, and counts never fall within a boot", () => {
    let falls = 0;
    for (const moments of told) {
      const events = eventsOf(moments);
      const acts = new Set(events.filter(({ kind }) => kind !== "portion").map(({ boot, seq }) => `${boot}/${seq}`));
      const unknown = events.filter(
        ({ content, boot }) =>
          content.kind === "portion" && content.paysFor !== null && !acts.has(`${boot}/${content.paysFor}`),
      );
      expect(unknown).toEqual([]);
      const last = new Map<string, number>();
      for (const { report } of reportsOf(moments)) {
        const button = report.readings.counts.button ?? last.get(report.boot) ?? 0;
        falls += button < (last.get(report.boot) ?? 0) ? 1 : 0;
        last.set(report.boot, button);
      }
    }
    expect(falls).toBe(0);
  });

  it("that an earlier boot left behind come without uptime and without readings", () => {
    const many = Array.from({ length: 24 }, (_, seed) => momentsOf(storyOf({ seed, days: 8 })));
    const old = many.flatMap((moments) => reportsOf(moments).filter(({ report }) => report.sentUptime === null));
    expect(old.length).toBeGreaterThan(0);
    for (const { report } of old) {
      expect(report.events.length).toBeGreaterThan(0);
      expect(Object.values(report.readings).filter((value) => typeof value === "number")).toEqual([]);
    }
  });
});

describe("the truth", () => {
  it("only grows in runs, pieces and bouts", () => {
    for (const seed of seeds) {
      const truths = momentsOf(storyOf({ seed, days: 10 })).map(({ truth }) => truth);
      const grows = (name: "portions" | "pieces" | "bouts") =>
        truths.every((truth, index) => truth[name] >= (truths[index - 1] ?? truth)[name]);
      expect([grows("portions"), grows("pieces"), grows("bouts")]).toEqual([true, true, true]);
      expect(Math.min(...truths.map(({ grams }) => grams))).toBeGreaterThanOrEqual(0);
      expect(truths.at(-1)?.bouts).toBeGreaterThan(0);
    }
  });

  it("has balanced books: what was filled, less what was given and the rest in corners, is the level", () => {
    for (const seed of seeds) {
      const phone = { asksForFood: true };
      const garden = new Garden(storyOf({ seed }), phone);
      let worst = 0;
      while (garden.agenda.step(garden.begin + 15 * dayMs)) {
        const { filled, given, rest, usable } = garden.hopper;
        worst = Math.max(worst, Math.abs(filled - given - rest - usable));
      }
      expect(worst).toBeLessThan(1e-6);
      expect(garden.hopper.given).toBeGreaterThan(0);
    }
  });

  it("knows since when it is empty: from the first run for which there was no food until the refill", () => {
    let emptied = 0;
    for (const seed of seeds) {
      const truths = momentsOf(storyOf({ seed, days: 30, refills: "never" })).map(({ truth }) => truth);
      const empty = truths.filter(({ emptySince }) => emptySince !== null);
      expect(empty.filter(({ emptySince, grams, at }) => grams > 0 || (emptySince ?? 0) > at)).toEqual([]);
      const since = truths.findIndex(({ emptySince }) => emptySince !== null);
      if (since === -1) continue;
      emptied += 1;
      const after = truths.slice(since);
      expect(after.every(({ emptySince }) => emptySince === after[0]?.emptySince)).toBe(true);
      expect(after.at(-1)?.pieces).toBe(after[0]?.pieces);
      expect(truths[since - 1]?.portions).toBeLessThan(after[0]?.portions ?? 0);
    }
    expect(emptied).toBeGreaterThan(4);
  });

  it("has the mean of a day's portions as what left the hopper", () => {
    for (const seed of seeds) {
      const truths = momentsOf(storyOf({ seed, days: 3, refills: "never" })).map(({ truth }) => truth);
      const last = truths.at(-1);
      const dayAgo = truths.findLast(({ at }) => at <= (last?.at ?? 0) - dayMs);
      if (last === undefined || dayAgo === undefined) throw new Error("expected three days");
      const runs = last.portions - dayAgo.portions;
      if (runs < 5) continue;
      expect(last.portionGrams).toBeCloseTo((dayAgo.grams - last.grams) / runs, -0.3);
    }
  });
});

describe("the keeper", () => {
  const pours = (truths: readonly { readonly grams: number }[]) =>
    truths.filter(({ grams }, index) => grams > (truths[index - 1]?.grams ?? grams) + 1).length;

  it("refills when the phone asks, and never otherwise", () => {
    for (const seed of seeds.slice(0, 4)) {
      const never = momentsOf(storyOf({ seed, days: 12, refills: "never" })).map(({ truth }) => truth);
      expect(pours(never)).toBe(0);
      const silent = [...sealedWorld.tell(storyOf({ seed, days: 12 }), { asksForFood: false })];
      expect(pours(silent.map(({ truth }) => truth))).toBe(0);
    }
    const asked = seeds.map((seed) => pours(momentsOf(storyOf({ seed, days: 25 })).map(({ truth }) => truth)));
    expect(asked.filter((count) => count > 0).length).toBeGreaterThan(5);
  });

  it("tells of most refills and not of all, some late and with their time", () => {
    let [poured, told, late] = [0, 0, 0];
    for (let seed = 0; seed < 12; seed += 1) {
      const moments = momentsOf(storyOf({ seed, days: 25 }));
      poured += pours(moments.map(({ truth }) => truth));
      for (const { line } of moments.slice(2)) {
        if (line.kind !== "keeper" || line.act.refill === undefined) continue;
        told += 1;
        const { at } = line.act.refill;
        if (at === undefined) continue;
        late += 1;
        expect(Date.parse(at)).toBeLessThanOrEqual(line.at);
      }
    }
    expect(told / poured).toBeGreaterThan(0.6);
    expect(told / poured).toBeLessThan(1.3);
    expect(late).toBeGreaterThan(5);
  });
});
