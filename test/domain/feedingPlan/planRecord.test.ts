import { describe, expect, it } from "vitest";
import type { FeedingRules } from "../../../server/domain/feedingPlan/feedingRules.ts";
import type { PlanRecord } from "../../../server/domain/feedingPlan/planRecord.ts";
import { plannedDay } from "../../../server/domain/feedingPlan/planState.ts";
import { instantOf } from "../../../server/domain/instant.ts";
import { grams } from "../../../server/domain/units.ts";
import { feedingRulesOf } from "../../../server/flows/pure/requestedFeeding.ts";
import { feedingExample } from "../../support/feedingExample.ts";
import { rowanSettings } from "../rowan.ts";
import { simulateYard } from "../simulatedYard.ts";

const start = instantOf("2026-11-02T00:00:00Z");
const day = 24 * 60;
const rules = feedingRulesOf(
  { ...feedingExample, deposit: feedingExample.press, rationGrams: 400, quietTimes: [] },
  { name: "Rowan" },
);

/** Rowan with a plan, after a day that went well. */
function fed(changed: Partial<FeedingRules> = {}) {
  const simulation = simulateYard({ ...rowanSettings, feeding: { ...rules, ...changed } }, start, 5);
  simulation.pass(day);
  return {
    ...simulation,
    record: () => simulation.state().planRecord as PlanRecord,
    /** To so many minutes after one of today's times of free food, counted from 0. */
    passTo: (index: number, minutesAfter: number) => {
      const { plan, settings } = simulation.state();
      const time = plannedDay(plan, settings, simulation.now())?.free[index] as number;
      simulation.pass(Math.floor((time - simulation.now()) / 60_000) + minutesAfter);
    },
    /** Why the alarm is active; null: it isn't. */
    missed: () => {
      const alarm = simulation.state().alarms.freeFoodMissed;
      return alarm?.state === "unacknowledged" ? alarm.finding.reason : null;
    },
  };
}

