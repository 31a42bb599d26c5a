import { expect } from "vitest";
import type { FeederState } from "../../../server/domain/feeder.ts";
import { emptyRollup } from "../../../server/domain/history/rollup.ts";
import { initialRollups, type Rollups } from "../../../server/domain/history/rollups.ts";
import { hours, type Instant, minutes } from "../../../server/domain/instant.ts";
import {
  FeederDamaged,
  type FeederRow,
  type LogContent,
  type SavedStep,
  type Store,
  StoreBusy,
} from "../../../server/ports.ts";
import { addAlder, addFeeder, addTwoYards, alder, later, now } from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

/** The feeder's next step: it was cleaned. */
export const stepOf = (
  { id, revision, state, rollups }: FeederRow,
  at: Instant,
  content: LogContent = { kind: "check" },
): SavedStep => ({
  ...{
    id,
    revision,
    lastReportAt: content.kind === "report" ? at : null,
    lastStepAt: at,
    nextCheckAt: later(hours(9)),
  },
  ...{ state: { ...state, cleanedAt: at }, line: { at, content }, rollups, closedQuarters: [], isPlain: false },
});

/** Takes one step after the other. */
export async function takeSteps(
  store: Store,
  id: string,
  steps: readonly (readonly [Instant, LogContent])[],
): Promise<void> {
  for (const [at, content] of steps)
    await store.transaction(async (tx) => {
      const [feeder] = await tx.feeders([id]);
      if (feeder !== undefined) await tx.saveSteps([stepOf(feeder, at, content)]);
    });
}

export async function feederOf(store: Store, id: string): Promise<FeederRow> {
  const found = await store.yards.feeder(id);
  if (found === null) throw new Error(`expected the feeder ${id}`);
  return found;
}

/** What isn't stored as roll-ups yet is stored with the state. */
const openSince = (from: Instant): Rollups => ({ ...initialRollups(), open: [{ from, rollup: emptyRollup }] });

export const stepRules: Rules = {
  "a step changes a feeder's row and adds a line to its log": async ({ store, openSecond }) => {
    await addAlder(store);
    await addFeeder(store, "rowan");
    const before = await feederOf(store, "rowan");
    const step = { ...stepOf(before, later(hours(1))), lastReportAt: now, rollups: openSince(now) };
    await store.transaction((tx) => tx.saveSteps([step]));
    const { state, rollups, lastStepAt, lastReportAt } = step;
    const after = { ...before, revision: 1, state, rollups, lastStepAt, lastReportAt };
    expect(await feederOf(store, "rowan")).toEqual(after);
    expect(await feederOf(await openSecond(), "rowan")).toEqual(after);
    expect(await store.records.lines("rowan", 0, 9, 9)).toEqual([{ step: 1, ...step.line }]);
    expect(await store.yards.dueForCheck(later(hours(8)), 9)).toEqual([]);
    expect(await store.yards.dueForCheck(later(hours(9)), 9)).toEqual(["rowan"]);
  },

  "a step that was computed from an old revision is refused, with all else of its transaction": async ({
    store,
    openSecond,
  }) => {
    await addAlder(store);
    for (const id of ["rowan", "larch"]) await addFeeder(store, id);
    const [old, larch] = [await feederOf(store, "rowan"), await feederOf(store, "larch")];
    await takeSteps(await openSecond(), "rowan", [[later(hours(1)), { kind: "check" }]]);
    const present = await feederOf(store, "rowan");
    const late = [stepOf(larch, later(hours(2))), stepOf(old, later(hours(2)))];
    await expect(store.transaction((tx) => tx.saveSteps(late))).rejects.toThrow(StoreBusy);
    expect(await feederOf(store, "rowan")).toEqual(present);
    expect(await feederOf(store, "larch")).toEqual(larch);
    await expect(store.transaction((tx) => tx.saveSteps([{ ...stepOf(old, now), id: "none" }]))).rejects.toThrow();
  },

  "a step is visible in its own transaction, and not outside before the commit": async ({ store, openSecond }) => {
    await addAlder(store);
    await addFeeder(store, "rowan");
    const second = await openSecond();
    const before = await feederOf(store, "rowan");
    await store.transaction(async (tx) => {
      await tx.saveSteps([stepOf(before, later(hours(1)))]);
      const [staged] = await tx.feeders(["rowan"]);
      expect(staged).toMatchObject({ revision: 1, state: { cleanedAt: later(hours(1)) } });
      expect(await tx.feedersOf(alder.id)).toEqual([staged]);
      expect(await feederOf(store, "rowan")).toEqual(before);
      expect(await feederOf(second, "rowan")).toEqual(before);
      expect(await store.records.lines("rowan", 0, 9, 9)).toEqual([]);
      await tx.saveSteps([stepOf(staged as FeederRow, later(hours(2)))]);
    });
    expect(await feederOf(store, "rowan")).toMatchObject({ revision: 2, state: { cleanedAt: later(hours(2)) } });
  },

  "a step whose transaction fails leaves nothing, also in memory": async ({ store }) => {
    await addAlder(store);
    await addFeeder(store, "rowan");
    const before = await feederOf(store, "rowan");
    const failing = store.transaction(async (tx) => {
      await tx.saveSteps([stepOf(before, later(hours(1)))]);
      throw new Error("planted");
    });
    await expect(failing).rejects.toThrow("planted");
    expect(await feederOf(store, "rowan")).toEqual(before);
    expect(await store.records.lines("rowan", 0, 9, 9)).toEqual([]);
    await takeSteps(store, "rowan", [[later(hours(2)), { kind: "check" }]]);
    expect((await feederOf(store, "rowan")).revision).toBe(1);
  },

  "a feeder's name follows its settings": async ({ store }) => {
    await addAlder(store);
    await addFeeder(store, "rowan");
    const { state, ...row } = await feederOf(store, "rowan");
    const renamed = { ...state, settings: { ...state.settings, name: "Rowan by the shed" } };
    await store.transaction((tx) => tx.saveSteps([stepOf({ ...row, state: renamed }, now)]));
    expect((await feederOf(store, "rowan")).state.settings.name).toBe("Rowan by the shed");
  },
};

