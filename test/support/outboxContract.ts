import { describe, expect, it } from "vitest";
import { hours, type Instant, instantOf, minutes, after as past, seconds } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";
import type { EmailItem, OutboxItem, OutboxStore, Phone, PushItem } from "../../server/ports.ts";
import { notificationFixture } from "./notificationFixture.ts";

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
  enqueue(notice: NotificationContent, now: Instant, about?: "feeder" | "yard"): Promise<void>;
  /** Writes a letter to the person whose phones these are, as `Transaction.enqueue` does. */
  enqueueMail(notice: NotificationContent, now: Instant): Promise<void>;
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
  const only = (items: readonly OutboxItem[]): PushItem => {
    const [item] = pushes(items);
    if (item === undefined || items.length !== 1) throw new Error(`expected one push, got ${items.length} items`);
    return item;
  };
  const claimAll = async (store: OutboxStore, at: Instant, claimUntil: Instant, most: number) => [
    ...(await store.claim("push", at, claimUntil, most)),
    ...(await store.claim("email", at, claimUntil, most)),
  ];
  const pushes = (items: readonly OutboxItem[]) => items.filter((item): item is PushItem => item.channel === "push");
  const letters = (items: readonly OutboxItem[]) => items.filter((item): item is EmailItem => item.channel === "email");
  const titles = (items: readonly OutboxItem[]) => items.map(({ content }) => content.title);
  const topics = (items: readonly OutboxItem[]) => items.map((item) => item.content.topic).sort();

  describe(`the outbox kept by ${name}`, () => {
    it("hands out a notice whole, for each phone", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        const phones = [await addPhone("one"), await addPhone("two")];
        const notice = notificationFixture({ title: "Larch: hopper empty 🐦‍⬛", priority: "urgent", fault: "foodOut" });
        await enqueue(notice, now, "feeder");
        const items = pushes(await claimAll(store, now, until, 10));
        expect(items).toHaveLength(2);
        expect(items.map((item) => item.phone.id).sort()).toEqual(phones.map((phone) => phone.id).sort());
        for (const item of items) {
          expect(item).toMatchObject({ content: notice, writtenAt: now, attempts: 0 });
          expect(item.feeder).not.toBeNull();
          expect(item.phone).toEqual(phones.find((phone) => phone.id === item.phone.id));
        }
      }));

    it("never hands the same notice to two callers", () =>
      withStore(async ({ store, second = store, addPhone, enqueue }) => {
        await addPhone("one");
        for (let i = 0; i < 20; i++) await enqueue(notificationFixture({ topic: `t${i}` }), now);
        const claims = await Promise.all(
          [0, 1, 2, 3, 4, 5].map((n) => claimAll(n % 2 ? store : second, now, until, 7)),
        );
        const ids = claims.flat().map((item) => item.id);
        expect(new Set(ids).size).toBe(ids.length);
        expect(ids).toHaveLength(20);
        expect(await claimAll(store, now, until, 7)).toEqual([]);
      }));

    it("hands out no more than asked for, the longest due first", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(notificationFixture({ topic: "newer" }), past(now, seconds(2)));
        await enqueue(notificationFixture({ topic: "older" }), now);
        const later = past(now, seconds(5));
        expect(topics(await claimAll(store, later, past(later, minutes(1)), 1))).toEqual(["older"]);
        expect(topics(await claimAll(store, later, past(later, minutes(1)), 1))).toEqual(["newer"]);
      }));

    it("hands out again what was claimed and never settled, once the claim has run out", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(notificationFixture(), now);
        const first = only(await claimAll(store, now, until, 10));
        expect(await claimAll(store, past(until, -1 as never), past(until, minutes(1)), 10)).toEqual([]);
        const again = only(await claimAll(store, until, past(until, minutes(1)), 10));
        expect(again).toMatchObject({ id: first.id, attempts: 1, writtenAt: now });
      }));

    it("forgets what was delivered, and remembers when the phone last took something", () =>
      withStore(async ({ store, addPhone, phone, enqueue }) => {
        const { id } = await addPhone("one");
        await enqueue(notificationFixture(), now);
        await store.settle(only(await claimAll(store, now, until, 10)), {
          kind: "delivered",
          at: past(now, seconds(3)),
        });
        expect(await claimAll(store, past(now, hours(1)), past(now, hours(2)), 10)).toEqual([]);
        expect(await store.nextDueAt()).toBeNull();
        expect(await phone(id)).toMatchObject({ lastAcceptedAt: past(now, seconds(3)), problem: null });
      }));

    it("holds back what must wait until it is due, and counts the attempts", () =>
      withStore(async ({ store, addPhone, phone, enqueue }) => {
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
      }));

    it("forgets what was given up, and keeps the phone with its problem", () =>
      withStore(async ({ store, addPhone, phone, enqueue }) => {
        const { id } = await addPhone("one");
        await enqueue(notificationFixture(), now);
        await store.settle(only(await claimAll(store, now, until, 10)), {
          kind: "givenUp",
          at: now,
          problem: "HTTP 403",
        });
        expect(await store.nextDueAt()).toBeNull();
        expect(await phone(id)).toMatchObject({ problem: "HTTP 403", lastAcceptedAt: null });
      }));

    it("forgets a phone that is gone, with all that waits for it, and nobody else's", () =>
      withStore(async ({ store, addPhone, phone, enqueue }) => {
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
        // Its other items were under way when it went; they settle without a fuss.
        const other = items.find((one) => one.phone.id === gone.id && one.id !== item.id);
        if (other === undefined) throw new Error("expected another item for the phone that is gone");
        await store.settle(other, { kind: "phoneGone", at: now, problem: "HTTP 410" });
        await store.settle(other, { kind: "delivered", at: now });
      }));

    it("replaces an undelivered notice by a newer one of its topic, and no other", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(notificationFixture({ title: "old", topic: "a" }), now);
        await enqueue(notificationFixture({ title: "other", topic: "b" }), now);
        await enqueue(notificationFixture({ title: "new", topic: "a" }), past(now, seconds(1)));
        const items = await claimAll(store, past(now, seconds(1)), until, 10);
        expect(items.map((item) => item.content.title).sort()).toEqual(["new", "other"]);
        expect(items.find((item) => item.content.title === "new")?.writtenAt).toBe(past(now, seconds(1)));
      }));

    it("keeps a notice that is about no single feeder", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(notificationFixture({ fault: null }), now, "yard");
        expect(only(await claimAll(store, now, until, 10)).feeder).toBeNull();
      }));

    it("delivers the newer notice although the older was under way when it was replaced", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(notificationFixture({ title: "old" }), now);
        const underWay = only(await claimAll(store, now, until, 10));
        await enqueue(notificationFixture({ title: "new" }), now);
        // It waits for the older, or that could arrive last; until then there is no use in looking.
        expect(await claimAll(store, now, until, 10)).toEqual([]);
        expect(await store.nextDueAt()).toBe(until);
        await store.settle(underWay, { kind: "delivered", at: now });
        expect(await store.nextDueAt()).toBe(now);
        const next = only(await claimAll(store, until, past(until, minutes(1)), 10));
        expect(next.content.title).toBe("new");
      }));

    it("does not bring back an older notice that failed under way beside the newer that replaced it", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        await enqueue(notificationFixture({ title: "old" }), now);
        const underWay = only(await claimAll(store, now, until, 10));
        await enqueue(notificationFixture({ title: "new" }), now);
        await store.settle(underWay, { kind: "retry", notBefore: past(now, seconds(15)), problem: "HTTP 503" });
        const due = await claimAll(store, past(now, hours(1)), past(now, hours(2)), 10);
        expect(due.map((item) => item.content.title)).toEqual(["new"]);
      }));

    it("begins one that is tried at once and by nobody else, and keeps what it tells of its phone", () =>
      withStore(async ({ store, addPhone, phone }) => {
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
      }));

    it("hands out a letter with its address and the names that it needs", () =>
      withStore(async ({ store, addPhone, enqueueMail }) => {
        const { keeper } = await addPhone("one");
        await enqueueMail(notificationFixture({ title: "Rowan: food low" }), now);
        const items = await claimAll(store, now, until, 10);
        expect(items).toHaveLength(1);
        const [letter] = letters(items);
        expect(letter).toMatchObject({ person: keeper, to: "ada@alder.example", attempts: 0 });
        expect(letter).toMatchObject({ yardName: "Alder Croft", feederName: "Rowan", writtenAt: now });
        await store.settle(letter as EmailItem, { kind: "retry", notBefore: past(now, seconds(9)), problem: "451" });
        expect(await store.nextDueAt()).toBe(past(now, seconds(9)));
        const again = letters(await claimAll(store, past(now, seconds(9)), until, 10))[0] as EmailItem;
        expect(again).toMatchObject({ id: letter?.id, attempts: 1 });
        await store.settle(again, { kind: "delivered", at: now });
        expect(await store.nextDueAt()).toBeNull();
      }));

    it("replaces by screen: a newer push leaves the letter of its topic waiting", () =>
      withStore(async ({ store, addPhone, enqueue, enqueueMail }) => {
        await addPhone("one");
        await enqueue(notificationFixture({ title: "first" }), now);
        await enqueueMail(notificationFixture({ title: "letter" }), now);
        await enqueue(notificationFixture({ title: "second" }), now);
        expect(titles(await claimAll(store, now, until, 10)).sort()).toEqual(["letter", "second"]);
      }));

    describe("when an alarm is over", () => {
      const alarm = notificationFixture({ title: "alarm" });
      const over = notificationFixture({ title: "over", silent: true, isClosing: true });
      const failed = { kind: "retry", notBefore: past(now, seconds(15)), problem: "HTTP 503" } as const;
      const later = past(now, hours(1));
      const muchLater = past(now, hours(2));

      it("sends nothing to a screen that the alarm never reached", () =>
        withStore(async ({ store, addPhone, enqueue }) => {
          await addPhone("one");
          await enqueue(alarm, now);
          await enqueue(over, now);
          expect(await claimAll(store, now, until, 10)).toEqual([]);
          expect(await store.nextDueAt()).toBeNull();
        }));

      it("sends nothing where each attempt was surely in vain", () =>
        withStore(async ({ store, addPhone, enqueue }) => {
          await addPhone("one");
          await enqueue(alarm, now);
          await store.settle(only(await claimAll(store, now, until, 10)), failed);
          await enqueue(over, now);
          expect(await claimAll(store, later, muchLater, 10)).toEqual([]);
        }));

      it("takes it from a screen that it reached, and the second time has nothing to take", () =>
        withStore(async ({ store, addPhone, enqueue }) => {
          await addPhone("one");
          await enqueue(alarm, now);
          await store.settle(only(await claimAll(store, now, until, 10)), { kind: "delivered", at: now });
          await enqueue(over, now);
          const closing = only(await claimAll(store, now, until, 10));
          expect(closing.content).toMatchObject({ title: "over", isClosing: true, silent: true });
          await store.settle(closing, { kind: "delivered", at: now });
          await enqueue(alarm, now); // again, and over before it was sent
          await enqueue(over, now);
          expect(await claimAll(store, later, muchLater, 10)).toEqual([]);
        }));

      it("takes it from a screen that a reminder never reached but the alarm did", () =>
        withStore(async ({ store, addPhone, enqueue }) => {
          await addPhone("one");
          await enqueue(alarm, now);
          await store.settle(only(await claimAll(store, now, until, 10)), { kind: "delivered", at: now });
          await enqueue(notificationFixture({ title: "reminder" }), now);
          await enqueue(over, now);
          expect(titles(await claimAll(store, now, until, 10))).toEqual(["over"]);
        }));

      it.each([
        { doubt: "no answer came", settled: { ...failed, mayHaveArrived: true as const } },
        { doubt: "its server died in the middle", settled: null },
      ])("takes it from a screen that it may have reached: $doubt", ({ settled }) =>
        withStore(async ({ store, addPhone, enqueue }) => {
          await addPhone("one");
          await enqueue(alarm, now);
          const underWay = only(await claimAll(store, now, until, 10));
          if (settled !== null) await store.settle(underWay, settled);
          await enqueue(over, now);
          expect(titles(await claimAll(store, until, muchLater, 10))).toEqual(["over"]);
        }),
      );

      it("waits for the alarm that is still under way, so that it can't be overtaken", () =>
        withStore(async ({ store, addPhone, enqueue }) => {
          await addPhone("one");
          await enqueue(alarm, now);
          const underWay = only(await claimAll(store, now, until, 10));
          await enqueue(over, now);
          expect(await claimAll(store, past(now, seconds(1)), until, 10)).toEqual([]);
          await store.settle(underWay, { kind: "delivered", at: past(now, seconds(2)) });
          expect(titles(await claimAll(store, past(now, seconds(2)), until, 10))).toEqual(["over"]);
        }));

      it("sends nothing after all where the alarm under way came to nothing", () =>
        withStore(async ({ store, addPhone, enqueue }) => {
          await addPhone("one");
          await enqueue(alarm, now);
          const underWay = only(await claimAll(store, now, until, 10));
          await enqueue(over, now);
          await store.settle(underWay, failed);
          expect(await claimAll(store, later, muchLater, 10)).toEqual([]);
        }));

      it("judges each screen by itself, and the letterbox too", () =>
        withStore(async ({ store, addPhone, enqueue, enqueueMail }) => {
          await addPhone("reached");
          await addPhone("not reached");
          await enqueue(alarm, now);
          await enqueueMail(alarm, now);
          for (const item of await claimAll(store, now, until, 10)) {
            const reached = item.channel === "push" && item.phone.label === "reached";
            await store.settle(item, reached ? { kind: "delivered", at: now } : failed);
          }
          await enqueue(over, now);
          await enqueueMail(over, now);
          const closing = await claimAll(store, later, muchLater, 10);
          expect(pushes(closing).map(({ phone }) => phone.label)).toEqual(["reached"]);
          expect(letters(closing)).toEqual([]);
        }));
    });

    it("sounds for a quiet correction where the one with the sound never arrived, and only there", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        const corrected = notificationFixture({ title: "corrected", silent: true });
        await addPhone("one");
        await enqueue(notificationFixture({ title: "rings" }), now);
        await enqueue(corrected, now);
        const first = only(await claimAll(store, now, until, 10));
        expect(first.content).toMatchObject({ title: "corrected", silent: false });
        await store.settle(first, { kind: "delivered", at: now });
        await enqueue(corrected, now);
        expect(only(await claimAll(store, now, until, 10)).content).toMatchObject({ silent: true });
      }));

    it("says when the next notice is due", () =>
      withStore(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        expect(await store.nextDueAt()).toBeNull();
        await enqueue(notificationFixture({ topic: "a" }), now);
        await enqueue(notificationFixture({ topic: "b" }), past(now, seconds(9)));
        expect(await store.nextDueAt()).toBe(now);
        await claimAll(store, now, until, 1);
        expect(await store.nextDueAt()).toBe(past(now, seconds(9)));
        await claimAll(store, past(now, seconds(9)), until, 1);
        expect(await store.nextDueAt()).toBe(until); // both claimed: not before a claim runs out
      }));
  });
}
