import { describe, expect, it } from "vitest";
import { instantOf, minutes, after as past, seconds } from "../../server/domain/instant.ts";
import { notificationFixture } from "./notificationFixture.ts";
import type { OutboxUnderTest } from "./outboxContract.ts";

/** Which items any outbox hands out first. Run with the real store and with the one in memory. */
export function describeOutboxSharing(name: string, makeStore: () => Promise<OutboxUnderTest>) {
  const now = instantOf("2026-11-25T06:30:00Z");
  const until = past(now, minutes(1));
  const withOutbox = async (test: (outbox: OutboxUnderTest) => Promise<void>) => {
    const outbox = await makeStore();
    try {
      await test(outbox);
    } finally {
      await outbox.close?.();
    }
  };

  describe(`the delivery limits of the outbox in ${name}`, () => {
    it("hands out urgent items first, and closing ones last", () =>
      withOutbox(async ({ store, addPhone, enqueue }) => {
        await addPhone("one");
        for (const topic of ["over", "soon", "urgent"])
          await enqueue(notificationFixture({ topic, priority: "urgent" }), now);
        for (const item of await store.claim("push", now, until, 9))
          await store.settle(item, { kind: "delivered", at: now });
        await enqueue(notificationFixture({ topic: "over", priority: "urgent", isClosing: true }), now);
        await enqueue(notificationFixture({ topic: "note", priority: "note" }), now);
        await enqueue(notificationFixture({ topic: "soon", priority: "soon" }), now);
        await enqueue(notificationFixture({ topic: "urgent", priority: "urgent" }), past(now, seconds(9)));
        const claimed = await store.claim("push", past(now, seconds(9)), until, 9);
        expect(claimed.map((item) => item.content.topic)).toEqual(["urgent", "soon", "over", "note"]);
      }));

    it("hands out no more than the limits allow, and leaves the rest due", () =>
      withOutbox(async ({ store, addPhone, enqueue }) => {
        const phone = await addPhone("one");
        for (let i = 0; i < 9; i++) await enqueue(notificationFixture({ topic: `t${i}` }), now);
        const limits = { total: 4, perPerson: 9, perService: 3, perUnanswering: 1, unanswering: 2 };
        const of = { person: phone.keeper, service: "https://push.example" };
        const claim = (underWay: readonly (typeof of)[], answering: readonly string[]) =>
          store.claim("push", now, until, 9, { limits, underWay, answering: new Set(answering) });
        expect(await claim([], [])).toHaveLength(1);
        expect(await claim([of], [])).toEqual([]);
        expect(await claim([of], [of.service])).toHaveLength(2);
        const other = { ...of, service: "https://other.example" };
        expect(await claim([other, other, other], [of.service])).toHaveLength(1);
        expect(await store.claim("push", now, until, 9)).toHaveLength(5);
      }));
  });
}