const rebuilt = (state: FeederState) => ({
  ...{ state: { ...state, cleanedAt: now }, rollups: openSince(now), lastStepAt: later(minutes(5)) },
});

export const damageRules: Rules = {
  "a damaged feeder is named with its problem, and left out wherever only others can be used": async ({
    store,
    damageState,
  }) => {
    await addTwoYards(store);
    for (const id of ["rowan", "larch"]) await addFeeder(store, id);
    const { state, rollups, rebuiltAt, ...row } = await feederOf(store, "rowan");
    damageState("rowan");
    const problem = expect.any(String);
    const damaged = { ...row, revision: 1, name: "Rowan", problem };
    expect(await store.yards.damagedFeeders()).toEqual([damaged]);
    await expect(store.yards.feeder("rowan")).rejects.toThrow(FeederDamaged);
    await expect(store.transaction((tx) => tx.feeders(["larch", "rowan"]))).rejects.toThrow(FeederDamaged);
    const others = [
      store.yards.feeders(),
      store.digests.feedersOf(alder.id),
      store.transaction((tx) => tx.feedersOf(alder.id)),
    ];
    for (const rows of await Promise.all(others)) expect(rows.map(({ id }) => id)).toEqual(["larch"]);
    const step = stepOf({ ...row, revision: 1, state, rollups, rebuiltAt }, now);
    await expect(store.transaction((tx) => tx.saveSteps([step]))).rejects.toThrow(FeederDamaged);
    expect(await store.yards.feederWithKey("key of rowan")).not.toBeNull();
  },

  "a damaged state is replaced once, by the revision that was damaged": async ({ store, damageState }) => {
    await addAlder(store);
    await addFeeder(store, "rowan");
    const { state, ...row } = await feederOf(store, "rowan");
    await takeSteps(store, "rowan", [[later(minutes(5)), { kind: "check" }]]);
    damageState("rowan");
    const at = later(hours(1));
    const replace = (revision: number) =>
      store.transaction((tx) => tx.replaceDamaged({ id: "rowan", revision }, rebuilt(state), at));
    expect(await replace(1)).toBe(false);
    expect(await replace(2)).toBe(true);
    expect(await replace(2)).toBe(false);
    expect(await feederOf(store, "rowan")).toEqual({ ...row, ...rebuilt(state), revision: 3, rebuiltAt: at });
    expect(await store.yards.damagedFeeders()).toEqual([]);
    expect(await store.yards.dueForCheck(at, 9)).toEqual(["rowan"]);
    await takeSteps(store, "rowan", [[later(hours(2)), { kind: "check" }]]);
    expect(await feederOf(store, "rowan")).toMatchObject({ revision: 4, rebuiltAt: at });
  },
};
