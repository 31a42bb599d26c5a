import { expect } from "vitest";
import { after as past, seconds } from "../../../server/domain/instant.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";
import { start as now, onOutbox, until } from "./outboxUnderTest.ts";
import type { Rules } from "./storeUnderTest.ts";

/** Which items an outbox hands out first. */
export const sharingRules: Rules = {
  "hands out urgent items first, and closing ones last": onOutbox(async ({ store, addPhone, enqueue }) => {
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
  }),

  "hands out no more than the limits allow, and leaves the rest due": onOutbox(async ({ store, addPhone, enqueue }) => {
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
  }),
};
