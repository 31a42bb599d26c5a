import { expect } from "vitest";
import { hours, type Instant, minutes } from "../../../server/domain/instant.ts";
import { phonesPerPersonMax } from "../../../server/domain/push/reachability.ts";
import type { PushItem, Store } from "../../../server/ports.ts";
import { phoneFixture } from "../../support/phoneFixture.ts";
import { addPhone, addTwoYards, alder, claimedPhones, enqueuePush, later, newPhone, now } from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

const endpointOf = (id: string) => `https://push.example/${id}`;
const renewed = { endpoint: "https://push.example/renewed", p256dh: "new key", auth: "new secret" };

/** Writes a notification to Ada and claims it for her one phone. */
async function claimPush(store: Store, at: Instant = now): Promise<PushItem> {
  await enqueuePush(store, "ada", { at });
  const [item] = await store.outbox.claim("push", at, later(hours(1)), 9);
  if (item?.channel !== "push") throw new Error("expected a push");
  return item;
}

const gone = (store: Store, item: PushItem, at: Instant = now) =>
  store.outbox.settle(item, { kind: "phoneGone", at, problem: "HTTP 410" });

export const phoneRules: Rules = {
  "phones are listed for each person in the order in which they were added": async ({ store }) => {
    await addTwoYards(store);
    const { keepers } = store;
    const second = newPhone("a", "ada", later(hours(1)));
    await keepers.savePhone(second);
    await addPhone(store, "z", "ada");
    await addPhone(store, "bo's", "bo");
    const contact = { lastAcceptedAt: null, lastDisplayedAt: null, problem: null, blockedAt: null };
    const listed = await keepers.phonesOf("ada");
    expect(listed).toEqual([phoneFixture({ id: "z", keeper: "ada" }), { ...second, ...contact }]);
    await expect(addPhone(store, "x", "nobody")).rejects.toThrow();
  },

  "a phone that is added again stays the same one, with its new label and keys": async ({ store }) => {
    await addTwoYards(store);
    const { keepers } = store;
    await addPhone(store, "pocket", "ada");
    const item = await claimPush(store);
    await store.transaction((tx) => tx.saveDisplayReceipt(item.id, now));
    const again = { ...newPhone("another", "ada", now), endpoint: endpointOf("pocket"), label: "kitchen", auth: "new" };
    expect(await keepers.savePhone(again)).toBe("saved");
    const added = {
      id: "pocket",
      label: "kitchen",
      auth: "new",
      addedAt: phoneFixture().addedAt,
      lastDisplayedAt: null,
    };
    expect(await keepers.phonesOf("ada")).toEqual([expect.objectContaining(added)]);
  },

  "a phone changes to another person only with its own keys, without the items and receipt of the one before": async ({
    store,
  }) => {
    await addTwoYards(store);
    const { keepers } = store;
    await addPhone(store, "pocket", "ada");
    const item = await claimPush(store);
    await store.transaction((tx) => tx.saveDisplayReceipt(item.id, now));
    await enqueuePush(store, "ada", { topic: "another" });
    expect(await keepers.savePhone({ ...newPhone("pocket", "bo"), auth: "another" })).toBe("taken");
    expect((await keepers.phonesOf("ada"))[0]).toMatchObject({ id: "pocket", lastDisplayedAt: now });
    expect(await addPhone(store, "pocket", "bo")).toBe("saved");
    expect(await claimedPhones(store)).toEqual([]);
    expect((await keepers.phonesOf("bo"))[0]).toMatchObject({ id: "pocket", lastDisplayedAt: null });
    expect(await keepers.phonesOf("ada")).toEqual([]);
  },

  "a person has a limited number of phones": async ({ store }) => {
    await addTwoYards(store);
    for (let n = 0; n < phonesPerPersonMax; n += 1) expect(await addPhone(store, `${n}`, "ada")).toBe("saved");
    expect(await addPhone(store, "more", "ada")).toBe("tooMany");
    expect(await addPhone(store, "3", "ada")).toBe("saved"); // known already
    await addPhone(store, "bo's", "bo");
    expect(await addPhone(store, "bo's", "ada")).toBe("tooMany");
    expect(await addPhone(store, "3", "bo")).toBe("saved");
  },

  "a phone whose browser may not show notifications gets none, until it may again": async ({ store }) => {
    await addTwoYards(store);
    const { keepers } = store;
    await addPhone(store, "pocket", "ada");
    await enqueuePush(store, "ada");
    expect(await keepers.setPhoneAllowed("bo", endpointOf("pocket"), false, now)).toBe(false);
    expect(await keepers.setPhoneAllowed("ada", endpointOf("none"), false, now)).toBe(false);
    expect(await keepers.setPhoneAllowed("ada", endpointOf("pocket"), false, now)).toBe(true);
    expect(await keepers.setPhoneAllowed("ada", endpointOf("pocket"), false, later(hours(1)))).toBe(true);
    expect((await keepers.phonesOf("ada"))[0]?.blockedAt).toBe(now);
    expect(await claimedPhones(store)).toEqual([]); // what was waiting is given up
    await enqueuePush(store, "ada");
    expect(await claimedPhones(store)).toEqual([]);
    const people = async () => (await store.transaction((tx) => tx.recipients(alder.id)))?.people;
    expect((await people())?.[0]).toMatchObject({ phoneCount: 0, phonesSince: null });
    await keepers.setPhoneAllowed("ada", endpointOf("pocket"), true, later(hours(2)));
    expect((await keepers.phonesOf("ada"))[0]?.blockedAt).toBeNull();
    expect((await people())?.[0]).toMatchObject({ phoneCount: 1, phonesSince: later(hours(2)) });
    await enqueuePush(store, "ada");
    expect(await claimedPhones(store)).toEqual(["pocket"]);
  },

  "a phone is removed with its items, by its person only": async ({ store }) => {
    await addTwoYards(store);
    const { keepers } = store;
    await addPhone(store, "pocket", "ada");
    await enqueuePush(store, "ada");
    await keepers.removePhone("bo", endpointOf("pocket"), now);
    expect(await keepers.phonesOf("ada")).toHaveLength(1);
    await keepers.removePhone("ada", endpointOf("pocket"), now);
    expect(await keepers.phonesOf("ada")).toEqual([]);
    expect(await store.outbox.nextDueAt()).toBeNull();
    expect(await keepers.gonePhonesOf("ada")).toEqual([]);
  },

  "a renewed phone stays itself, is tried at its new endpoint at once, and needs a new receipt": async ({ store }) => {
    await addTwoYards(store);
    const { keepers } = store;
    await addPhone(store, "pocket", "ada");
    const item = await claimPush(store);
    await store.outbox.settle(item, { kind: "retry", notBefore: later(hours(1)), problem: "HTTP 503" });
    const of = { keeper: "ada", replaces: endpointOf("pocket"), label: null };
    expect(await keepers.renewPhone({ ...of, keeper: "bo" }, renewed, now)).toBe("noSuchPhone");
    expect(await keepers.renewPhone(of, renewed, later(minutes(1)))).toBe("saved");
    expect(await keepers.renewPhone(of, renewed, later(minutes(2)))).toBe("saved"); // repeated after a lost answer
    expect(await keepers.phonesOf("ada")).toEqual([phoneFixture({ id: "pocket", keeper: "ada", ...renewed })]);
    expect(await store.outbox.nextDueAt()).toBe(later(minutes(1)));
    const [again] = await store.outbox.claim("push", later(minutes(1)), later(hours(1)), 9);
    expect(again).toMatchObject({ id: item.id, phone: renewed });
    // What the old endpoint answers late proves nothing about the new one.
    await store.outbox.settle(item, { kind: "delivered", at: later(minutes(3)) });
    expect((await keepers.phonesOf("ada"))[0]?.lastAcceptedAt).toBeNull();
  },

  "a late answer about an old endpoint doesn't remove a renewed phone, and sends the item to the new one": async ({
    store,
  }) => {
    await addTwoYards(store);
    const { keepers } = store;
    await addPhone(store, "pocket", "ada");
    const item = await claimPush(store);
    await keepers.renewPhone({ keeper: "ada", replaces: endpointOf("pocket"), label: "kitchen" }, renewed, now);
    await gone(store, item);
    expect(await keepers.phonesOf("ada")).toMatchObject([{ id: "pocket", label: "kitchen" }]);
    const [again] = await store.outbox.claim("push", now, later(hours(2)), 9);
    expect(again).toMatchObject({ id: item.id, phone: renewed });
    await store.outbox.settle(item, { kind: "givenUp", at: now, problem: "HTTP 403" });
    expect((await keepers.phonesOf("ada"))[0]?.problem).toBeNull();
    expect(await store.outbox.nextDueAt()).toBe(now); // the new endpoint wasn't tried with it
    expect(await keepers.gonePhonesOf("ada")).toEqual([]); // the phone is still there
  },

  "an endpoint that was declared gone is never added again, and its phone can be brought back once": async ({
    store,
  }) => {
    await addTwoYards(store);
    const { keepers } = store;
    await addPhone(store, "pocket", "ada");
    await gone(store, await claimPush(store));
    await addPhone(store, "bed", "ada");
    await gone(store, await claimPush(store, later(hours(1))), later(hours(1)));
    const listed = { label: "a phone" };
    expect(await keepers.gonePhonesOf("ada")).toEqual([
      { ...listed, endpoint: endpointOf("bed"), goneAt: later(hours(1)) },
      { ...listed, endpoint: endpointOf("pocket"), goneAt: now },
    ]);
    expect(await keepers.gonePhonesOf("bo")).toEqual([]);
    expect(await addPhone(store, "pocket", "ada")).toBe("gone");
    const of = { keeper: "ada", replaces: endpointOf("pocket"), label: null };
    expect(await keepers.renewPhone({ ...of, keeper: "bo" }, renewed, now)).toBe("noSuchPhone");
    expect(await keepers.renewPhone(of, { ...renewed, endpoint: endpointOf("bed") }, now)).toBe("gone");
    expect(await keepers.renewPhone(of, renewed, now)).toBe("saved");
    expect(await keepers.phonesOf("ada")).toEqual([phoneFixture({ id: "pocket", keeper: "ada", ...renewed })]);
    expect(await keepers.renewPhone(of, { ...renewed, endpoint: endpointOf("x") }, now)).toBe("noSuchPhone");
    await keepers.removePhone("ada", endpointOf("bed"), now);
    expect(await keepers.gonePhonesOf("ada")).toEqual([]);
  },

  "gone endpoints are forgotten after a time": async ({ store }) => {
    await addTwoYards(store);
    await addPhone(store, "pocket", "ada");
    await gone(store, await claimPush(store));
    await store.keepers.pruneGonePhones(now);
    expect(await store.keepers.gonePhonesOf("ada")).toHaveLength(1);
    await store.keepers.pruneGonePhones(later(minutes(1)));
    expect(await store.keepers.gonePhonesOf("ada")).toEqual([]);
    expect(await addPhone(store, "pocket", "ada")).toBe("saved");
  },

  "a renewal meets an endpoint that is another person's, or the person's own": async ({ store }) => {
    await addTwoYards(store);
    const { keepers } = store;
    await addPhone(store, "pocket", "ada");
    await addPhone(store, "bed", "ada");
    await addPhone(store, "bo's", "bo");
    const of = { keeper: "ada", replaces: endpointOf("pocket"), label: null };
    expect(await keepers.renewPhone(of, { ...renewed, endpoint: endpointOf("bo's") }, now)).toBe("taken");
    expect(await keepers.phonesOf("ada")).toHaveLength(2);
    // Its browser has added itself again meanwhile: one of the two is left.
    expect(await keepers.renewPhone(of, { ...renewed, endpoint: endpointOf("bed") }, now)).toBe("saved");
    expect((await keepers.phonesOf("ada")).map(({ id }) => id)).toEqual(["bed"]);
  },

  "who is notified of damage are the keepers of real yards": async ({ store }) => {
    expect(await store.damageRecipients()).toEqual({ phones: [], addresses: [] });
    await addTwoYards(store);
    await store.yards.addYard({ ...alder, id: "practice", practice: true }, "bo", now);
    await store.people.addMember(alder.id, "bo", "helper", now);
    await store.people.addMember("other", "ada", "keeper", now);
    await store.people.removeMember("other", "bo", now); // now Bo keeps the practice yard only
    for (const [id, keeper] of [
      ["one", "ada"],
      ["blocked", "ada"],
      ["bo's", "bo"],
    ] as const)
      await addPhone(store, id, keeper);
    await store.keepers.setPhoneAllowed("ada", endpointOf("blocked"), false, now);
    await store.people.changeEmail("ada", "ada@alder.example", now);
    await store.people.changeEmail("bo", "bo@alder.example", now);
    const { endpoint, p256dh, auth, label } = phoneFixture({ id: "one" });
    expect(await store.damageRecipients()).toEqual({
      phones: [{ id: "one", keeper: "ada", endpoint, p256dh, auth, label }],
      addresses: ["ada@alder.example"],
    });
  },
};
