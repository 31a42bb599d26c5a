import { expect } from "vitest";
import type { QuarterRollup } from "../../../server/domain/history/quarterChanges.ts";
import { days, type Instant, instantOf, milliseconds, minutes } from "../../../server/domain/instant.ts";
import { logEntryOf } from "../../../server/flows/pure/logEntry.ts";
import { rebuildState } from "../../../server/flows/pure/rebuildState.ts";
import { FeederDamaged, type LogContent, type Store } from "../../../server/ports.ts";
import { later, newFeederOf, now } from "./contents.ts";
import { report } from "./logRules.ts";
import { addRowanAndLarch, allVisits, closeQuarters, quarter, rollupsOf } from "./rollupFixture.ts";
import { feederOf, stepOf, takeSteps } from "./stepRules.ts";
import type { Rules } from "./storeUnderTest.ts";

/** A feeder whose log begins with its settings, as the server writes it: the log alone gives its state. */
async function addLogged({ yards }: Store, id: string, yard = "alder"): Promise<void> {
  const added = newFeederOf(yard, id);
  const fact = { kind: "settingsChanged", settings: added.state.settings } as const;
  await yards.addFeeder({ ...added, firstEntry: JSON.stringify(logEntryOf(fact, now, null)) }, now);
}

/** What a step stores instead of the quarters that it closes. */
type Distort = (closed: readonly QuarterRollup[]) => readonly QuarterRollup[];

/** A step as the server takes it. */
async function takeLogged(store: Store, id: string, at: Instant, content: LogContent, distort: Distort): Promise<void> {
  const feeder = await feederOf(store, id);
  const closed: QuarterRollup[] = [];
  const step = feeder.revision + 1;
  const stepped = rebuildState(feeder, [{ step, at, content }], (quarters) => closed.push(...quarters));
  const saved = { ...stepOf(feeder, at, content), ...stepped, closedQuarters: distort(closed) };
  await store.transaction((tx) => tx.saveSteps([saved]));
}

/** A visit every half hour of two hours, on each of three days from 06:00 on; a check an hour later closes the last quarter. */
async function takeDays(store: Store, id: string, distort: Distort): Promise<void> {
  for (const day of [0, 1, 2]) {
    for (const [index, minute] of [30, 60, 90, 120].entries()) {
      const uptime = days(day) + minutes(minute);
      const events = [[4 * day + index + 1, "visit", (uptime - minutes(9)) / minutes(1)]] as const;
      const sentUptimeMs = milliseconds(uptime);
      const readings = JSON.stringify({ airCelsius: day - minute / 10 });
      await takeLogged(store, id, later(sentUptimeMs), report(events, { sentUptimeMs, readings }), distort);
    }
    await takeLogged(store, id, later(milliseconds(days(day) + minutes(180))), { kind: "check" }, distort);
  }
}

const asTheyAre: Distort = (closed) => closed;

/** Some are missing, one is wrong, and one is too many. */
const wrongly: Distort = (closed) =>
  closed.flatMap(({ from, rollup }) => {
    if (from === instantOf("2026-11-26T06:45:00Z")) return [];
    if (from === instantOf("2026-11-26T07:15:00Z")) return [quarter("11-26T07:15", 50), quarter("11-27T23:45", 51)];
    return [{ from, rollup }];
  });

/** Rowan with wrong roll-ups, and Larch, to which the same happened, with true ones. */
async function addRightAndWrong(store: Store): Promise<void> {
  await addRowanAndLarch(store, addLogged);
  await takeDays(store, "larch", asTheyAre);
  await takeDays(store, "rowan", wrongly);
}

const allRollups = async (store: Store, id: string) => ({
  quarter: (await rollupsOf(store, id, "quarter")) ?? [],
  hour: (await rollupsOf(store, id, "hour")) ?? [],
  day: (await rollupsOf(store, id, "day")) ?? [],
});

async function packAndThin({ packs }: Store, before: Instant): Promise<void> {
  while (await packs.packNext(later(days(9))));
  while (await packs.thinNext(before));
}