describe("what was planned and what was given", () => {
  it("agree on a feeder that follows its plan, through fourteen days and several plans", () => {
    const simulation = fed();
    let [judged, versions] = [0, new Set<number>()];
    for (let passed = 0; passed < 13; passed += 1) {
      simulation.pass(day);
      simulation.refill(1_500);
      const { planned = 0, given = 0, causes = [] } = simulation.record().dayBefore ?? {};
      expect(causes).toEqual([]);
      expect(given).toBeGreaterThanOrEqual(planned);
      judged += planned;
      versions.add(simulation.state().plan?.version ?? 0);
    }
    expect(judged).toBeGreaterThan(13 * 4);
    expect(versions.size).toBeGreaterThan(2);
    expect(simulation.notifiedFaults()).not.toContain("freeFoodMissed");
    expect(simulation.notifiedFaults()).not.toContain("planNotTaken");
  });

  it("differ by what a power cut prevented, and say so", () => {
    const simulation = fed();
    simulation.passTo(0, -10);
    simulation.truth.dead.add("link").add("timer");
    simulation.passTo(2, 30);
    simulation.restart();
    simulation.truth.dead.clear();
    simulation.pass(60);
    expect(simulation.record().causes).toEqual(["power"]);
    expect(simulation.missed()).toMatch(/^Free food today: planned \d+ portions so far, gave \d: it had no power\.$/);
  });

  it("differ by what a board without a clock waited for, and say so", () => {
    const simulation = fed();
    simulation.passTo(0, -10);
    simulation.restart();
    simulation.truth.dead.add("link").add("timer");
    simulation.passTo(2, 30);
    simulation.truth.dead.clear();
    simulation.pass(60);
    expect(simulation.record().causes).toEqual(["time"]);
    expect(simulation.missed()).toContain("did not know the time");
  });

  it("count what was given without a network once it is told of", () => {
    const simulation = fed();
    simulation.passTo(0, -10);
    simulation.truth.dead.add("link");
    simulation.passTo(2, 30);
    simulation.truth.dead.clear();
    simulation.pass(60);
    expect(simulation.record().causes).toEqual([]);
    expect(simulation.record().planned).toBeGreaterThanOrEqual(3);
  });

  it("leave out what came while it was paused", () => {
    const simulation = fed();
    simulation.passTo(0, -10);
    simulation.order("p1", "pause");
    simulation.passTo(2, 30);
    const { planned } = simulation.record();
    simulation.order("p2", "resume");
    simulation.pass(20);
    expect(planned).toBe(0);
    expect(simulation.record().causes).toEqual([]);
    simulation.truth.dead.add("timer");
    simulation.passTo(5, 30);
    expect(simulation.record().causes).toEqual(["unknown"]); // after it, each counts again
  });

  it("leave out what the ration doesn't allow any more", () => {
    const simulation = fed({ ration: grams(12) });
    simulation.truth.dead.add("timer"); // birds earn the ration, all six portions
    simulation.truth.perHour = 60;
    simulation.pass(day - 120);
    const { portions, planned, given } = simulation.record();
    expect(portions).toBeGreaterThan(6);
    expect(planned - given).toBeLessThan(simulation.record().each * 2);
  });

  it("name a weak supply and a motor that doesn't run freely", () => {
    for (const [plant, cause] of [
      ["supply", "supply"],
      ["motor", "motor"],
    ] as const) {
      const simulation = fed();
      simulation.passTo(0, -10);
      if (plant === "supply") simulation.truth.sag = 0.8;
      else simulation.truth.motor = "stalled";
      simulation.truth.perHour = 60; // portions that show it
      simulation.pass(30);
      simulation.truth.dead.add("timer");
      simulation.passTo(4, 40);
      expect(simulation.record().causes).toContain(cause);
      expect(simulation.missed()).toBeNull(); // the cause has its own alarm
    }
  });

  it("are not judged of a feeder that says it follows another plan", () => {
    const simulation = fed();
    simulation.truth.dead.add("planTaker").add("timer");
    simulation.give({
      kind: "settingsChanged",
      settings: { ...simulation.state().settings, feeding: { ...rules, ration: grams(300) } },
    });
    simulation.pass(day);
    expect(simulation.record().causes).toEqual([]);
    expect(simulation.state().alarms.planNotTaken?.finding.reason).toContain("still follows version");
  });

  it("end with their day: the alarm doesn't outlast it by long", () => {
    const simulation = fed();
    simulation.truth.dead.add("timer");
    simulation.pass(day - 120);
    expect(simulation.missed()).not.toBeNull();
    simulation.truth.dead.clear();
    simulation.pass(6 * 60);
    expect(simulation.missed()).toBeNull();
    expect(simulation.record().dayBefore?.causes).toEqual(["unknown"]);
  });
});

describe("a plan", () => {
  it("is made anew where the place changes, since its light does", () => {
    const simulation = fed();
    const before = simulation.state().plan?.version ?? 0;
    const settings = simulation.state().settings;
    const sameRules = structuredClone(settings.feeding) as FeedingRules;
    simulation.give({ kind: "settingsChanged", settings: { ...settings, name: "Larch", feeding: sameRules } });
    expect(simulation.state().plan?.version).toBe(before);
    const place = { latitudeDegrees: 68, longitudeDegrees: 17.8 };
    simulation.give({ kind: "settingsChanged", settings: { ...settings, place } });
    expect(simulation.state().plan?.version).toBe(before + 1);
  });

  it("has had a quarter of an hour to be taken before anybody is told that it was not", () => {
    const simulation = fed();
    simulation.truth.dead.add("planTaker");
    simulation.give({
      kind: "settingsChanged",
      settings: { ...simulation.state().settings, feeding: { ...rules, ration: grams(300) } },
    });
    simulation.pass(10);
    expect(simulation.state().alarms.planNotTaken).toBeUndefined();
    simulation.pass(15);
    expect(simulation.state().alarms.planNotTaken?.state).toBe("unacknowledged");
    simulation.truth.dead.clear();
    simulation.pass(10);
    expect(simulation.state().alarms.planNotTaken?.state).toBe("returnedUnacknowledged");
  });
});
