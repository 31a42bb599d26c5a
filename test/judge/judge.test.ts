import { describe, expect, it } from "vitest";
import { instant } from "../../server/domain/instant.ts";
import { augerWorld } from "../worlds/auger/augerWorld.ts";
import type { World, WorldTruth } from "../worlds/world.ts";
import { chosenNames } from "./chosenNames.ts";
import { isFounded, namesOf, stopFaults } from "./founded.ts";
import { isEndOf, judgeStory, type StoryFigures } from "./judgeStory.ts";
import { subsets } from "./subsets.ts";
import { faultColumns, faultRow, healthyRow, notPlantedRow, runOutRow } from "./tables.ts";

const truth: WorldTruth = {
  at: instant(0),
  grams: 1_000,
  gramsOnScale: 1_030,
  portions: 40,
  pieces: 120,
  portionGrams: 8,
  emptySince: null,
  faultSince: null,
  unfed: 0,
  bouts: 9,
  daylight: true,
};

describe("an alarm", () => {
  const founded = (
    fault: Parameters<typeof isFounded>[0]["fault"],
    different: Partial<WorldTruth> = {},
    emptyRuns = 0,
  ) =>
    isFounded(
      { fault, priority: "urgent", reason: "" },
      { truth: { ...truth, ...different }, emptyRuns, capacityGrams: 2_000 },
    );

  it("that no food falls is founded where the hopper is as good as empty or five runs in a row gave nothing", () => {
    expect([founded("feedStopped"), founded("foodOut"), founded("depositUnpaid")]).toEqual([false, false, false]);
    expect([founded("feedStopped", { emptySince: instant(0) }), founded("foodOut", { grams: 79 })]).toEqual([
      true,
      true,
    ]);
    expect([founded("trayJammed", {}, 4), founded("trayJammed", {}, 5)]).toEqual([false, true]);
  });

  it("that comes back only to end in the same moment, with the one that explained it, isn't counted", () => {
    const raised = { alarm: "trayJammed", at: "2026-01-01T00:00:00Z", state: "unacknowledged" } as const;
    expect(isEndOf({ ...raised, state: "returnedUnacknowledged" }, raised)).toBe(true);
    expect(isEndOf({ ...raised, state: "returnedUnacknowledged", at: "2026-01-01T00:01:00Z" }, raised)).toBe(false);
    expect(isEndOf({ ...raised, state: "returnedUnacknowledged", alarm: "foodOut" }, raised)).toBe(false);
    expect(isEndOf({ ...raised, state: "acknowledged" }, raised)).toBe(false);
  });

  it("of low food is founded below a third of the hopper, one of a sensor never on a healthy feeder", () => {
    expect([founded("foodLow", { grams: 660 }), founded("foodLow", { grams: 670 })]).toEqual([true, false]);
    expect(founded("scaleSilent", { emptySince: instant(0) })).toBe(false);
  });

  it("has a right name for each planted fault", () => {
    for (const { right } of Object.values(namesOf)) expect(right.length).toBeGreaterThan(0);
    expect(stopFaults.has("chuteBlind")).toBe(false);
  });
});

describe("the names that a run asks for", () => {
  it("are all of them where it asks for none, and those that it asks for with or without a space around", () => {
    expect(chosenNames("JUDGE_FAULTS", undefined, ["a", "b"])).toEqual(["a", "b"]);
    expect(chosenNames("JUDGE_FAULTS", ["b ", "a"], ["a", "b", "c"])).toEqual(["b", "a"]);
  });

  it("must be known", () => {
    const asked = () => chosenNames("JUDGE_FAULTS", ["a", "trayJamed"], ["a", "b"]);
    expect(asked).toThrow(new RangeError('JUDGE_FAULTS: expected some of a, b, got "trayJamed"'));
  });
});

