import { expect } from "vitest";
import type { HistoryPlan } from "../../../server/domain/history/historyPlan.ts";
import type { QuarterRollup } from "../../../server/domain/history/quarterChanges.ts";
import { emptyRollup } from "../../../server/domain/history/rollup.ts";
import { initialRollups } from "../../../server/domain/history/rollups.ts";
import { type Instant, instantOf } from "../../../server/domain/instant.ts";
import { FeederDamaged, StoreBusy } from "../../../server/ports.ts";
import { addFeeder, alder, later, now } from "./contents.ts";
import {
  addRowanAndLarch,
  allVisits,
  closeQuarters,
  moveTo,
  noVisits,
  quarter,
  rollupsOf,
  visitsOf,
} from "./rollupFixture.ts";
import { feederOf, stepOf } from "./stepRules.ts";
import type { Rules } from "./storeUnderTest.ts";

/** Stockholm is an hour ahead of UTC: 25 November begins there at 23:00. The last one is of the day after. */
const closed = [
  quarter("11-24T23:00", 1),
  quarter("11-25T06:00", 2),
  quarter("11-25T06:45", 4),
  quarter("11-25T23:00", 8),
];
const closedVisits = {
  quarter: ["11-24T23:00 1", "11-25T06:00 2", "11-25T06:45 4", "11-25T23:00 8"],
  hour: ["11-24T23:00 1", "11-25T06:00 6", "11-25T23:00 8"],
  day: ["11-24T23:00 7", "11-25T23:00 8"],
};

const at = instantOf("2026-11-25T06:00:00Z");
const whole: QuarterRollup = {
  from: at,
  rollup: {
    counts: { ...emptyRollup.counts, reports: 15, depositsPaid: 1, depositsUnpaid: 1 },
    decigramsGiven: 100,
    level: { at: later(5 as never), last: 900, low: 800, high: 1_000, least: 890, most: 950 },
    measures: { ...emptyRollup.measures, air: { count: 2, sum: -15, least: -10, most: -5 } },
    standingAlarms: ["trayJammed"],
  },
};
/** Of an event that came late: it pays a deposit that was counted as unpaid. */
const late: QuarterRollup = {
  from: at,
  rollup: {
    counts: { ...emptyRollup.counts, reports: 1, depositsPaid: 1, depositsUnpaid: -1 },
    decigramsGiven: 50,
    level: { at: later(4 as never), last: 940, low: 840, high: 1_040, least: 940, most: 960 },
    measures: {
      ...emptyRollup.measures,
      air: { count: 1, sum: -20, least: -20, most: -20 },
      supply: { count: 1, sum: 500, least: 500, most: 500 },
    },
    standingAlarms: ["feedBridged"],
  },
};
const both: QuarterRollup = {
  from: at,
  rollup: {
    counts: { ...emptyRollup.counts, reports: 16, depositsPaid: 2, depositsUnpaid: 0 },
    decigramsGiven: 150,
    level: { at: later(5 as never), last: 900, low: 800, high: 1_000, least: 890, most: 960 },
    measures: {
      ...emptyRollup.measures,
      air: { count: 3, sum: -35, least: -20, most: -5 },
      supply: { count: 1, sum: 500, least: 500, most: 500 },
    },
    standingAlarms: ["feedBridged", "trayJammed"],
  },
};

