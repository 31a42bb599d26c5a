import * as astronomy from "astronomy-engine";
import { describe, expect, it } from "vitest";
import { readLine } from "../../../server/replay/logLine.ts";
import type { WorldMoment, WorldSensors } from "../world.ts";
import { Agenda, day, hour } from "./agenda.ts";
import { drawMix, Hopper, meanPiece } from "./hopper.ts";
import { Malfunction } from "./malfunction.ts";
import { drawBuild, Mechanism } from "./mechanism.ts";
import { Sun } from "./place.ts";
import { dewPointOf, humidityOf, type Sky } from "./sky.ts";
import { Stream } from "./stream.ts";
import { allSensors, eventsOf, mean, playParts, readingsOf, reportOf, seedsTo, tell, textOf } from "./toldStory.ts";

describe("a story", () => {
  it("gives the same lines and truth each time, and others from another seed", () => {
    const told = (seed: number) => JSON.stringify([...tell({ seed, fault: { kind: "buttonChatters", at: day } })]);
    expect(told(3)).toBe(told(3));
    expect(told(3)).not.toBe(told(4));
  });

  it("has only lines that the replay reads, in time order", () => {
    const problems: string[] = [];
    let lines = 0;
    for (const seed of seedsTo(8)) {
      let before = 0;
      for (const { line, truth } of tell({ seed, days: 20, fault: { kind: "scaleDead", at: 12 * day } })) {
        const text = textOf(line);
        const read = readLine(text);
        const isSame = read.kind === "read" && read.line.kind === line.kind && read.line.at === line.at;
        const refused = reportOf({ line, truth })?.refused ?? [];
        const isRefused = refused.some(({ problem }) => !problem.includes("-127"));
        if (!isSame || isRefused || line.at < before || truth.at !== line.at) problems.push(text);
        before = line.at;
        lines += 1;
      }
    }
    expect(problems).toEqual([]);
    expect(lines).toBeGreaterThan(35_000);
  }, 60_000);

  it("reports at its interval", () => {
    for (const reportEverySeconds of [30, 60, 300] as const) {
      const at = [...tell({ reportEverySeconds, days: 2 })]
        .filter(({ line }) => line.kind === "report")
        .map(({ line }) => line.at);
      const gaps = at.slice(1).map((later, index) => later - (at[index] ?? 0));
      gaps.sort((a, b) => a - b);
      expect((gaps[gaps.length >> 1] ?? 0) / 1_000).toBeCloseTo(reportEverySeconds, -0.5);
    }
  });

  it("has restarts, gaps, reports that come twice and events that come late", () => {
    let [boots, gaps, twice, late] = [0, 0, 0, 0];
    for (const seed of seedsTo(8)) {
      const known = new Set<string>();
      const starts = new Set<string>();
      let before = 0;
      for (const moment of tell({ seed, days: 40 })) {
        const report = reportOf(moment);
        if (report === null) continue;
        if (before > 0 && moment.line.at - before > hour) gaps += 1;
        before = moment.line.at;
        starts.add(report.boot);
        for (const { seq, uptime } of report.events) {
          const name = `${report.boot}/${seq}`;
          if (known.has(name)) twice += 1;
          else if (report.sentUptime !== null && report.sentUptime - uptime > hour) late += 1;
          known.add(name);
        }
      }
      boots += starts.size;
    }
    expect(boots).toBeGreaterThan(12);
    expect(gaps).toBeGreaterThan(5);
    expect(twice).toBeGreaterThan(10);
    expect(late).toBeGreaterThan(50);
  });
});

