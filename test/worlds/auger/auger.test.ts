import { describe, expect, it } from "vitest";
import { isoOf } from "../../../server/domain/instant.ts";
import { type LogLine, readLine } from "../../../server/replay/logLine.ts";
import type { Story, WorldSensors } from "../world.ts";
import { augerWorld } from "./augerWorld.ts";
import { Random } from "./random.ts";
import { day, hour } from "./time.ts";
import { allSensors, mean, readingsOf, reportOf, seeds, storyOf, tell } from "./toldStory.ts";
import { Yard } from "./yard.ts";

describe("the source of chance", () => {
  it("gives the numbers of the reference implementation from the state 1, 2, 3, 4", () => {
    // The first ten outputs of xoshiro128starstar.c 1.1, as libraries that port it check them.
    const random = new Random(1, 2, 3, 4);
    expect(Array.from({ length: 6 }, () => random.word())).toEqual([
      11520, 0, 5927040, 70819200, 2031721883, 1637235492,
    ]);
  });

  it("gives another stream for each name and each seed", () => {
    const firsts = ["birds", "line"].flatMap((name) =>
      [7, 8, 7 + 2 ** 32].map((seed) => Random.named(seed, name).word()),
    );
    expect(new Set(firsts).size).toBe(6);
  });

  it("draws normal and Poisson numbers of the stated mean and variance", () => {
    const random = Random.named(1, "moments");
    const normal = Array.from({ length: 20_000 }, () => random.normal());
    const counts = Array.from({ length: 20_000 }, () => random.poisson(33));
    expect(Math.abs(mean(normal))).toBeLessThan(0.03);
    expect(mean(normal.map((value) => value ** 2))).toBeCloseTo(1, 1);
    expect(Math.abs(mean(counts) - 33)).toBeLessThan(0.2);
    expect(Math.abs(mean(counts.map((count) => (count - 33) ** 2)) - 33)).toBeLessThan(1.5);
  });
});

describe("a story", () => {
  it("gives the same lines and truth each time, and others from another seed", () => {
    const fault = { kind: "buttonChatters", at: hour } as const;
    const text = (seed: number) => JSON.stringify(tell({ seed, days: 1, reportEverySeconds: 60, fault }));
    expect(text(5)).toBe(text(5));
    expect(text(5)).not.toBe(text(6));
  });

  it("is the healthy one until its fault begins", () => {
    const healthy = tell({ seed: 3 });
    for (const kind of ["motorWireOff", "scaleStuck", "buttonChatters", "foodOut"] as const) {
      const faulty = tell({ seed: 3, fault: { kind, at: 2 * day } });
      const same = healthy.findIndex((moment, index) => JSON.stringify(moment) !== JSON.stringify(faulty[index]));
      const since = faulty.find(({ truth }) => truth.faultSince !== null)?.truth.faultSince ?? 0;
      expect(healthy[same]?.line.at).toBeGreaterThanOrEqual(since);
      expect(healthy[same - 1]?.line.at).toBeGreaterThan(since - hour);
    }
  });

  it("begins with the settings, lasts its days, and never goes back in time", () => {
    for (const seed of seeds) {
      const moments = tell({ seed });
      expect(moments[0]?.line.kind).toBe("settings");
      const times = moments.map(({ line }) => line.at as number);
      expect(times).toEqual(times.toSorted((a, b) => a - b));
      expect((times.at(-1) ?? 0) - (times[0] ?? 0)).toBeLessThanOrEqual(4 * day);
      expect(moments.every(({ line, truth }) => truth.at === line.at)).toBe(true);
    }
  });
});

