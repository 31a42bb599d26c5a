import { expect } from "vitest";
import { minutes } from "../../../server/domain/instant.ts";
import type { StillRow, Store } from "../../../server/ports.ts";
import { addFeeder, addTwoYards, later, now } from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

const still = (id: string, different: Partial<StillRow> = {}): StillRow => ({
  ...{ id, yard: "alder", feeder: "rowan", at: now, addedAt: now, event: { boot: "b-1", seq: 7 } },
  ...{ eventKind: null, payment: null, starred: false, who: null, brought: null },
  ...{ widthPixels: 1_600, heightPixels: 1_200, bytes: 300 },
  ...different,
});
const plenty = { pictures: 9, bytes: 9_000 };
const elsewhere = { yard: "other", feeder: "larch" };

async function addFeeders(store: Store): Promise<void> {
  await addTwoYards(store);
  await addFeeder(store, "rowan");
  await addFeeder(store, "larch", "other");
}

async function addAll(store: Store, stills: readonly StillRow[]): Promise<void> {
  for (const each of stills) expect(await store.stills.addStill(each, plenty)).toEqual({ kind: "added", removed: [] });
}

export const stillRules: Rules = {
  "stills of a yard are read by the moment at which they were taken, the newest first": async ({ store }) => {
    await addFeeders(store);
    const [old, second, third, none] = [
      still("c", { starred: true, who: "a jay", brought: "a cap" }),
      still("b", { at: later(minutes(2)), event: { boot: "b-1", seq: 4_294_967_295 } }),
      still("a", { at: later(minutes(2)) }),
      still("d", { at: later(minutes(1)), event: null }),
    ];
    await addAll(store, [old, second, third, none, still("x", elsewhere)]);
    const { stills } = store;
    expect(await stills.stills("alder", later(minutes(3)), 9)).toEqual([third, second, none, old]);
    expect(await stills.stills("alder", later(minutes(2)), 1)).toEqual([none]);
    expect(await stills.stills("alder", third, 9)).toEqual([second, none, old]); // of the same moment
    expect(await stills.still("alder", "c")).toEqual(old);
    expect([await stills.still("other", "c"), await stills.still("alder", "x")]).toEqual([null, null]);
    const byId = await stills.stillsById("alder", ["c", "x", "unknown", "a"]);
    expect(byId.map(({ id }) => id).sort()).toEqual(["a", "c"]);
    expect(byId.find(({ id }) => id === "c")).toEqual(old);
    expect(await stills.stillsById("alder", [])).toEqual([]);
    expect(await stills.allStills()).toEqual([
      ...["a", "b", "c", "d"].map((id) => ({ yard: "alder", id, feeder: "rowan" })),
      { yard: "other", id: "x", feeder: "larch" },
    ]);
  },

  "a still with a known id, or of a feeder that isn't the yard's, is not stored": async ({ store }) => {
    await addFeeders(store);
    await addAll(store, [still("a")]);
    const { stills } = store;
    expect(await stills.addStill(still("a", { who: "a jay" }), plenty)).toEqual({ kind: "known" });
    expect(await stills.addStill(still("b", { feeder: "larch" }), plenty)).toEqual({ kind: "noFeeder" });
    expect(await stills.addStill(still("b", { feeder: "gone" }), plenty)).toEqual({ kind: "noFeeder" });
    expect(await stills.stills("alder", later(minutes(1)), 9)).toEqual([still("a")]);
  },

  "at the quota the oldest stills of the yard without a star go, and none where that isn't enough": async ({
    store,
  }) => {
    await addFeeders(store);
    const at = (minute: number) => ({ addedAt: later(minutes(minute)) });
    await addAll(store, [
      still("c", { ...at(0), starred: true }),
      still("d", at(1)),
      still("b", at(2)),
      still("a", at(2)),
    ]);
    await addAll(store, [still("x", elsewhere)]);
    const { stills } = store;
    const add = (id: string, bytes: number, most = { pictures: 4, bytes: 1_200 }) =>
      stills.addStill(still(id, { ...at(3), bytes }), most);
    expect(await add("e", 900, { pictures: 9, bytes: 1_100 })).toEqual({ kind: "full" });
    expect((await stills.usage("alder")).pictures).toBe(4);
    expect(await add("e", 300)).toEqual({ kind: "added", removed: ["d"] });
    expect(await add("f", 600)).toEqual({ kind: "added", removed: ["a", "b"] });
    expect(await stills.usage("alder")).toEqual({ pictures: 3, bytes: 1_200 });
    expect(await stills.usage("other")).toEqual({ pictures: 1, bytes: 300 });
    expect((await stills.allStills()).map(({ id }) => id)).toEqual(["c", "e", "f", "x"]);
    expect([
      await stills.countOf("rowan", later(minutes(0))),
      await stills.countOf("larch", later(minutes(0))),
    ]).toEqual([2, 0]);
    expect(await stills.countOf("rowan", later(minutes(3)))).toBe(0);
  },

  "a still's star and labels are changed, and counted by pair": async ({ store }) => {
    await addFeeders(store);
    await addAll(store, [still("a"), still("b"), still("c"), still("a", elsewhere)]);
    const { stills } = store;
    expect(await stills.changeStill("alder", "a", { who: "a jay", brought: "a cap" })).toBe(true);
    expect(await stills.changeStill("alder", "a", { starred: true })).toBe(true);
    expect(await stills.changeStill("alder", "b", { who: "a jay", brought: "a cap" })).toBe(true);
    expect(await stills.changeStill("alder", "unknown", { starred: true })).toBe(false);
    expect(await stills.still("alder", "a")).toEqual(still("a", { who: "a jay", brought: "a cap", starred: true }));
    expect(await stills.still("other", "a")).toEqual(still("a", elsewhere));
    expect(await stills.labels("alder")).toEqual([
      { who: null, brought: null, stills: 1 },
      { who: "a jay", brought: "a cap", stills: 2 },
    ]);
    await stills.changeStill("alder", "c", { brought: "a cap" });
    await stills.changeStill("alder", "b", { who: null });
    expect(await stills.labels("alder")).toEqual([
      { who: null, brought: "a cap", stills: 2 },
      { who: "a jay", brought: "a cap", stills: 1 },
    ]);
  },

  "stills are open until their event is known, and a deposit's until it is paid": async ({ store }) => {
    await addFeeders(store);
    const [early, first, last] = [
      still("a"),
      still("b", { addedAt: later(minutes(1)) }),
      still("c", { ...elsewhere, addedAt: later(minutes(2)) }),
    ];
    await addAll(store, [early, first, last, still("d", { event: null, addedAt: later(minutes(1)) })]);
    const { stills } = store;
    expect(await stills.openStills(now, 9)).toEqual([last, first]);
    expect(await stills.openStills(now, 1)).toEqual([last]);
    const found = { at: later(minutes(5)), eventKind: "deposit", payment: "unpaid" } as const;
    await stills.saveEvent("alder", "b", found);
    expect(await stills.still("alder", "b")).toEqual({ ...first, ...found });
    await stills.saveEvent("other", "c", { ...found, eventKind: "press", payment: null });
    expect(await stills.openStills(now, 9)).toEqual([{ ...first, ...found }]);
    await stills.saveEvent("alder", "b", { ...found, payment: null });
    expect((await stills.openStills(now, 9)).map(({ id }) => id)).toEqual(["b"]);
    await stills.saveEvent("alder", "b", { ...found, payment: "paid" });
    expect(await stills.openStills(now, 9)).toEqual([]);
  },

  "a still is removed alone, by its age, with its feeder, or with its yard": async ({ store }) => {
    await addFeeders(store);
    await addFeeder(store, "ash");
    const young = { addedAt: later(minutes(2)) };
    await addAll(store, [
      still("a"),
      still("b"),
      still("c", { addedAt: later(minutes(1)) }),
      still("d", { starred: true }),
    ]);
    await addAll(store, [
      still("e", { ...young, feeder: "ash" }),
      still("f", young),
      still("a", { ...elsewhere, ...young }),
    ]);
    const { stills } = store;
    const ids = async () => (await stills.allStills()).map(({ yard, id }) => `${yard} ${id}`);
    expect([await stills.removeStill("alder", "a"), await stills.removeStill("alder", "a")]).toEqual([true, false]);
    expect(await stills.removeOldStills("other", later(minutes(2)), 9)).toEqual([]);
    expect(await stills.removeOldStills("alder", later(minutes(2)), 1)).toEqual(["b"]);
    expect(await stills.removeOldStills("alder", later(minutes(2)), 9)).toEqual(["c"]);
    expect(await ids()).toEqual(["alder d", "alder e", "alder f", "other a"]);
    await store.yards.removeFeeder("ash");
    expect(await ids()).toEqual(["alder d", "alder f", "other a"]);
    await store.yards.removeYard("alder", null);
    expect(await ids()).toEqual(["other a"]);
  },
};
