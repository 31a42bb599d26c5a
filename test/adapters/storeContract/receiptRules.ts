import { expect } from "vitest";
import { hours, minutes } from "../../../server/domain/instant.ts";
import type { Store } from "../../../server/ports.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";
import { addAlder, addPhone, alder, claimedPhones, enqueuePush, later, newPhone, now } from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

const inAMinute = later(minutes(1));
const phoneOf = async ({ keepers }: Store) => (await keepers.phonesOf("ada"))[0];

export const receiptRules: Rules = {
  "a display receipt counts once, for the item and its phone, and the item isn't sent again": async ({ store }) => {
    await addAlder(store);
    await addPhone(store, "pocket", "ada");
    await enqueuePush(store, "ada");
    const [item] = await store.outbox.claim("push", now, inAMinute, 9);
    const receipt = (id: string, at = inAMinute) => store.transaction((tx) => tx.saveDisplayReceipt(id, at));
    expect(await receipt("unknown")).toBeNull();
    expect(await receipt(item?.id ?? "")).toEqual({ person: "ada", topic: "t", at: inAMinute });
    expect(await receipt(item?.id ?? "", later(hours(1)))).toEqual({ person: "ada", topic: "t", at: inAMinute });
    expect((await phoneOf(store))?.lastDisplayedAt).toBe(inAMinute);
    expect(await claimedPhones(store, later(hours(1)))).toEqual([]);
    expect(await store.outbox.nextDueAt()).toBeNull();
  },

  "a display receipt from before its notification comes from a wrong clock": async ({ store }) => {
    await addAlder(store);
    await addPhone(store, "pocket", "ada");
    await enqueuePush(store, "ada", { at: inAMinute });
    const [item] = await store.outbox.claim("push", inAMinute, later(hours(1)), 9);
    const receipt = await store.transaction((tx) => tx.saveDisplayReceipt(item?.id ?? "", now));
    expect(receipt?.at).toBe(inAMinute);
  },

  "a display receipt of an old endpoint proves nothing about the new one": async ({ store }) => {
    await addAlder(store);
    await addPhone(store, "pocket", "ada");
    await enqueuePush(store, "ada");
    const [item] = await store.outbox.claim("push", now, inAMinute, 9);
    const of = { keeper: "ada", replaces: "https://push.example/pocket", label: null };
    await store.keepers.renewPhone(of, { endpoint: "https://push.example/new", p256dh: "p", auth: "a" }, now);
    expect(await store.transaction((tx) => tx.saveDisplayReceipt(item?.id ?? "", inAMinute))).not.toBeNull();
    expect((await phoneOf(store))?.lastDisplayedAt).toBeNull();
  },

  "an e-mail has no display receipt": async ({ store }) => {
    await addAlder(store);
    const content = notificationFixture({ topic: "t" });
    const email = { person: "ada", channel: "email", yard: alder.id, feeder: null, content } as const;
    await store.transaction((tx) => tx.enqueue(email, now));
    const [item] = await store.outbox.claim("email", now, inAMinute, 9);
    expect(item).toMatchObject({ to: null, yardName: "Alder Croft", feederName: null });
    expect(await store.transaction((tx) => tx.saveDisplayReceipt(item?.id ?? "", now))).toBeNull();
  },

  "a notification for new phones goes to no older one, and replaces nothing that waits for an older one": async ({
    store,
  }) => {
    await addAlder(store);
    await addPhone(store, "old", "ada");
    await enqueuePush(store, "ada");
    await store.keepers.savePhone(newPhone("new", "ada", now));
    const content = notificationFixture({ topic: "t" });
    const about = { person: "ada", channel: "push", yard: alder.id, feeder: null, content } as const;
    await store.transaction((tx) => tx.enqueue({ ...about, phonesAfter: now }, now));
    expect(await claimedPhones(store)).toEqual(["old"]);
    const before = later(minutes(-1));
    await store.transaction((tx) => tx.enqueue({ ...about, phonesAfter: before }, now));
    expect(await claimedPhones(store)).toEqual(["new"]);
  },
};