describe("a line", () => {
  const textOf = (line: LogLine): string => {
    const { feeder } = line;
    if (line.kind === "settings") return JSON.stringify({ at: isoOf(line.at), feeder, settings: line.settings });
    if (line.kind === "keeper") return JSON.stringify({ at: isoOf(line.at), feeder, keeper: line.act });
    if (line.kind !== "report") throw new Error(`expected no line of kind ${line.kind}`);
    const { boot, sentUptime, postedReadings, events } = line.report;
    const readings = sentUptime === null ? {} : { readings: postedReadings };
    const report = { boot, sentUptimeMs: sentUptime, ...readings, events: events.map(({ body }) => body) };
    return JSON.stringify({ receivedAt: isoOf(line.at), feeder, report });
  };

  it("reads from its text as it is, without a rejected reading, a refused event or an unknown name", () => {
    const kinds = new Set<string>();
    for (const seed of [1, 2, 18, 20]) {
      for (const { line } of tell({ seed, days: 3 })) {
        kinds.add(line.kind);
        const text = textOf(line);
        const read = readLine(text);
        expect(read.kind).toBe("read");
        if (read.kind === "read") expect(textOf(read.line)).toBe(text);
      }
    }
    for (const seed of seeds) {
      const reports = tell({ seed })
        .map(reportOf)
        .filter((report) => report !== null);
      expect(reports.flatMap(({ refused, unknownNames }) => [...refused, ...unknownNames])).toEqual([]);
    }
    expect([...kinds].sort()).toEqual(["keeper", "report", "settings"]);
  });

  it("comes at the story's interval", () => {
    for (const every of [30, 60, 300] as const) {
      const times = readingsOf(tell({ seed: 2, days: 2, reportEverySeconds: every })).map(({ at }) => at);
      const gaps = times.slice(1).map((at, index) => at - (times[index] as number));
      const middle = gaps.toSorted((a, b) => a - b)[Math.floor(gaps.length / 2)];
      expect(Math.abs((middle ?? 0) / 1_000 - every)).toBeLessThan(0.02 * every);
    }
  });

  it("repeats events after a lost answer, and tells under an old boot what a power cut ended", () => {
    let [repeats, changed, leftBehind, cutShort, gaps] = [0, 0, 0, 0, 0];
    for (const seed of [18, 38]) {
      const texts = new Map<string, string>();
      const highest = new Map<string, number>();
      for (const report of tell({ seed, days: 12 }).map(reportOf)) {
        if (report?.sentUptime === null) leftBehind += 1;
        for (const { seq, body } of report?.events ?? []) {
          const text = JSON.stringify(body);
          const before = texts.get(`${report?.boot} ${seq}`);
          if (before !== undefined) repeats += 1;
          if (before !== undefined && before !== text) changed += 1;
          if (text.includes("cutShort")) cutShort += 1;
          texts.set(`${report?.boot} ${seq}`, text);
          const known = highest.get(report?.boot ?? "") ?? 0;
          if (seq > known + 1) gaps += 1;
          highest.set(report?.boot ?? "", Math.max(known, seq));
        }
      }
    }
    expect(Math.min(repeats, leftBehind, cutShort)).toBeGreaterThan(0);
    expect([changed, gaps]).toEqual([0, 0]); // nothing is lost between two answers
  });
});

describe("a sensor that the story lacks", () => {
  const traces: Readonly<Record<keyof WorldSensors, RegExp>> = {
    button: /"press"|"button":\d/,
    detector: /"deposit"|"detector":\d|"metal"/,
    chute: /chuteCount|"chute":/,
    perch: /"visit"|"perch":\d/,
    scale: /hopperGrams/,
    motorCurrent: /illiamps/,
    portionEvents: /"portion"/,
  };
  const postedText = (change: Partial<Story>): string =>
    tell(change)
      .map(reportOf)
      .map((report) => JSON.stringify([report?.postedReadings, report?.events.map(({ body }) => body)]))
      .join("");

  it("never appears in a report, and appears where the story has it", () => {
    const names = Object.keys(traces) as (keyof WorldSensors)[];
    for (const seed of seeds) {
      const whole = postedText({ seed });
      for (const name of names) {
        expect(whole).toMatch(traces[name]);
        expect(postedText({ seed, days: 2, sensors: { ...allSensors, [name]: false } })).not.toMatch(traces[name]);
      }
    }
  });

  it("leaves a bare scale with nothing to tell but its reading, while the timer feeds", () => {
    const none = { ...allSensors, button: false, detector: false, chute: false, perch: false };
    const bare = { ...none, motorCurrent: false, portionEvents: false };
    const moments = tell({ seed: 2, sensors: bare });
    expect(moments.flatMap((moment) => reportOf(moment)?.events ?? [])).toEqual([]);
    expect(moments.at(-1)?.truth.portions).toBeGreaterThan(10);
    expect(postedText({ seed: 2, sensors: bare })).toMatch(traces.scale);
  });

  it("is not in the settings", () => {
    const [first] = tell({ days: 0.1, sensors: { ...allSensors, perch: false, scale: false } });
    const settings = first?.line.kind === "settings" ? first.line.settings : null;
    expect(settings?.sensors).toEqual({ button: true, detector: true, chute: true, perch: false, scale: false });
  });
});