export const rebuiltRollupRules: Rules = {
  "roll-ups are made again from the log: missing, wrong and needless ones, and no other feeder's": async ({
    store,
  }) => {
    await addRightAndWrong(store);
    const right = await allRollups(store, "larch");
    expect((await allVisits(store, "larch")).day).toEqual(["11-24T23:00 4", "11-25T23:00 4", "11-26T23:00 4"]);
    const rows = right.quarter.length + right.hour.length + right.day.length;
    const none = { from: null, unreadable: [], linesLeftOut: 0 };
    // Three quarters, their hours 06:00, 07:00 and 23:00, and the days that they lie in, one of them needless.
    expect(await store.rollups.rebuild("rowan")).toEqual({ ...none, rows, changed: 8 });
    expect(await allRollups(store, "rowan")).toEqual(right);
    expect(await store.rollups.rebuild("rowan")).toEqual({ ...none, rows, changed: 0 });
    expect(await store.rollups.rebuild("larch")).toEqual({ ...none, rows, changed: 0 });
    await closeQuarters(store, "rowan", [quarter("11-26T06:45", 1)]);
    expect((await allVisits(store, "rowan")).hour).toContain("11-26T06:00 3");
    expect(await allRollups(store, "larch")).toEqual(right);
  },

  "a line of the log that can't be taken is counted, and the others make the roll-ups": async ({ store }) => {
    await addRightAndWrong(store);
    const content: LogContent = { kind: "entry", entry: JSON.stringify({ keeper: {} }) };
    await takeSteps(store, "rowan", [[later(days(3)), content]]);
    expect(await store.rollups.rebuild("rowan")).toMatchObject({ changed: 8, linesLeftOut: 1 });
    expect(await allRollups(store, "rowan")).toEqual(await allRollups(store, "larch"));
  },

  "roll-ups stay as they are where their readings are gone, and are made again after that": async ({ store }) => {
    await addRightAndWrong(store);
    const line = { at: later(days(3)), content: { kind: "check" } } as const;
    await closeQuarters(store, "rowan", [quarter("11-25T06:15", 70), quarter("11-27T07:15", 71)], { line });
    const right = await allRollups(store, "larch");
    await packAndThin(store, later(days(1)));
    // The last line of the first day is of 09:00, when the quarter of 08:45 was open.
    const result = await store.rollups.rebuild("rowan");
    expect(result).toMatchObject({ from: instantOf("2026-11-25T08:45:00Z"), unreadable: [], linesLeftOut: 0 });
    expect(result.changed).toBeGreaterThan(8);
    const withVisits = ({ from, rollup }: QuarterRollup, begins: readonly string[]) =>
      begins.some((begin) => from === instantOf(`2026-${begin}:00Z`))
        ? { from, rollup: { ...rollup, counts: { ...rollup.counts, visits: rollup.counts.visits + 70 } } }
        : { from, rollup };
    const begins = { quarter: ["11-25T06:15"], hour: ["11-25T06:00"], day: ["11-24T23:00"] };
    for (const level of ["quarter", "hour", "day"] as const)
      expect(await rollupsOf(store, "rowan", level)).toEqual(right[level].map((row) => withVisits(row, begins[level])));
    expect(await store.rollups.rebuild("rowan")).toMatchObject({ changed: 0 });
    expect(await store.rollups.rebuild("larch")).toMatchObject({ changed: 0 });
  },

  "roll-ups stay as they are where the log is damaged, and the damaged part is named": {
    needs: "damagedPacks",
    async check({ store, damagePacks }) {
      await addRightAndWrong(store);
      const wrong = await allRollups(store, "rowan");
      while (await store.packs.packNext(later(days(2))));
      damagePacks("rowan");
      const { unreadable } = await store.rollups.rebuild("rowan");
      expect(unreadable.map(({ firstStep, lastStep }) => [firstStep, lastStep])).toEqual([[0, 5]]);
      const firstDay = (rows: readonly QuarterRollup[]) => rows.filter(({ from }) => from < later(days(1)));
      expect(firstDay((await allRollups(store, "rowan")).quarter)).toEqual(firstDay(wrong.quarter));
    },
  },

  "roll-ups are not made again for a damaged feeder, or for none": async ({ store, damageState }) => {
    await addRightAndWrong(store);
    await expect(store.rollups.rebuild("none")).rejects.toThrow();
    damageState("rowan");
    await expect(store.rollups.rebuild("rowan")).rejects.toThrow(FeederDamaged);
  },
};