export const rollupRules: Rules = {
  "the quarters that a step closes are stored with its commit, and merged into hours and days of the zone": async ({
    store,
    openSecond,
  }) => {
    await addRowanAndLarch(store, addFeeder);
    const second = await openSecond();
    const before = await feederOf(store, "rowan");
    await store.transaction(async (tx) => {
      await tx.saveSteps([{ ...stepOf(before, now), closedQuarters: closed }]);
      for (const handle of [store, second]) expect(await allVisits(handle, "rowan")).toEqual(noVisits);
    });
    for (const handle of [store, second]) expect(await allVisits(handle, "rowan")).toEqual(closedVisits);
  },

  "a quarter that is closed again is merged into the stored one, all of it, and so are its hour and its day": async ({
    store,
  }) => {
    await addRowanAndLarch(store, addFeeder);
    await closeQuarters(store, "rowan", [whole]);
    expect(await rollupsOf(store, "rowan", "quarter")).toEqual([whole]);
    await closeQuarters(store, "rowan", [late]);
    expect(await rollupsOf(store, "rowan", "quarter")).toEqual([both]);
    expect(await rollupsOf(store, "rowan", "hour")).toEqual([both]);
    const { rollup } = both;
    expect(await rollupsOf(store, "rowan", "day")).toEqual([{ from: instantOf("2026-11-24T23:00:00Z"), rollup }]);
    await closeQuarters(store, "rowan", [{ from: at, rollup: { ...emptyRollup, decigramsGiven: null } }]);
    expect((await rollupsOf(store, "rowan", "quarter"))?.[0]?.rollup).toEqual({ ...rollup, decigramsGiven: null });
  },

  "the roll-ups of a span are those that begin in it, its end left out, in order of time": async ({ store }) => {
    await addRowanAndLarch(store, addFeeder);
    const [first, second, third, fourth] = closed as [QuarterRollup, QuarterRollup, QuarterRollup, QuarterRollup];
    await closeQuarters(store, "rowan", [third, fourth]);
    await closeQuarters(store, "rowan", [second]);
    await closeQuarters(store, "rowan", [first]);
    expect(await allVisits(store, "rowan")).toEqual(closedVisits);
    const within = (from: number, to: number, level: HistoryPlan["level"] = "quarter") =>
      visitsOf(store, "rowan", level, { from: from as Instant, to: to as Instant });
    expect(await within(second.from, fourth.from)).toEqual(closedVisits.quarter.slice(1, 3));
    expect(await within(second.from + 1, fourth.from + 1)).toEqual(closedVisits.quarter.slice(2));
    expect(await within(second.from, second.from)).toEqual([]);
    expect(await within(second.from, third.from, "hour")).toEqual(["11-25T06:00 6"]);
    expect(await within(second.from, fourth.from, "day")).toEqual([]); // it began before
  },

  "a feeder's roll-ups are its own, also where both have the same quarters": async ({ store }) => {
    await addRowanAndLarch(store, addFeeder);
    const [rowan, larch] = [await feederOf(store, "rowan"), await feederOf(store, "larch")];
    const [ofRowan, ofLarch] = [quarter("11-25T06:00", 1), quarter("11-25T06:00", 16)];
    await store.transaction((tx) =>
      tx.saveSteps([
        { ...stepOf(rowan, now), closedQuarters: [ofRowan] },
        { ...stepOf(larch, now), closedQuarters: [ofLarch, quarter("11-25T07:00", 32)] },
      ]),
    );
    const rows = { quarter: ["11-25T06:00 1"], hour: ["11-25T06:00 1"], day: ["11-24T23:00 1"] };
    expect(await allVisits(store, "rowan")).toEqual(rows);
    expect(await visitsOf(store, "larch", "day")).toEqual(["11-24T23:00 48"]);
    await moveTo(store, "larch", "UTC");
    expect(await allVisits(store, "rowan")).toEqual(rows);
  },

  "roll-ups of a transaction that fails are as they were, of each level": async ({ store }) => {
    await addRowanAndLarch(store, addFeeder);
    await closeQuarters(store, "rowan", closed);
    const [rowan, larch] = [await feederOf(store, "rowan"), await feederOf(store, "larch")];
    const again = { ...stepOf(rowan, now), closedQuarters: [...closed, quarter("11-26T09:00", 5)] };
    const failing = store.transaction(async (tx) => {
      await tx.saveSteps([again]);
      throw new Error("planted");
    });
    await expect(failing).rejects.toThrow("planted");
    const old = { ...stepOf({ ...larch, revision: 7 }, now), closedQuarters: closed };
    await expect(store.transaction((tx) => tx.saveSteps([again, old]))).rejects.toThrow(StoreBusy);
    expect(await allVisits(store, "rowan")).toEqual(closedVisits);
    expect(await allVisits(store, "larch")).toEqual(noVisits);
    await closeQuarters(store, "rowan", [quarter("11-25T06:15", 16)]);
    expect(await visitsOf(store, "rowan", "hour")).toEqual(["11-24T23:00 1", "11-25T06:00 22", "11-25T23:00 8"]);
  },

  "another zone has its own hours and days of all quarters, those that close in that step included": async ({
    store,
  }) => {
    await addRowanAndLarch(store, addFeeder);
    await closeQuarters(store, "rowan", closed);
    await closeQuarters(store, "larch", closed);
    // Kathmandu is 5:45 ahead of UTC, so its days begin at 18:15 (IANA tz database).
    await moveTo(store, "rowan", "Asia/Kathmandu", [quarter("11-25T06:00", 16), quarter("11-25T06:15", 32)]);
    const visits = await allVisits(store, "rowan");
    expect(await allVisits(store, "larch")).toEqual(closedVisits);
    expect(visits.quarter).toHaveLength(5);
    expect(visits.hour).toEqual(["11-24T22:15 1", "11-25T05:15 18", "11-25T06:15 36", "11-25T22:15 8"]);
    expect(visits.day).toEqual(["11-24T18:15 55", "11-25T18:15 8"]);
    await closeQuarters(store, "rowan", [quarter("11-25T06:00", 64)]);
    expect(await visitsOf(store, "rowan", "hour")).toContain("11-25T05:15 82");
    await moveTo(store, "rowan", "Europe/Stockholm");
    expect(await visitsOf(store, "rowan", "hour")).toEqual(["11-24T23:00 1", "11-25T06:00 118", "11-25T23:00 8"]);
    expect(await visitsOf(store, "rowan", "day")).toEqual(["11-24T23:00 119", "11-25T23:00 8"]);
    expect(await allVisits(store, "larch")).toEqual(closedVisits);
  },

  "a day of the zone has 25 hours where its clocks are set back": async ({ store }) => {
    await addRowanAndLarch(store, addFeeder);
    // 25 October 2026 in Stockholm: from 22:00 UTC on, for 25 hours (IANA tz database).
    const edges = ["10-24T21:45", "10-24T22:00", "10-25T22:45", "10-25T23:00"];
    await closeQuarters(
      store,
      "rowan",
      edges.map((time, index) => quarter(time, 2 ** index)),
    );
    expect(await visitsOf(store, "rowan", "day")).toEqual(["10-23T22:00 1", "10-24T22:00 6", "10-25T23:00 8"]);
  },

  "a removed feeder leaves no roll-ups, also for one that gets its id": async ({ store }) => {
    await addRowanAndLarch(store, addFeeder);
    for (const id of ["rowan", "larch"]) await closeQuarters(store, id, closed);
    await store.yards.removeFeeder("rowan");
    expect(await rollupsOf(store, "rowan", "day")).toBeNull();
    await addFeeder(store, "rowan");
    expect(await allVisits(store, "rowan")).toEqual(noVisits);
    expect(await allVisits(store, "larch")).toEqual(closedVisits);
    await store.yards.removeYard("other", null);
    await addFeeder(store, "larch", alder.id);
    expect(await allVisits(store, "larch")).toEqual(noVisits);
  },

  "a chart gets the feeder and its roll-ups of one moment, by a plan for that feeder": async ({
    store,
    damageState,
  }) => {
    await addRowanAndLarch(store, addFeeder);
    const open = { ...initialRollups(), open: [quarter("11-25T23:15", 3)] };
    await closeQuarters(store, "rowan", closed, { rollups: open });
    const feeder = await feederOf(store, "rowan");
    const plan: HistoryPlan = { level: "hour", from: at, to: later(1 as never), starts: [at] };
    const read = await store.history.rollups("rowan", (given) => {
      expect(given).toEqual(feeder);
      return plan;
    });
    const { from, rollup } = quarter("11-25T06:00", 6);
    expect(read).toEqual({ feeder, plan, rollups: [{ from, rollup }], damaged: 0 });
    expect(read?.feeder.rollups).toEqual(open);
    expect(await store.history.rollups("none", () => expect.unreachable())).toBeNull();
    damageState("rowan");
    await expect(store.history.rollups("rowan", () => plan)).rejects.toThrow(FeederDamaged);
  },
};
