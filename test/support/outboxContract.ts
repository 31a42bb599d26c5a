import { describe, expect, it } from "vitest";
import type { Notice } from "../../server/domain/facts.ts";
import { hours, type Instant, instantOf, minutes, after as past, seconds } from "../../server/domain/instant.ts";
import type { OutboxItem, OutboxStore, Phone } from "../../server/ports.ts";
import { aNotice } from "./notices.ts";

/** A store made afresh, empty, with the means to fill it that the port itself doesn't have. */
export interface OutboxUnderTest {
  readonly store: OutboxStore;
  /** Another handle to the same store where there can be one (a second process); the same one otherwise. */
  readonly second?: OutboxStore;
  /** Adds a phone that is told of everything, to a yard and a feeder that exist. */
  addPhone(label: string): Promise<Phone>;
  /** The phone as it is stored now; null once it is gone. */
  phone(id: string): Promise<Phone | null>;
  /** Writes a notice for every phone, as `Transaction.enqueue` does. */
  enqueue(notice: Notice, now: Instant, about?: "feeder" | "yard"): Promise<void>;
  close?(): Promise<void>;
}

/** What any outbox must promise, whatever keeps it. Run over the real stores and over the one in memory. */
export function describeOutboxStore(name: string, makeStore: () => Promise<OutboxUnderTest>) {
  const now = instantOf("2026-11-25T06:30:00Z");
  const until = past(now, minutes(1));

  const withStore = async (test: (outbox: OutboxUnderTest) => Promise<void>) => {
    const outbox = await makeStore();
    try {
      await test(outbox);
    } finally {
      await outbox.close?.();
    }
  };
  const only = (items: readonly OutboxItem[]): OutboxItem => {
    const [item] = items;
    if (item === undefined || items.length !== 1) throw new Error(`expected one item, got ${items.length}`);
    return item;
  };
  const topics = (items: readonly OutboxItem[]) => items.map((item) => item.notice.topic).sort();

  describe(`the outbox kept by ${name}`, () => {
    it("hands out a notice whole, for each phone", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        const phones = [await addPhone("one"), await addPhone("two")];
        const notice = aNotice({ title: "Larch: food out 🐦‍⬛", priority: "urgent", fault: "foodOut" });
        await enqueue(notice, now, "feeder");
        const items = await store.claim(now, until, 10);
        expect(items).toHaveLength(2);
        expect(items.map((item) => item.phone.id).sort()).toEqual(phones.map((phone) => phone.id).sort());
        for (const item of items) {
          expect(item).toMatchObject({ notice, writtenAt: now, attempts: 0 });
          expect(item.feeder).not.toBeNull();
          expect(item.phone).toEqual(phones.find((phone) => phone.id === item.phone.id));
        }
      }));

    it("never hands the same notice to two callers", () =>
      withStore(async ({ store, second = store, addPhone, enqueue }) => {
        await addPhone("one");
        for (let i = 0; i < 20; i++) await enqueue(aNotice({ topic: `t${i}` }), now);
        const claims = await Promise.all([0, 1, 2, 3, 4, 5].map((n) => (n % 2 ? store : second).claim(now, until, 7)));
        const ids = claims.flat().map((item) => item.id);
        expect(new Set(ids).size).toBe(ids.length);
        expect(ids).toHaveLength(20);
        expect(await store.claim(now, until, 7)).toEqual([]);
      }));

    it("hands out no more than asked for, the longest due first", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(aNotice({ topic: "newer" }), past(now, seconds(2)));
        await enqueue(aNotice({ topic: "older" }), now);
        const later = past(now, seconds(5));
        expect(topics(await store.claim(later, past(later, minutes(1)), 1))).toEqual(["older"]);
        expect(topics(await store.claim(later, past(later, minutes(1)), 1))).toEqual(["newer"]);
      }));

    it("hands out again what was claimed and never settled, once the claim has run out", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(aNotice(), now);
        const first = only(await store.claim(now, until, 10));
        expect(await store.claim(past(until, -1 as never), past(until, minutes(1)), 10)).toEqual([]);
        const again = only(await store.claim(until, past(until, minutes(1)), 10));
        expect(again).toMatchObject({ id: first.id, attempts: 1, writtenAt: now });
      }));

    it("forgets what was delivered, and remembers when the phone last took something", () =>
      withStore(async ({ store, addPhone, phone, enqueue }) => {
        const { id } = await addPhone("one");
        await enqueue(aNotice(), now);
        await store.settle(only(await store.claim(now, until, 10)), { kind: "delivered", at: past(now, seconds(3)) });
        expect(await store.claim(past(now, hours(1)), past(now, hours(2)), 10)).toEqual([]);
        expect(await store.nextDueAt()).toBeNull();
        expect(await phone(id)).toMatchObject({ lastAcceptedAt: past(now, seconds(3)), problem: null });
      }));

    it("holds back what must wait until it is due, and counts the attempts", () =>
      withStore(async ({ store, addPhone, phone, enqueue }) => {
        const { id } = await addPhone("one");
        await enqueue(aNotice(), now);
        const notBefore = past(now, minutes(5));
        await store.settle(only(await store.claim(now, until, 10)), { kind: "retry", notBefore, problem: "HTTP 503" });
        expect(await phone(id)).toMatchObject({ problem: "HTTP 503" });
        expect(await store.nextDueAt()).toBe(notBefore);
        expect(await store.claim(past(notBefore, -1 as never), past(notBefore, minutes(1)), 10)).toEqual([]);
        const again = only(await store.claim(notBefore, past(notBefore, minutes(1)), 10));
        expect(again).toMatchObject({ attempts: 1, writtenAt: now });
        await store.settle(again, { kind: "delivered", at: notBefore });
        expect(await phone(id)).toMatchObject({ problem: null });
      }));

    it("forgets what was given up, and keeps the phone with its problem", () =>
      withStore(async ({ store, addPhone, phone, enqueue }) => {
        const { id } = await addPhone("one");
        await enqueue(aNotice(), now);
        await store.settle(only(await store.claim(now, until, 10)), { kind: "givenUp", at: now, problem: "HTTP 403" });
        expect(await store.nextDueAt()).toBeNull();
        expect(await phone(id)).toMatchObject({ problem: "HTTP 403", lastAcceptedAt: null });
      }));

    it("forgets a phone that is gone, with all that waits for it, and nobody else's", () =>
      withStore(async ({ store, addPhone, phone, enqueue }) => {
        const gone = await addPhone("gone");
        const stays = await addPhone("stays");
        for (const topic of ["a", "b", "c"]) await enqueue(aNotice({ topic }), now);
        const items = await store.claim(now, until, 10);
        const item = items.find((one) => one.phone.id === gone.id);
        if (item === undefined) throw new Error("expected an item for the phone that is gone");
        await store.settle(item, { kind: "phoneGone", at: now, problem: "HTTP 410" });
        expect(await phone(gone.id)).toBeNull();
        const left = await store.claim(until, past(until, minutes(1)), 10);
        expect(left.map((one) => one.phone.id)).toEqual([stays.id, stays.id, stays.id]);
        // Its other items were under way when it went; they settle without a fuss.
        const other = items.find((one) => one.phone.id === gone.id && one.id !== item.id);
        if (other === undefined) throw new Error("expected another item for the phone that is gone");
        await store.settle(other, { kind: "phoneGone", at: now, problem: "HTTP 410" });
        await store.settle(other, { kind: "delivered", at: now });
      }));

    it("replaces an undelivered notice by a newer one of its topic, and no other", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(aNotice({ title: "old", topic: "a" }), now);
        await enqueue(aNotice({ title: "other", topic: "b" }), now);
        await enqueue(aNotice({ title: "new", topic: "a" }), past(now, seconds(1)));
        const items = await store.claim(past(now, seconds(1)), until, 10);
        expect(items.map((item) => item.notice.title).sort()).toEqual(["new", "other"]);
        expect(items.find((item) => item.notice.title === "new")?.writtenAt).toBe(past(now, seconds(1)));
      }));

    it("keeps a notice that is about no single feeder", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(aNotice({ fault: null }), now, "yard");
        expect(only(await store.claim(now, until, 10)).feeder).toBeNull();
      }));

    it("delivers the newer notice although the older was under way when it was replaced", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(aNotice({ title: "old" }), now);
        const underWay = only(await store.claim(now, until, 10));
        await enqueue(aNotice({ title: "new" }), now);
        await store.settle(underWay, { kind: "delivered", at: now });
        const next = only(await store.claim(until, past(until, minutes(1)), 10));
        expect(next.notice.title).toBe("new");
      }));

    it("does not bring back an older notice that failed under way beside the newer that replaced it", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(aNotice({ title: "old" }), now);
        const underWay = only(await store.claim(now, until, 10));
        await enqueue(aNotice({ title: "new" }), now);
        await store.settle(underWay, { kind: "retry", notBefore: past(now, seconds(15)), problem: "HTTP 503" });
        const due = await store.claim(past(now, hours(1)), past(now, hours(2)), 10);
        expect(due.map((item) => item.notice.title)).toEqual(["new"]);
      }));

    it("keeps what a notice that was never in it tells of its phone", () =>
      withStore(async ({ store, addPhone, phone }) => {
        const added = await addPhone("one");
        const outside = {
          id: `test-${added.id}`,
          phone: added,
          feeder: null,
          notice: aNotice(),
          writtenAt: now,
          attempts: 0,
        };
        await store.settle(outside, { kind: "givenUp", at: now, problem: "HTTP 403" });
        expect(await phone(added.id)).toMatchObject({ problem: "HTTP 403" });
        await store.settle(outside, { kind: "delivered", at: now });
        expect(await phone(added.id)).toMatchObject({ lastAcceptedAt: now, problem: null });
        await store.settle(outside, { kind: "phoneGone", at: now, problem: "HTTP 410" });
        expect(await phone(added.id)).toBeNull();
      }));

    it("says when the next notice is due", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        expect(await store.nextDueAt()).toBeNull();
        await enqueue(aNotice({ topic: "a" }), now);
        await enqueue(aNotice({ topic: "b" }), past(now, seconds(9)));
        expect(await store.nextDueAt()).toBe(now);
        await store.claim(now, until, 1);
        expect(await store.nextDueAt()).toBe(past(now, seconds(9)));
        await store.claim(past(now, seconds(9)), until, 1);
        expect(await store.nextDueAt()).toBe(until); // both claimed: not before a claim runs out
      }));
  });
}
