import { describe, expect, it } from "vitest";
import { readLine } from "../../../server/replay/logLine.ts";
import type { WorldSensors } from "../world.ts";
import { day, hour } from "./agenda.ts";
import { beltWorld } from "./beltWorld.ts";
import { Chance } from "./chance.ts";
import { drawRecording } from "./rules.ts";
import {
  allSensors,
  eventsOf,
  faultAt,
  mean,
  numbers,
  play,
  readingsOf,
  reportOf,
  seedsTo,
  tell,
  textOf,
} from "./told.ts";

describe("a story of the belt world", () => {
  it("is named belt, and gives the same lines and truth each time, others from another seed", () => {
    const text = (seed: number) => JSON.stringify(tell({ seed, days: 3, fault: { kind: "buttonChatters", at: day } }));
    expect(beltWorld.name).toBe("belt");
    expect(beltWorld.neverPlants ?? []).toEqual([]);
    expect(text(5)).toBe(text(5));
    expect(text(5)).not.toBe(text(6));
  });

  it("has only lines that the replay reads, in time order, with nothing refused", () => {
    const problems: string[] = [];
    let lines = 0;
    for (const seed of seedsTo(16)) {
      let before = 0;
      const fault = { kind: seed % 2 === 0 ? "motorStalled" : "scaleDead", at: faultAt } as const;
      for (const moment of tell({ seed, days: 8, fault })) {
        const { line, truth } = moment;
        const text = textOf(line);
        const read = readLine(text);
        const isSame = read.kind === "read" && read.line.kind === line.kind && read.line.at === line.at;
        const report = reportOf(moment);
        const doubts = report === null ? [] : [...report.refused, ...report.rejectedReadings, ...report.unknownNames];
        if (!isSame || doubts.length > 0 || line.at < before || truth.at !== line.at) problems.push(text);
        before = line.at;
        lines += 1;
      }
    }
    expect(problems).toEqual([]);
    expect(lines).toBeGreaterThan(30_000);
  }, 60_000);

  it("numbers the events of each start without a gap, in the order in which they were recorded", () => {
    for (const seed of seedsTo(6)) {
      const next = new Map<string, number>();
      let seen = 0;
      for (const moment of tell({ seed, days: 20 })) {
        const report = reportOf(moment);
        for (const { seq } of report?.events ?? []) {
          const boot = report?.boot ?? "";
          const last = next.get(boot) ?? 0;
          if (seq === last + 1) next.set(boot, seq);
          else expect(seq).toBeLessThanOrEqual(last); // sent again
          seen += 1;
        }
      }
      expect(seen).toBeGreaterThan(50);
    }
  });

  it("has restarts, gaps, repeated events, late ones and wrong clocks", () => {
    let [boots, gaps, repeats, late] = [0, 0, 0, 0];
    for (const seed of seedsTo(10)) {
      const [known, starts] = [new Set<string>(), new Set<string>()];
      let before = 0;
      for (const moment of tell({ seed, days: 30 })) {
        const report = reportOf(moment);
        if (report === null) continue;
        if (before > 0 && moment.line.at - before > hour) gaps += 1;
        before = moment.line.at;
        starts.add(report.boot);
        for (const { seq, uptime } of report.events) {
          const name = `${report.boot} ${seq}`;
          if (known.has(name)) repeats += 1;
          else if (report.sentUptime !== null && report.sentUptime - uptime > hour) late += 1;
          known.add(name);
        }
      }
      boots += starts.size;
    }
    expect(boots).toBeGreaterThan(13);
    expect(gaps).toBeGreaterThan(4);
    expect(repeats).toBeGreaterThan(10);
    expect(late).toBeGreaterThan(20);
  }, 60_000);

  it("has keepers who refill with and without a word, and none where nobody shall", () => {
    const told = { grams: 0, filled: 0, levelGrams: 0, late: 0, untold: 0, cleaned: 0 };
    for (const seed of seedsTo(14)) {
      const moments = tell({ seed, days: 30 });
      let words = 0;
      for (const { line } of moments) {
        if (line.kind !== "keeper") continue;
        if (line.act.cleaned !== undefined) told.cleaned += 1;
        const { refill } = line.act;
        if (refill === undefined) continue;
        words += 1;
        if (refill.grams !== undefined) told.grams += 1;
        if (refill.filled !== undefined) told.filled += 1;
        if (refill.levelGrams !== undefined) told.levelGrams += 1;
        if (refill.at !== undefined) told.late += 1;
      }
      told.untold += Math.max(0, poursIn(moments.map(({ truth }) => truth.grams)) + 1 - words);
      const never = tell({ seed, days: 20, refills: "never" });
      expect(poursIn(never.map(({ truth }) => truth.grams))).toBe(0);
    }
    for (const count of Object.values(told)) expect(count).toBeGreaterThan(0);
  }, 120_000);

  it("lets the hopper run out where nobody refills, says since when, and gives hardly anything then", () => {
    let empty = 0;
    for (const seed of seedsTo(8)) {
      const moments = tell({ seed, days: 60, refills: "never" });
      const out = moments.filter(({ truth }) => truth.emptySince !== null);
      if (out.length < 100) continue;
      empty += 1;
      const first = out[0]?.truth;
      expect(first?.emptySince).toBeLessThanOrEqual(first?.at ?? 0);
      expect(new Set(out.map(({ truth }) => truth.emptySince)).size).toBe(1);
      for (const { truth } of out) expect(truth.grams).toBeLessThan(5);
      const fell = (out.at(-1)?.truth.pieces ?? 0) - (first?.pieces ?? 0);
      expect(fell).toBeLessThan(80); // a crumb for a portion at most
    }
    expect(empty).toBeGreaterThan(3);
  }, 60_000);
});