describe("a story that is judged", () => {
  const story = { seed: 11, days: 6, reportEverySeconds: 300, sensors: subsets["all sensors"], fault: null } as const;

  it("gives days, levels and their interval's word", () => {
    const figures = judgeStory(augerWorld, { ...story, refills: "whenAsked" });
    expect(figures.feederDays).toBeGreaterThan(5.9);
    expect(figures.levels).toBeGreaterThan(25);
    expect(figures.levelsHeld).toBeLessThanOrEqual(figures.levels);
  });

  it("finds a level that is shown without doubt to be wrong, in a world whose truth is not what its scale shows", () => {
    const lying: World = {
      name: "lying",
      *tell(told, phone) {
        for (const moment of augerWorld.tell(told, phone))
          yield { ...moment, truth: { ...moment.truth, gramsOnScale: moment.truth.gramsOnScale + 5_000 } };
      },
    };
    const figures = judgeStory(lying, { ...story, refills: "whenAsked" });
    expect(figures.levelsHeld).toBe(0);
  });

  it("says whether a hopper that nobody refills any more ran empty within it", () => {
    const at = 86_400_000;
    const untilDay = (days: number) =>
      judgeStory(augerWorld, { ...story, days, fault: { kind: "foodOut", at }, refills: "never" }).ranEmpty;
    expect([untilDay(1.5), untilDay(40)]).toEqual([false, true]);
  });

  it("counts what is told after a planted fault, with the hours and the runs that gave nothing", () => {
    const day = 86_400_000;
    const figures = judgeStory(augerWorld, {
      ...story,
      days: 8,
      refills: "whenAsked",
      fault: { kind: "motorWireOff", at: 5 * day },
    });
    const told = figures.alarms.filter(({ hoursAfterFault }) => hoursAfterFault !== null);
    expect(told.map(({ fault }) => fault)).toContain("motorNotTurning");
    expect(told.every(({ hoursAfterFault }) => (hoursAfterFault ?? 0) >= 0 && (hoursAfterFault ?? 0) < 72)).toBe(true);
  });
});

describe("a table", () => {
  const alarm = { fault: "feedStopped", priority: "urgent", reason: "", unfedAfterFault: 0 } as const;
  const figures = (different: Partial<StoryFigures>): StoryFigures => ({
    feederDays: 365.25,
    alarms: [],
    levels: 10,
    levelsHeld: 9,
    widths: 1.5,
    forecasts: [],
    refusedLines: 0,
    ranEmpty: false,
    ...different,
  });

  it("gives unfounded urgent alarms a feeder-year with Garwood's limits, and the worst feeder", () => {
    const one = figures({ alarms: [{ ...alarm, founded: false, hoursAfterFault: null }] });
    const right = figures({ alarms: [{ ...alarm, founded: true, hoursAfterFault: null }] });
    // Garwood 1936: one seen, 0.0253 to 5.572; here over two years.
    expect(healthyRow("x", [one, right]).slice(1, 5)).toEqual(["2", "0.5 (0.0127 to 2.79)", "0.5", "1"]);
    expect(healthyRow("x", [one, right]).slice(6)).toEqual(["90.0 % (70 to 97)", "15.0 %"]); // Wilson 1927: 18 of 20
  });

  it("gives the share of run-outs that the forecast held, the last day apart", () => {
    const forecasts = [
      { hoursBefore: 40, held: false, past: false, hoursOff: 8, lineHoursOff: null },
      { hoursBefore: 10, held: true, past: true, hoursOff: 2, lineHoursOff: 5 },
    ];
    const row = runOutRow("x", [
      figures({ forecasts, alarms: [{ ...alarm, fault: "foodOut", founded: true, hoursAfterFault: null }] }),
    ]);
    expect(row.map((cell) => cell.split(" (")[0])).toEqual([
      "x",
      "1",
      "50.0 %",
      "100.0 %",
      "50.0 %",
      "2",
      "5",
      "100.0 %",
    ]);
  });

  it("tells a fault's first name from the one it ends with, and who else is blamed", () => {
    const late = { ...alarm, founded: false, unfedAfterFault: 12 };
    const row = faultRow("trayJammed", [
      figures({
        alarms: [
          { ...late, hoursAfterFault: 3 },
          { ...late, fault: "trayJammed", hoursAfterFault: 5 },
        ],
      }),
      figures({ alarms: [{ ...late, fault: "perchSilent", priority: "soon", hoursAfterFault: 3 }] }),
    ]);
    expect(row.map((cell) => cell.split(" (")[0])).toEqual([
      "trayJammed",
      "50.0 %",
      "0.0 %",
      "50.0 %",
      "3",
      "12",
      "50.0 %",
    ]);
  });

  it("says where a world can't plant a fault", () => {
    const row = notPlantedRow("chuteDirty");
    expect(row).toEqual(["chuteDirty", "not planted here", "-", "-", "-", "-", "-"]);
    expect(row.length).toBe(faultColumns.length);
  });
});
