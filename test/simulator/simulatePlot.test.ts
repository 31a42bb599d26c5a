import { describe, expect, it } from "vitest";
import { after, days } from "../../server/domain/instant.ts";
import type { SimulatedMoment } from "./moment.ts";
import { everySensor, type PlantedFaultKind, type Plot, plantedFaults, randomPlot } from "./plot.ts";
import { simulatePlot } from "./simulatePlot.ts";

const weekOf = (seed: number, study: Partial<Plot> = {}): SimulatedMoment[] => [
  ...simulatePlot(randomPlot(seed, { days: 7, reportEverySeconds: 300, ...study })),
];
const steady = { lost: 0, burstsPerDay: 0, burstMinutes: 1, outagesPerMonth: 0, rebootsPerMonth: 0 };
const reportsOf = (moments: readonly SimulatedMoment[]) =>
  moments.flatMap(({ line, truth, portions }) =>
    line.kind === "report" ? [{ report: line.report, truth, portions }] : [],
  );
const broken = (kind: PlantedFaultKind, seed = 7) => {
  const plot = randomPlot(seed, { days: 7, reportEverySeconds: 300, line: steady });
  const food = { ...plot.food, startGrams: plot.food.capacityGrams };
  return reportsOf([...simulatePlot({ ...plot, food, fault: { kind, at: after(plot.from, days(3)) } })]);
};
const late = <Item extends { truth: SimulatedMoment["truth"] }>(reports: readonly Item[]) =>
  reports.filter(({ truth }) => truth.fault !== null && truth.unfed > 5);

describe("a simulated feeder", () => {
  it("lives the same story again from the same seed, and another from another", () => {
    expect(JSON.stringify(weekOf(3))).toBe(JSON.stringify(weekOf(3)));
    expect(JSON.stringify(weekOf(3))).not.toBe(JSON.stringify(weekOf(4)));
  });

  it("loses exactly the food that fell, but for what the keeper poured in", () => {
    for (const seed of [1, 2, 3]) {
      const reports = reportsOf(weekOf(seed, { line: steady }));
      let grams = reports[0]?.truth.grams ?? Number.NaN;
      let fell = 0;
      for (const { truth, portions } of reports.slice(1)) {
        const eaten = portions.reduce((sum, portion) => sum + portion.fellGrams, 0);
        fell += eaten;
        const filled = truth.grams + eaten - grams;
        // A refill is no small thing, and never takes food away; crumbs on the tray belong to neither.
        expect(filled > 50 || Math.abs(filled) < 1e-6).toBe(true);
        grams = truth.grams;
      }
      expect(fell).toBeGreaterThan(50);
    }
  });

  it("weighs nearly what is in it, and not exactly", () => {
    const reports = reportsOf(weekOf(5, { line: steady }));
    const offs = reports.flatMap(({ report, truth }) =>
      report.readings.hopper === null ? [] : [Math.abs(report.readings.hopper - truth.grams)],
    );
    offs.sort((a, b) => a - b);
    expect(offs[Math.floor(offs.length / 2)]).toBeGreaterThan(0.2);
    expect(offs[Math.floor(offs.length / 2)]).toBeLessThan(60);
  });

  it("loses reports on a bad line, and tells their events with the next", () => {
    const good = reportsOf(weekOf(6, { line: steady }));
    const bad = reportsOf(weekOf(6, { line: { ...steady, lost: 0.3 } }));
    expect(bad.length).toBeLessThan(0.8 * good.length);
    const seqs = bad.flatMap(({ report }) => report.events.map(({ seq }) => seq));
    expect(seqs).toEqual(seqs.map((_, index) => index + 1));
  });

  it("has no word of portions, chute or birds where nothing tells them", () => {
    const sensors = { ...everySensor, chute: false, button: false, detector: false, perch: false };
    const reports = reportsOf(weekOf(2, { sensors, portionsTold: false }));
    expect(reports.every(({ report }) => report.events.every(({ kind }) => kind === "refill"))).toBe(true);
    expect(reports.at(-1)?.truth.portions).toBeGreaterThan(20);
  });
});

describe("a planted fault", () => {
  it.each(["feedBridged", "trayJammed", "motorStalled", "wireOff"] as const)(
    "%s lets nothing fall any more",
    (kind) => {
      const portions = late(broken(kind)).flatMap((report) => report.portions);
      expect(portions.length).toBeGreaterThan(10);
      expect(portions.reduce((sum, portion) => sum + portion.fellGrams, 0)).toBe(0);
    },
  );

  it("bridged empties the tray through shrinking portions first, jammed stops at once", () => {
    const lastBefore = (kind: PlantedFaultKind) => {
      const portions = broken(kind).flatMap(({ portions, truth }) => (truth.fault === null ? [] : portions));
      return portions.slice(
        0,
        portions.findIndex(({ pieces }) => pieces === 0),
      ).length;
    };
    expect(lastBefore("trayJammed")).toBeLessThanOrEqual(1);
    expect(lastBefore("feedBridged")).toBeGreaterThan(1);
  });

  it("shows in the motor's current: light when bridged, heavier when jammed, several times as much when stalled", () => {
    const currentOf = (kind: PlantedFaultKind) => {
      const currents = late(broken(kind)).flatMap(({ portions }) => portions.map(({ milliamps }) => milliamps));
      return currents.reduce((sum, one) => sum + one, 0) / currents.length;
    };
    const usual = currentOf("chuteBlind");
    expect(currentOf("feedBridged") / usual).toBeLessThan(0.985);
    expect(currentOf("trayJammed") / usual).toBeGreaterThan(1.04);
    expect(currentOf("motorStalled") / usual).toBeGreaterThan(2);
    expect(currentOf("wireOff")).toBeLessThan(5);
  });

  it("takes only its own sensor's word: a blind chute sees nothing of what falls, a stuck scale stays", () => {
    const blind = late(broken("chuteBlind"));
    expect(blind.flatMap(({ portions }) => portions).every(({ seen }) => seen === 0)).toBe(true);
    expect(blind.flatMap(({ portions }) => portions).some(({ pieces }) => pieces > 0)).toBe(true);
    const stuck = late(broken("scaleStuck")).flatMap(({ report }) => report.readings.hopper ?? []);
    expect(Math.max(...stuck) - Math.min(...stuck)).toBeLessThan(4);
    expect(late(broken("scaleDead")).every(({ report }) => report.readings.hopper === null)).toBe(true);
  });

  it("dead button, detector or perch leaves no trace of its own kind", () => {
    const kindOf = { buttonDead: "press", detectorDead: "deposit", perchDead: "visit" } as const;
    for (const [fault, kind] of Object.entries(kindOf) as [keyof typeof kindOf, string][]) {
      const reports = broken(fault);
      const has = (some: typeof reports) =>
        some.some(({ report }) => report.events.some((event) => event.kind === kind));
      expect(has(reports.filter(({ truth }) => truth.fault === null))).toBe(true);
      // The first report after it may still tell of the minutes before.
      expect(has(reports.filter(({ truth }) => truth.fault !== null).slice(1))).toBe(false);
    }
  });

  it("is known for each kind that can be planted", () => {
    for (const kind of plantedFaults)
      expect(broken(kind).some(({ truth }) => truth.fault === kind) || kind === "silent").toBe(true);
    expect(broken("silent").every(({ truth }) => truth.fault === null)).toBe(true);
  });
});