describe("a feeder's sensors", () => {
  const names = Object.keys(allSensors) as readonly (keyof WorldSensors)[];
  const kinds = { button: "press", detector: "deposit", perch: "visit", portionEvents: "portion" } as const;

  it.each(names)("keep silent where there is no %s, in reports and settings", (missing) => {
    for (const seed of seedsTo(3)) {
      const moments = [...tell({ seed, sensors: { ...allSensors, [missing]: false } })];
      const settings = moments.flatMap(({ line }) =>
        line.kind === "settings" ? line.settings.sensors : [],
      ) as object[];
      for (const stated of settings) if (missing in stated) expect(stated).toMatchObject({ [missing]: false });
      const readings = readingsOf(moments);
      const bodies = eventsOf(moments).map(({ body }) => body);
      if (missing in kinds) expect(bodies.map(({ kind }) => kind)).not.toContain(kinds[missing as keyof typeof kinds]);
      if (missing === "chute") expect(bodies.some((body) => "chuteCount" in body)).toBe(false);
      if (missing === "motorCurrent") expect(bodies.some((body) => "meanMilliamps" in body)).toBe(false);
      if (missing === "scale") expect(readings.every(({ hopper }) => hopper === null)).toBe(true);
      const counted = readings.flatMap(({ counts }) => (counts as unknown as Record<string, unknown>)[missing] ?? []);
      expect(counted).toEqual([]);
    }
  });

  it("speak where they are there", () => {
    const moments = seedsTo(6).flatMap((seed) => [...tell({ seed })]);
    const bodies = eventsOf(moments).map(({ body }) => body);
    expect(new Set(bodies.map(({ kind }) => kind))).toEqual(new Set(["press", "deposit", "visit", "portion"]));
    for (const field of ["chuteCount", "meanMilliamps", "peakMilliamps", "motorMs", "paysFor", "lowestVolts"]) {
      expect(bodies.some((body) => field in body)).toBe(true);
    }
    expect(readingsOf(moments).some(({ hopper }) => hopper !== null)).toBe(true);
  });

  it("can be the scale alone", () => {
    const bare = Object.fromEntries(names.map((name) => [name, name === "scale"])) as unknown as WorldSensors;
    const moments = [...tell({ sensors: bare, days: 10 })];
    expect(eventsOf(moments)).toEqual([]);
    expect(moments.at(-1)?.truth.portions).toBeGreaterThan(30);
  });
});

describe("a healthy year", () => {
  it("is plausible: portions, grams and comings a day, empty runs, days without birds", () => {
    const years = seedsTo(5).map((seed) => {
      const moments = [...tell({ seed: seed + 100, days: 365 })];
      const last = moments.at(-1)?.truth;
      const empty = eventsOf(moments).filter(
        ({ body, arrived }) => body.chuteCount === 0 && arrived.truth.emptySince === null,
      );
      return {
        portions: (last?.portions ?? 0) / 365,
        bouts: (last?.bouts ?? 0) / 365,
        pieces: (last?.pieces ?? 0) / (last?.portions ?? 1),
        idleDays: idleDaysIn(moments),
        unseen: empty.length / (last?.portions ?? 1),
        nightBouts: moments.filter(
          ({ truth }, index) => !truth.daylight && truth.bouts > (moments[index - 1]?.truth.bouts ?? 0),
        ).length,
      };
    });
    for (const year of years) {
      expect(year.portions).toBeGreaterThan(1);
      expect(year.portions).toBeLessThan(250);
      expect(year.bouts).toBeGreaterThan(1);
      expect(year.bouts).toBeLessThan(120);
      expect(year.pieces).toBeGreaterThan(1.5);
      expect(year.idleDays).toBeGreaterThan(0);
      expect(year.idleDays).toBeLessThan(110);
      expect(year.unseen).toBeLessThan(0.1);
      expect(year.nightBouts).toBeLessThan(0.15 * 365 * year.bouts);
    }
    expect(mean(years.map(({ unseen }) => unseen))).toBeGreaterThan(0.002);
  }, 120_000);

  it("keeps its books: what was poured in was given, thrown away, or is there", () => {
    for (const seed of seedsTo(6)) {
      const { hopper } = playParts({ seed, days: 60 });
      expect(hopper.poured).toBeGreaterThan(0);
      expect(hopper.given + hopper.thrown + hopper.grams).toBeCloseTo(hopper.poured, 4);
    }
  });

  it("runs out where nobody refills, and the rest stays on the scale", () => {
    const ends = seedsTo(12).map((seed) => [...tell({ seed, days: 40, refills: "never" })].at(-1)?.truth);
    const empty = ends.filter((truth) => truth?.emptySince != null);
    expect(empty.length).toBeGreaterThan(6);
    for (const truth of empty) {
      expect(truth?.grams).toBe(0);
      expect(truth?.gramsOnScale).toBeGreaterThan(0);
    }
  });
});

