import { describe, expect, it } from "vitest";
import type { Story, WorldSensors } from "../world.ts";
import { allSensors, dayLong, eventsOf, readingsOf, reportsOf, sumOf, tell } from "./toldStory.ts";

const seeds = [2, 3, 5];

describe("a story of the yard", () => {
  it("gives the same lines and truth each time, and others from another seed", () => {
    const text = (seed: number) =>
      JSON.stringify(tell({ seed, days: 1, fault: { kind: "buttonChatters", at: dayLong / 4 } }));
    expect(text(5)).toBe(text(5));
    expect(text(5)).not.toBe(text(6));
  });

  it("begins with the settings, and never goes back in time", () => {
    for (const seed of seeds) {
      const moments = tell({ seed });
      expect(moments[0]?.line.kind).toBe("settings");
      const times = moments.map(({ line }) => line.at as number);
      expect(times).toEqual(times.toSorted((a, b) => a - b));
      expect(Math.abs((times.at(-1) ?? 0) - (times[0] ?? 0) - 4 * dayLong)).toBeLessThan(dayLong / 8);
      expect(moments.every(({ line, truth }) => truth.at === line.at)).toBe(true);
    }
  });

  it("is refilled after the phone asks, and otherwise never", () => {
    const refilled = (refills: Story["refills"]) => {
      const grams = tell({ seed: 3, days: 25, refills }).map(({ truth }) => truth.grams);
      return grams.some((each, index) => each > (grams[index - 1] ?? each));
    };
    expect([refilled("whenAsked"), refilled("never")]).toEqual([true, false]);
  });

  it("runs out where nobody refills, and says since when", () => {
    const moments = tell({ seed: 3, days: 45, refills: "never" });
    const [first, last] = [moments[0]?.truth, moments.at(-1)?.truth];
    expect(last?.emptySince).toBeGreaterThan((first?.at ?? 0) + dayLong);
    expect(last?.grams).toBeLessThan(0.5 * (first?.portionGrams ?? 0));
  });
});

describe("the yard's truth", () => {
  it("agrees with the lines: portions told, pieces that the chute saw, and what the scale shows", () => {
    for (const seed of seeds) {
      const moments = tell({ seed, days: 6 });
      const last = moments.at(-1)?.truth;
      const portions = eventsOf(moments, "portion");
      // What was on its way at a restart is lost, and a chute sees fewer pieces than fall.
      expect(portions.length).toBeLessThanOrEqual(last?.portions ?? 0);
      expect(portions.length).toBeGreaterThan(0.9 * (last?.portions ?? 0));
      expect(sumOf(portions, "chuteCount")).toBeLessThanOrEqual(last?.pieces ?? 0);
      expect(sumOf(portions, "chuteCount")).toBeGreaterThan(0.7 * (last?.pieces ?? 0));
      const offs = moments.flatMap(({ line, truth }) =>
        line.kind === "report" && line.report.readings.hopper !== null
          ? [Math.abs(line.report.readings.hopper - truth.gramsOnScale)]
          : [],
      );
      expect(offs.toSorted((a, b) => a - b)[Math.floor(offs.length / 2)]).toBeLessThan(60);
    }
  });

  it("gives a portion's mean over the last day, which is what was lost by so many runs", () => {
    for (const seed of seeds) {
      const moments = tell({ seed, days: 1, refills: "never" });
      const [first, last] = [moments[0]?.truth, moments.at(-1)?.truth];
      const lost = (first?.grams ?? 0) - (last?.grams ?? 0);
      expect(last?.portions).toBeGreaterThan(5);
      expect(last?.portionGrams).toBeCloseTo(lost / (last?.portions ?? 0), 6);
    }
  });

  it("counts bouts, of which each has some landings, by day", () => {
    const moments = tell({ seed: 3, days: 8 });
    const visits = eventsOf(moments, "visit").length;
    const bouts = moments.at(-1)?.truth.bouts ?? 0;
    expect(bouts).toBeGreaterThan(5);
    expect(bouts).toBeLessThan(visits);
    expect(new Set(moments.map(({ truth }) => truth.daylight)).size).toBe(2);
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
  const names = Object.keys(traces) as (keyof WorldSensors)[];
  const textOf = (change: Partial<Story>): string =>
    reportsOf(tell({ seed: 3, ...change }))
      .map(({ report }) => JSON.stringify([report.postedReadings, report.events.map(({ body }) => body)]))
      .join("");

  it.each(names)("never appears in a report, and appears where the story has it: %s", (name) => {
    expect(textOf({})).toMatch(traces[name]);
    expect(textOf({ sensors: { ...allSensors, [name]: false } })).not.toMatch(traces[name]);
  });

  it.each(["detectorDeaf", "chuteDirty"] as const)("does not appear with the fault %s either", (kind) => {
    const fault = { kind, at: dayLong };
    expect(textOf({ fault, sensors: { ...allSensors, chute: false } })).not.toMatch(traces.chute);
    expect(textOf({ fault, sensors: { ...allSensors, detector: false } })).not.toMatch(traces.detector);
  });

  it("has no chatter", () => {
    const fault = { kind: "buttonChatters", at: dayLong } as const;
    expect(textOf({ fault, sensors: { ...allSensors, button: false } })).not.toMatch(traces.button);
  });

  it("leaves a bare scale with nothing but its reading, while a timer feeds", () => {
    const bare = { ...allSensors, button: false, detector: false, chute: false, perch: false, portionEvents: false };
    const moments = tell({ seed: 3, sensors: bare });
    expect(reportsOf(moments).flatMap(({ report }) => report.events.filter(({ kind }) => kind !== "refill"))).toEqual(
      [],
    );
    expect(moments.at(-1)?.truth.portions).toBeGreaterThan(20);
    expect(readingsOf(moments).every((readings) => "hopperGrams" in readings)).toBe(true);
  });

  it("is not in the settings", () => {
    const [first] = tell({ days: 0.1, sensors: { ...allSensors, perch: false, scale: false } });
    const settings = first?.line.kind === "settings" ? first.line.settings : null;
    expect(settings?.sensors).toEqual({ button: true, detector: true, chute: true, perch: false, scale: false });
  });
});