describe("food", () => {
  it("is conserved: what was there and what was filled in is what was given and what is left", () => {
    let filled = 0;
    for (const seed of seeds) {
      const phone = { asksForFood: false };
      const yard = new Yard(storyOf({ seed, days: 30 }), phone);
      const start = yard.hardware.dispenser.content;
      let [error, corners] = [0, Number.POSITIVE_INFINITY];
      for (const { truth } of yard.moments()) {
        phone.asksForFood = truth.grams < 0.2 * start;
        const { givenGrams, filledGrams } = yard.truth;
        error = Math.max(error, Math.abs(start + filledGrams - givenGrams - truth.gramsOnScale));
        corners = Math.min(corners, truth.gramsOnScale - truth.grams);
      }
      expect(error).toBeLessThan(1e-6);
      expect(corners).toBeGreaterThan(0.01 * start);
      filled += yard.truth.filledGrams;
    }
    expect(filled).toBeGreaterThan(0);
  });

  it("is missing from 0.3 to 3 % of a healthy feeder's portions", () => {
    let [unfed, portions] = [0, 0];
    for (let seed = 1; seed <= 16; seed += 1) {
      // A thermometer says nothing about portions; but with a fault, the truth counts those that gave nothing.
      const moments = tell({ seed, days: 14, fault: { kind: "thermometerStuck", at: 0 } });
      const last = moments.at(-1)?.truth;
      const wasEmpty = moments.some(({ truth }) => truth.emptySince !== null || truth.grams < 0.2 * truth.gramsOnScale);
      if (last === undefined || last.portions < 400 || wasEmpty) continue;
      unfed += last.unfed;
      portions += last.portions;
      // Three standard deviations of a count beyond both ends; those in runs vary as if they were fewer.
      const doubt = (rate: number) => 3 * Math.sqrt((4 * rate) / last.portions);
      expect(last.unfed / last.portions).toBeLessThan(0.03 + doubt(0.03));
      expect(last.unfed / last.portions).toBeGreaterThan(0.003 - doubt(0.003));
    }
    expect(portions).toBeGreaterThan(5_000);
    expect(unfed / portions).toBeGreaterThan(0.004);
    expect(unfed / portions).toBeLessThan(0.025);
  });

  it("runs out where nobody refills, except for what lies in the corners", () => {
    for (const seed of [7, 10, 33]) {
      const moments = tell({ seed, days: 35, refills: "never" });
      const [first, last] = [moments[0]?.truth, moments.at(-1)?.truth];
      expect(moments.filter(({ line }) => line.kind === "keeper").length).toBeLessThanOrEqual(1);
      expect(last?.emptySince).not.toBeNull();
      expect(last?.grams).toBeLessThan(1);
      expect((last?.gramsOnScale ?? 0) / (first?.gramsOnScale ?? 0)).toBeGreaterThan(0.02);
      expect((last?.gramsOnScale ?? 0) / (first?.gramsOnScale ?? 0)).toBeLessThan(0.12);
    }
  });

  it("is refilled after the phone asks, and only then", () => {
    const keeperActs = (asksForFood: boolean) => {
      const moments = [...augerWorld.tell(storyOf({ seed: 3, days: 20 }), { asksForFood })];
      return moments.filter(({ line }) => line.kind === "keeper").length;
    };
    expect(keeperActs(false)).toBeLessThanOrEqual(1);
    expect(keeperActs(true)).toBeGreaterThan(3);
  });
});