/** Days without a coming. */
function idleDaysIn(moments: readonly WorldMoment[]): number {
  const byDay = new Map<number, number>();
  for (const { truth } of moments) byDay.set(Math.floor(truth.at / day), truth.bouts);
  const bouts = [...byDay.values()];
  return bouts.filter((count, index) => index > 0 && count === bouts[index - 1]).length;
}

describe("the parts", () => {
  const sky: Sky = { air: 12, humidity: 70, cloud: 0.5, wind: 1, rain: 0, snow: 0, sun: 0.3, damp: 0.3 };

  it("draw numbers of the stated mean and variance", () => {
    const stream = new Stream(5, "moments");
    const normal = Array.from({ length: 20_000 }, () => stream.normal());
    expect(Math.abs(mean(normal))).toBeLessThan(0.03);
    expect(mean(normal.map((value) => value ** 2))).toBeCloseTo(1, 1);
    for (const expected of [0.4, 12, 80]) {
      const counts = Array.from({ length: 20_000 }, () => stream.poisson(expected));
      expect(Math.abs(mean(counts) / expected - 1)).toBeLessThan(0.03);
      expect(Math.abs(mean(counts.map((count) => (count - expected) ** 2)) / expected - 1)).toBeLessThan(0.08);
    }
  });

  it("do what is entered in time order, the first entered first", () => {
    const agenda = new Agenda();
    const done: string[] = [];
    for (const at of [5, 3, 9, 3, 1, 5]) agenda.add(at, (now) => done.push(`${now}.${at}`));
    agenda.add(3, () => done.push("last of 3"));
    while (agenda.nextAt < 8) agenda.runNext();
    expect(done).toEqual(["1.1", "3.3", "3.3", "last of 3", "5.5", "5.5"]);
  });

  it("place the sun within a quarter of a degree of the library's", () => {
    for (const [latitude, longitude] of [
      [62, 25],
      [-37, 145],
      [24, 80],
      [40, -105],
    ] as const) {
      const sun = new Sun({ latitude, longitude });
      const observer = new astronomy.Observer(latitude, longitude, 0);
      for (let step = 0; step < 120; step += 1) {
        const at = new Date(Date.UTC(2024, 4, 1) + step * (3 * day + 5 * hour));
        const place = astronomy.Equator(astronomy.Body.Sun, at, observer, true, true);
        const { altitude } = astronomy.Horizon(at, observer, place.ra, place.dec);
        expect(Math.abs((Math.asin(sun.heightSine(at.getTime())) * 180) / Math.PI - altitude)).toBeLessThan(0.25);
      }
    }
  });

  it("know that air at its dew point is saturated, and that 20 °C with 50 % has its dew point at 9.3 °C", () => {
    // Lawrence (2005), Bulletin of the American Meteorological Society 86: the same formula; the value from memory.
    expect(dewPointOf(20, 50)).toBeCloseTo(9.3, 1);
    expect(humidityOf(9.3, 9.3)).toBeCloseTo(100, 6);
  });

  it("give empty portions by nature, a few in a thousand to a few in a hundred", () => {
    const shares = seedsTo(60).map((seed) => {
      const stream = new Stream(seed, "parts");
      const mix = drawMix(stream);
      const hopper = new Hopper(stream, mix, 1_000_000, 10);
      hopper.pour(900_000);
      const portion = Math.max(2, 3.5 * meanPiece(mix));
      const mechanism = new Mechanism(stream, drawBuild(stream), hopper, {
        malfunction: new Malfunction(),
        portion,
        at: 0,
      });
      const runs = Array.from({ length: 4_000 }, () => mechanism.run(0, sky, 1).pieces);
      return runs.filter((pieces) => pieces === 0).length / runs.length;
    });
    for (const share of shares) expect(share).toBeLessThan(0.09);
    expect(Math.min(...shares)).toBeGreaterThan(0.0003);
    expect(mean(shares)).toBeGreaterThan(0.004);
  });
});