describe("a feeder's sensors", () => {
  const names = Object.keys(allSensors) as readonly (keyof WorldSensors)[];
  const words: Readonly<Record<keyof WorldSensors, readonly string[]>> = {
    button: ['"kind":"press"', '"cause":"press"', '"button":'],
    detector: ['"kind":"deposit"', '"cause":"deposit"', '"detector":'],
    chute: ['"chuteCount"', '"chute":0', '"chute":1'],
    perch: ['"kind":"visit"', '"perch":'],
    scale: ['"hopperGrams"'],
    motorCurrent: ['"meanMilliamps"', '"peakMilliamps"'],
    portionEvents: ['"kind":"portion"'],
  };

  it.each(names)("never appear in reports or settings where they aren't fitted: %s", (missing) => {
    const moments = (sensors: WorldSensors) => seedsTo(4).flatMap((seed) => tell({ seed, days: 3, sensors }));
    const text = (sensors: WorldSensors) =>
      moments(sensors)
        .filter(({ line }) => line.kind === "report")
        .map(({ line }) => textOf(line))
        .join("\n");
    const [withIt, without] = [text(allSensors), text({ ...allSensors, [missing]: false })];
    expect(words[missing].some((word) => withIt.includes(word))).toBe(true);
    expect(words[missing].filter((word) => without.includes(word))).toEqual([]);
    const [first] = tell({ days: 1, sensors: { ...allSensors, [missing]: false } });
    const sensors = first?.line.kind === "settings" ? (first.line.settings.sensors ?? {}) : {};
    expect(Object.entries(sensors).filter(([name, isFitted]) => name === missing && isFitted)).toEqual([]);
    expect(Object.values(sensors)).toContain(true);
  });

  it("can be the scale alone, on a feeder that gives by the clock", () => {
    const bare = Object.fromEntries(names.map((name) => [name, name === "scale"])) as unknown as WorldSensors;
    const moments = tell({ days: 8, sensors: bare });
    expect(eventsOf(moments).filter(({ body }) => body.kind !== "lid" && body.kind !== "refill")).toEqual([]);
    expect(moments.at(-1)?.truth.portions).toBeGreaterThan(30);
    expect(numbers(readingsOf(moments), "hopperGrams").length).toBeGreaterThan(1_000);
  });
});

