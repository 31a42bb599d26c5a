import { expect } from "vitest";
import { hours, after as past, seconds } from "../../../server/domain/instant.ts";
import type { Settlement } from "../../../server/ports.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";
import { claimAll, emails, start as now, only, onOutbox, pushes, titles, until } from "./outboxUnderTest.ts";
import type { Rules } from "./storeUnderTest.ts";

const alarm = notificationFixture({ title: "alarm" });
const over = notificationFixture({ title: "over", silent: true, isClosing: true });
const failed = { kind: "retry", notBefore: past(now, seconds(15)), problem: "HTTP 503" } as const;
const later = past(now, hours(1));
const muchLater = past(now, hours(2));

const closesIfUncertain = (doubt: string, settled: Settlement | null): Rules => ({
  [`it is closed on a screen that it may have reached: ${doubt}`]: onOutbox(async ({ store, addPhone, enqueue }) => {
    await addPhone("one");
    await enqueue(alarm, now);
    const underWay = only(await claimAll(store, now, until, 10));
    if (settled !== null) await store.settle(underWay, settled);
    await enqueue(over, now);
    expect(titles(await claimAll(store, until, muchLater, 10))).toEqual(["over"]);
  }),
});

export const closingRules: Rules = {
  "sends nothing to a screen that the alarm never reached": onOutbox(async ({ store, addPhone, enqueue }) => {
    await addPhone("one");
    await enqueue(alarm, now);
    await enqueue(over, now);
    expect(await claimAll(store, now, until, 10)).toEqual([]);
    expect(await store.nextDueAt()).toBeNull();
  }),

  "sends nothing where each attempt certainly failed": onOutbox(async ({ store, addPhone, enqueue }) => {
    await addPhone("one");
    await enqueue(alarm, now);
    await store.settle(only(await claimAll(store, now, until, 10)), failed);
    await enqueue(over, now);
    expect(await claimAll(store, later, muchLater, 10)).toEqual([]);
  }),

  "closes it on a screen that it reached, and the second time has nothing to close": onOutbox(
    async ({ store, addPhone, enqueue }) => {
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
    },
  ),

  "closes it on a screen that the alarm reached and a reminder didn't": onOutbox(
    async ({ store, addPhone, enqueue }) => {
      await addPhone("one");
      await enqueue(alarm, now);
      await store.settle(only(await claimAll(store, now, until, 10)), { kind: "delivered", at: now });
      await enqueue(notificationFixture({ title: "reminder" }), now);
      await enqueue(over, now);
      expect(titles(await claimAll(store, now, until, 10))).toEqual(["over"]);
    },
  ),

  ...closesIfUncertain("no answer came", { ...failed, mayHaveArrived: true }),
  ...closesIfUncertain("its server died in the middle", null),

  "waits for the alarm that is still being sent, so that it can't arrive first": onOutbox(
    async ({ store, addPhone, enqueue }) => {
      await addPhone("one");
      await enqueue(alarm, now);
      const underWay = only(await claimAll(store, now, until, 10));
      await enqueue(over, now);
      expect(await claimAll(store, past(now, seconds(1)), until, 10)).toEqual([]);
      await store.settle(underWay, { kind: "delivered", at: past(now, seconds(2)) });
      expect(titles(await claimAll(store, past(now, seconds(2)), until, 10))).toEqual(["over"]);
    },
  ),

  "sends nothing where the alarm that was being sent failed": onOutbox(async ({ store, addPhone, enqueue }) => {
    await addPhone("one");
    await enqueue(alarm, now);
    const underWay = only(await claimAll(store, now, until, 10));
    await enqueue(over, now);
    await store.settle(underWay, failed);
    expect(await claimAll(store, later, muchLater, 10)).toEqual([]);
  }),

  "decides for each screen separately, and for the e-mail address too": onOutbox(
    async ({ store, addPhone, enqueue, enqueueEmail }) => {
      await addPhone("reached");
      await addPhone("not reached");
      await enqueue(alarm, now);
      await enqueueEmail(alarm, now);
      for (const item of await claimAll(store, now, until, 10)) {
        const reached = item.channel === "push" && item.phone.label === "reached";
        await store.settle(item, reached ? { kind: "delivered", at: now } : failed);
      }
      await enqueue(over, now);
      await enqueueEmail(over, now);
      const closing = await claimAll(store, later, muchLater, 10);
      expect(pushes(closing).map(({ phone }) => phone.label)).toEqual(["reached"]);
      expect(emails(closing)).toEqual([]);
    },
  ),
};
