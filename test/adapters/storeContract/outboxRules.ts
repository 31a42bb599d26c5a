import { expect } from "vitest";
import { hours, minutes, after as past, seconds } from "../../../server/domain/instant.ts";
import type { EmailItem, OutboxItem } from "../../../server/ports.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";
import { claimAll, emails, start as now, only, onOutbox, pushes, titles, until } from "./outboxUnderTest.ts";
import type { Rules } from "./storeUnderTest.ts";

const topics = (items: readonly OutboxItem[]) => items.map((item) => item.content.topic).sort();

export const outboxRules: Rules = {
  "hands out a whole notification for each phone": onOutbox(async ({ store, addPhone, enqueue }) => {
    const phones = [await addPhone("one"), await addPhone("two")];
    const content = notificationFixture({
      title: "Larch: hopper empty 🐦‍⬛",
      priority: "urgent",
      fault: "foodOut",
    });
    await enqueue(content, now, "feeder");
    const items = pushes(await claimAll(store, now, until, 10));
    expect(items).toHaveLength(2);
    expect(items.map((item) => item.phone.id).sort()).toEqual(phones.map((phone) => phone.id).sort());
    for (const item of items) {
      expect(item).toMatchObject({ content, writtenAt: now, attempts: 0 });
      expect(item.feeder).not.toBeNull();
      expect(item.phone).toEqual(phones.find((phone) => phone.id === item.phone.id));
    }
  }),

  "never hands the same item to two callers": onOutbox(async ({ store, openSecond, addPhone, enqueue }) => {
    const { outbox: second } = await openSecond();
    await addPhone("one");
    for (let i = 0; i < 20; i++) await enqueue(notificationFixture({ topic: `t${i}` }), now);
    const claims = await Promise.all([0, 1, 2, 3, 4, 5].map((n) => claimAll(n % 2 ? store : second, now, until, 7)));
    const ids = claims.flat().map((item) => item.id);
    expect(new Set(ids).size).toBe(ids.length);
    expect(ids).toHaveLength(20);
    expect(await claimAll(store, now, until, 7)).toEqual([]);
  }),

  "hands out no more than requested, the longest due first": onOutbox(async ({ store, addPhone, enqueue }) => {
    await addPhone("one");
    await enqueue(notificationFixture({ topic: "newer" }), past(now, seconds(2)));
    await enqueue(notificationFixture({ topic: "older" }), now);
    const later = past(now, seconds(5));
    expect(topics(await claimAll(store, later, past(later, minutes(1)), 1))).toEqual(["older"]);
    expect(topics(await claimAll(store, later, past(later, minutes(1)), 1))).toEqual(["newer"]);
  }),

  "hands out again what was claimed and never settled, once the claim has run out": onOutbox(
    async ({ store, addPhone, enqueue }) => {
      await addPhone("one");
      await enqueue(notificationFixture(), now);
      const first = only(await claimAll(store, now, until, 10));
      expect(await claimAll(store, past(until, -1 as never), past(until, minutes(1)), 10)).toEqual([]);
      const again = only(await claimAll(store, until, past(until, minutes(1)), 10));
      expect(again).toMatchObject({ id: first.id, attempts: 1, writtenAt: now });
    },
  ),

  "never hands out again what was delivered, and records when the phone last accepted something": onOutbox(
    async ({ store, addPhone, phone, enqueue }) => {
      const { id } = await addPhone("one");
      await enqueue(notificationFixture(), now);
      await store.settle(only(await claimAll(store, now, until, 10)), {
        kind: "delivered",
        at: past(now, seconds(3)),
      });
      expect(await claimAll(store, past(now, hours(1)), past(now, hours(2)), 10)).toEqual([]);
      expect(await store.nextDueAt()).toBeNull();
      expect(await phone(id)).toMatchObject({ lastAcceptedAt: past(now, seconds(3)), problem: null });
    },
  ),

  "hands out a postponed item when it is due, and counts the attempts": onOutbox(
    async ({ store, addPhone, phone, enqueue }) => {
      const { id } = await addPhone("one");
      await enqueue(notificationFixture(), now);
      const notBefore = past(now, minutes(5));
      await store.settle(only(await claimAll(store, now, until, 10)), {
        kind: "retry",
        notBefore,
        problem: "HTTP 503",
      });
      expect(await phone(id)).toMatchObject({ problem: "HTTP 503" });
      expect(await store.nextDueAt()).toBe(notBefore);
      expect(await claimAll(store, past(notBefore, -1 as never), past(notBefore, minutes(1)), 10)).toEqual([]);
      const again = only(await claimAll(store, notBefore, past(notBefore, minutes(1)), 10));
      expect(again).toMatchObject({ attempts: 1, writtenAt: now });
      await store.settle(again, { kind: "delivered", at: notBefore });
      expect(await phone(id)).toMatchObject({ problem: null });
    },
  ),

  "never hands out again what failed for good, and records the phone's problem": onOutbox(
    async ({ store, addPhone, phone, enqueue }) => {
      const { id } = await addPhone("one");
      await enqueue(notificationFixture(), now);
      await store.settle(only(await claimAll(store, now, until, 10)), {
        kind: "givenUp",
        at: now,
        problem: "HTTP 403",
      });
      expect(await store.nextDueAt()).toBeNull();
      expect(await phone(id)).toMatchObject({ problem: "HTTP 403", lastAcceptedAt: null });
    },
  ),

  "removes a phone that is gone with its waiting items, and no other's": onOutbox(
    async ({ store, addPhone, phone, enqueue }) => {
      const gone = await addPhone("gone");
      const stays = await addPhone("stays");
      for (const topic of ["a", "b", "c"]) await enqueue(notificationFixture({ topic }), now);
      const items = pushes(await claimAll(store, now, until, 10));
      const item = items.find((one) => one.phone.id === gone.id);
      if (item === undefined) throw new Error("expected an item for the phone that is gone");
      await store.settle(item, { kind: "phoneGone", at: now, problem: "HTTP 410" });
      expect(await phone(gone.id)).toBeNull();
      const left = pushes(await claimAll(store, until, past(until, minutes(1)), 10));
      expect(left.map((one) => one.phone.id)).toEqual([stays.id, stays.id, stays.id]);
      // Its other items were being sent meanwhile; settling them throws nothing.
      const other = items.find((one) => one.phone.id === gone.id && one.id !== item.id);
      if (other === undefined) throw new Error("expected another item for the phone that is gone");
      await store.settle(other, { kind: "phoneGone", at: now, problem: "HTTP 410" });
      await store.settle(other, { kind: "delivered", at: now });
    },
  ),

  "replaces an undelivered notification by a newer one of its topic, and no other": onOutbox(
    async ({ store, addPhone, enqueue }) => {
      await addPhone("one");
      await enqueue(notificationFixture({ title: "old", topic: "a" }), now);
      await enqueue(notificationFixture({ title: "other", topic: "b" }), now);
      await enqueue(notificationFixture({ title: "new", topic: "a" }), past(now, seconds(1)));
      const items = await claimAll(store, past(now, seconds(1)), until, 10);
      expect(items.map((item) => item.content.title).sort()).toEqual(["new", "other"]);
      expect(items.find((item) => item.content.title === "new")?.writtenAt).toBe(past(now, seconds(1)));
    },
  ),

  "stores a notification that is about no single feeder": onOutbox(async ({ store, addPhone, enqueue }) => {
    await addPhone("one");
    await enqueue(notificationFixture({ fault: null }), now, "yard");
    expect(only(await claimAll(store, now, until, 10)).feeder).toBeNull();
  }),

  "delivers the newer notification although the older was being sent when it was replaced": onOutbox(
    async ({ store, addPhone, enqueue }) => {
      await addPhone("one");
      await enqueue(notificationFixture({ title: "old" }), now);
      const underWay = only(await claimAll(store, now, until, 10));
      await enqueue(notificationFixture({ title: "new" }), now);
      // It waits for the older, which could arrive last otherwise; until then nothing is due.
      expect(await claimAll(store, now, until, 10)).toEqual([]);
      expect(await store.nextDueAt()).toBe(until);
      await store.settle(underWay, { kind: "delivered", at: now });
      expect(await store.nextDueAt()).toBe(now);
      const next = only(await claimAll(store, until, past(until, minutes(1)), 10));
      expect(next.content.title).toBe("new");
    },
  ),

  "does not retry an older notification that failed after a newer one had replaced it": onOutbox(
    async ({ store, addPhone, enqueue }) => {
      await addPhone("one");
      await enqueue(notificationFixture({ title: "old" }), now);
      const underWay = only(await claimAll(store, now, until, 10));
      await enqueue(notificationFixture({ title: "new" }), now);
      await store.settle(underWay, { kind: "retry", notBefore: past(now, seconds(15)), problem: "HTTP 503" });
      const due = await claimAll(store, past(now, hours(1)), past(now, hours(2)), 10);
      expect(due.map((item) => item.content.title)).toEqual(["new"]);
    },
  ),

  "stores one that is claimed from the start, and records what its delivery shows about the phone": onOutbox(
    async ({ store, addPhone, phone }) => {
      const added = await addPhone("one");
      const begun = await store.startClaimed(added, notificationFixture({ topic: "test" }), now, until);
      expect(begun).toMatchObject({
        channel: "push",
        person: added.keeper,
        feeder: null,
        writtenAt: now,
        attempts: 0,
      });
      expect(await claimAll(store, now, until, 10)).toEqual([]);
      await store.settle(begun, { kind: "givenUp", at: now, problem: "HTTP 403" });
      expect(await phone(added.id)).toMatchObject({ problem: "HTTP 403" });
      expect(await store.nextDueAt()).toBeNull();
      const again = await store.startClaimed(added, notificationFixture({ topic: "test" }), now, until);
      expect(again.id).not.toBe(begun.id);
      await store.settle(again, { kind: "delivered", at: now });
      expect(await phone(added.id)).toMatchObject({ lastAcceptedAt: now, problem: null });
    },
  ),

  "hands out an e-mail with its address and the names that it needs": onOutbox(
    async ({ store, addPhone, enqueueEmail }) => {
      const { keeper } = await addPhone("one");
      await enqueueEmail(notificationFixture({ title: "Rowan: food low" }), now);
      const items = await claimAll(store, now, until, 10);
      expect(items).toHaveLength(1);
      const [email] = emails(items);
      expect(email).toMatchObject({ person: keeper, to: "ada@alder.example", attempts: 0 });
      expect(email).toMatchObject({ yardName: "Alder Croft", feederName: "Rowan", writtenAt: now });
      await store.settle(email as EmailItem, { kind: "retry", notBefore: past(now, seconds(9)), problem: "451" });
      expect(await store.nextDueAt()).toBe(past(now, seconds(9)));
      const again = emails(await claimAll(store, past(now, seconds(9)), until, 10))[0] as EmailItem;
      expect(again).toMatchObject({ id: email?.id, attempts: 1 });
      await store.settle(again, { kind: "delivered", at: now });
      expect(await store.nextDueAt()).toBeNull();
    },
  ),

  "replaces by screen: a newer push leaves the e-mail of its topic waiting": onOutbox(
    async ({ store, addPhone, enqueue, enqueueEmail }) => {
      await addPhone("one");
      await enqueue(notificationFixture({ title: "first" }), now);
      await enqueueEmail(notificationFixture({ title: "e-mail" }), now);
      await enqueue(notificationFixture({ title: "second" }), now);
      expect(titles(await claimAll(store, now, until, 10)).sort()).toEqual(["e-mail", "second"]);
    },
  ),

  "sounds for a silent correction where the one with the sound never arrived, and only there": onOutbox(
    async ({ store, addPhone, enqueue }) => {
      const corrected = notificationFixture({ title: "corrected", silent: true });
      await addPhone("one");
      await enqueue(notificationFixture({ title: "sounds" }), now);
      await enqueue(corrected, now);
      const first = only(await claimAll(store, now, until, 10));
      expect(first.content).toMatchObject({ title: "corrected", silent: false });
      await store.settle(first, { kind: "delivered", at: now });
      await enqueue(corrected, now);
      expect(only(await claimAll(store, now, until, 10)).content).toMatchObject({ silent: true });
    },
  ),

  "returns when the next item is due": onOutbox(async ({ store, addPhone, enqueue }) => {
    await addPhone("one");
    expect(await store.nextDueAt()).toBeNull();
    await enqueue(notificationFixture({ topic: "a" }), now);
    await enqueue(notificationFixture({ topic: "b" }), past(now, seconds(9)));
    expect(await store.nextDueAt()).toBe(now);
    await claimAll(store, now, until, 1);
    expect(await store.nextDueAt()).toBe(past(now, seconds(9)));
    await claimAll(store, past(now, seconds(9)), until, 1);
    expect(await store.nextDueAt()).toBe(until); // both claimed: not before a claim runs out
  }),
};