describe("a healthy feeder", () => {
  it("gives few empty portions while there is plenty, and a portion as it was built, on average", () => {
    const shares = seedsTo(24).map((seed) => {
      const runs = { all: 0, empty: 0, grams: 0 };
      let [before, given, pieces] = [0, 0, 0];
      const { parts } = play({ seed, days: 15 }, ({ parts: { account, silo, begin } }) => {
        const truth = account.truth(begin);
        if (account.runs > before && silo.givable > 0.3 * silo.capacity) {
          runs.all += account.runs - before;
          runs.grams += account.givenGrams - given;
          if (truth.pieces === pieces) runs.empty += account.runs - before;
        }
        [before, given, pieces] = [account.runs, account.givenGrams, truth.pieces];
      });
      return { empty: runs.empty / runs.all, size: runs.grams / runs.all / parts.belt.portionGrams };
    });
    const empties = shares.map(({ empty }) => empty).filter((share) => !Number.isNaN(share));
    expect(empties.length).toBeGreaterThan(18);
    expect(mean(empties)).toBeGreaterThan(0.001);
    expect(mean(empties)).toBeLessThan(0.04);
    expect(Math.max(...empties)).toBeLessThan(0.15);
    const sizes = shares.map(({ size }) => size).filter((size) => !Number.isNaN(size));
    expect(Math.min(...sizes)).toBeGreaterThan(0.5);
    expect(Math.max(...sizes)).toBeLessThan(3.2); // three times the way, where it counts until it is enough
  }, 60_000);

  it("records each run, and its cell and counter tell of what is true", () => {
    let [feeders, close] = [0, 0];
    for (const seed of seedsTo(20)) {
      const moments = tell({ seed, days: 6 });
      const boots = new Set(moments.flatMap((moment) => reportOf(moment)?.boot ?? []));
      const reports = moments.filter((moment) => reportOf(moment) !== null);
      if (boots.size > 1 || reports.length < 1_700) continue; // what was lost or still waits can't be counted
      feeders += 1;
      const portions = eventsOf(moments).flatMap(({ body }) => (body.kind === "portion" ? [body] : []));
      const truth = moments.at(-1)?.truth;
      expect(portions.length).toBeLessThanOrEqual(truth?.portions ?? 0);
      expect(portions.length).toBeGreaterThan((truth?.portions ?? 0) - 4);
      const counted = numbers(portions, "chuteCount").reduce((sum, count) => sum + count, 0);
      expect(counted).toBeLessThan(1.35 * (truth?.pieces ?? 0) + 3);
      const errors = reports.flatMap((moment) => {
        const shown = reportOf(moment)?.readings.hopper ?? null;
        return shown === null ? [] : [Math.abs(shown - moment.truth.gramsOnScale)];
      });
      errors.sort((a, b) => a - b);
      if ((errors[errors.length >> 1] ?? Number.NaN) < 150) close += 1;
    }
    expect(feeders).toBeGreaterThan(6);
    expect(close / feeders).toBeGreaterThan(0.8);
  }, 60_000);

  it("pays what it promises, but for a power cut in between", () => {
    let [promises, kept] = [0, 0];
    const promising = seedsTo(80).filter((seed) => {
      const { earns, paysFor } = drawRecording(new Chance(seed, "recording"));
      return earns && paysFor;
    });
    for (const seed of promising) {
      const events = eventsOf(tell({ seed, days: 4 })).map(({ body }) => body);
      const paid = new Set(events.map(({ paysFor }) => paysFor));
      const promised = events.filter(({ earns }) => earns === true);
      promises += promised.length;
      kept += promised.filter(({ seq }) => paid.has(seq)).length;
    }
    expect(promises).toBeGreaterThan(200);
    expect(kept / promises).toBeGreaterThan(0.97);
  }, 60_000);

  it("sees birds by day only, anchored at the sun, and days without any", () => {
    const counts: number[] = [];
    for (const seed of seedsTo(12)) {
      let bouts = 0;
      const perDay = new Map<number, number>();
      for (const { truth } of tell({ seed, days: 30 })) {
        if (truth.bouts > bouts) expect(truth.daylight || truth.bouts - bouts < 4).toBe(true);
        const today = Math.floor(truth.at / day);
        perDay.set(today, (perDay.get(today) ?? 0) + truth.bouts - bouts);
        bouts = truth.bouts;
      }
      counts.push(...[...perDay.values()].slice(1, -1));
    }
    expect(counts.filter((count) => count === 0).length).toBeGreaterThan(0);
    expect(Math.max(...counts)).toBeGreaterThan(20);
    const center = mean(counts);
    const variance = mean(counts.map((count) => (count - center) ** 2));
    expect(variance / center).toBeGreaterThan(2); // far more uneven than chance alone: Poisson's would be 1
  }, 60_000);

  it("runs through a year at each place", () => {
    const zones = new Set<string>();
    for (const seed of seedsTo(20)) zones.add(play({ seed, days: 0.01 }).parts.place.zone);
    expect(zones.size).toBe(6);
    const { parts } = play({ seed: 3, days: 365 });
    expect(parts.account.runs).toBeGreaterThan(300);
  }, 60_000);
});

/** How often the mass went up by more than a crumb. */
function poursIn(grams: readonly number[]): number {
  return grams.filter((now, index) => now > (grams[index - 1] ?? now) + 1).length;
}
