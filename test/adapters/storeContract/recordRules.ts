import { expect } from "vitest";
import type { AlarmChange } from "../../../server/domain/alarms/alarmStates.ts";
import { hours, type Instant, minutes } from "../../../server/domain/instant.ts";
import type { Order } from "../../../server/domain/orders/order.ts";
import { grams } from "../../../server/domain/units.ts";
import type { Store, StoredRefill } from "../../../server/ports.ts";
import { addAlder, addFeeder, addTwoYards, later, now } from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

const change = (at: Instant, different: Partial<AlarmChange> = {}): AlarmChange => ({
  ...{ fault: "foodLow", priority: "soon", from: "normal", to: "unacknowledged", at, reason: "so it was" },
  ...{ present: true },
  ...different,
});
const append = (store: Store, feeder: string, changes: readonly AlarmChange[]) =>
  store.transaction((tx) => tx.appendAlarmChanges(feeder, changes));

export const alarmChangeRules: Rules = {
  "alarm changes are read in order, those of one moment as they were appended": async ({ store }) => {
    await addAlder(store);
    const states = ["suspected", "unacknowledged", "acknowledged", "shelved", "outOfService", "normal"] as const;
    const atOnce = states.map((to) => change(later(minutes(1)), { to, present: to !== "normal" }));
    await append(store, "rowan", atOnce.slice(0, 4));
    await append(store, "rowan", atOnce.slice(4));
    await append(store, "rowan", [change(now)]);
    await append(store, "larch", [change(now)]);
    expect(await store.records.alarmChanges("rowan", now, later(hours(1)))).toEqual([change(now), ...atOnce]);
    expect(await store.records.alarmChanges("rowan", now, later(minutes(1)))).toEqual([change(now)]);
    expect(await store.records.alarmChanges("rowan", later(minutes(1)), later(hours(1)))).toEqual(atOnce);
  },

  "the latest alarm changes of several feeders are read in order of time": async ({ store }) => {
    await addAlder(store);
    await append(store, "rowan", [change(now), change(later(minutes(2))), change(later(minutes(3)), { to: "normal" })]);
    await append(store, "larch", [change(later(minutes(1)), { fault: "trayJammed" })]);
    await append(store, "other", [change(later(minutes(2)))]);
    const read = (most: number, to = later(hours(1))) =>
      store.records.latestAlarmChanges(["rowan", "larch"], now, to, most);
    const { reason, ...larch } = { ...change(later(minutes(1)), { fault: "trayJammed" }), feeder: "larch" };
    expect((await read(9)).map(({ feeder, at }) => [feeder, (at - now) / minutes(1)])).toEqual([
      ["rowan", 0],
      ["larch", 1],
      ["rowan", 2],
      ["rowan", 3],
    ]);
    expect((await read(3))[0]).toEqual(larch);
    expect(await read(9, later(minutes(2)))).toHaveLength(2);
    expect(await store.records.latestAlarmChanges([], now, later(hours(1)), 9)).toEqual([]);
  },
};

const order = (id: string, different: Partial<Order> = {}): Order => ({
  ...{ id, kind: "pause", until: later(hours(9)), requestedAt: now, requestedBy: "Ada", status: "requested" },
  ...{ sentAt: null, answeredAt: null, problem: null },
  ...different,
});
const refill = (id: string, different: Partial<StoredRefill> = {}): StoredRefill => ({
  ...{ id, feeder: "rowan", at: now, grams: grams(250.5), source: "keeper", by: "Ada" },
  ...different,
});

export const keeperRecordRules: Rules = {
  "an order is stored once; only its status changes later": async ({ store }) => {
    await addAlder(store);
    const save = (feeder: string, saved: Order) => store.transaction((tx) => tx.saveOrder(feeder, saved));
    await save("rowan", order("second", { requestedAt: later(minutes(1)), until: null }));
    await save("rowan", order("first"));
    await save("larch", order("first", { kind: "resume" }));
    const answered = { status: "refused", sentAt: now, answeredAt: later(minutes(1)), problem: "tray open" } as const;
    await save("rowan", order("first", { ...answered, kind: "resume", requestedBy: "Bo" }));
    expect(await store.records.orders("rowan", now, later(hours(1)))).toEqual([
      order("first", answered),
      order("second", { requestedAt: later(minutes(1)), until: null }),
    ]);
    expect(await store.records.orders("rowan", now, later(minutes(1)))).toHaveLength(1);
    expect(await store.records.orders("rowan", later(minutes(1)), later(hours(1)))).toHaveLength(1);
    expect(await store.records.orders("larch", now, later(hours(1)))).toEqual([order("first", { kind: "resume" })]);
  },

  "a refill is stored once by its id": async ({ store }) => {
    await addAlder(store);
    const save = (saved: StoredRefill) => store.transaction((tx) => tx.saveRefill(saved));
    const filled = refill("filled", { at: later(minutes(1)), grams: null, source: "feeder", by: null });
    expect(await save(filled)).toBe(true);
    expect(await save(refill("one"))).toBe(true);
    expect(await save(refill("one", { grams: grams(1) }))).toBe(false);
    expect(await save(refill("one", { feeder: "larch" }))).toBe(true);
    expect(await store.records.refills("rowan", now, later(hours(1)))).toEqual([refill("one"), filled]);
    expect(await store.records.refills("rowan", now, later(minutes(1)))).toEqual([refill("one")]);
    expect(await store.records.refills("larch", now, later(hours(1)))).toEqual([refill("one", { feeder: "larch" })]);
  },

  "an action's id is used once by feeder, also on two servers at once": async ({ store, openSecond }) => {
    await addAlder(store);
    const second = await openSecond();
    const claim = (by: Store, feeder = "rowan") => by.transaction((tx) => tx.claimActionId(feeder, "action-0001", now));
    expect((await Promise.all([claim(store), claim(second), claim(store)])).sort()).toEqual([false, false, true]);
    expect(await claim(store, "larch")).toBe(true);
  },

  "a removed feeder leaves nothing that happened to it, also for one that gets its id": async ({ store }) => {
    await addTwoYards(store);
    for (const id of ["rowan", "larch"]) {
      await addFeeder(store, id);
      await append(store, id, [change(now)]);
      await store.transaction(async (tx) => {
        await tx.saveOrder(id, order("one"));
        await tx.saveRefill(refill("one", { feeder: id }));
        await tx.claimActionId(id, "action-0001", now);
      });
    }
    await store.yards.removeFeeder("none");
    await store.yards.removeFeeder("rowan");
    expect(await store.yards.feeder("rowan")).toBeNull();
    expect(await store.yards.feederWithKey("key of rowan")).toBeNull();
    await addFeeder(store, "rowan", "other");
    const everything = async (id: string) => [
      await store.records.alarmChanges(id, now, later(hours(1))),
      await store.records.orders(id, now, later(hours(1))),
      await store.records.refills(id, now, later(hours(1))),
      await store.records.lines(id, 0, 99, 99),
    ];
    expect(await everything("rowan")).toEqual([[], [], [], []]);
    expect((await everything("larch")).map((rows) => rows.length)).toEqual([1, 1, 1, 0]);
    expect(await store.transaction((tx) => tx.claimActionId("rowan", "action-0001", now))).toBe(true);
    expect(await store.transaction((tx) => tx.claimActionId("larch", "action-0001", now))).toBe(false);
  },
};
