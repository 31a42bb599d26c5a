import { expect } from "vitest";
import { hours, type Instant, minutes } from "../../../server/domain/instant.ts";
import type { Escalation } from "../../../server/domain/notification/escalation.ts";
import type { Store } from "../../../server/ports.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";
import {
  addAlder,
  addFeeder,
  addPhone,
  addTwoYards,
  alder,
  claimedPhones,
  enqueuePush,
  join,
  later,
  now,
} from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

const inAnHour = later(hours(1));

const escalation = (topic: string, yard = alder.id, feeder: string | null = null) =>
  ({ topic, yard, feeder, fault: "trayJammed", recipientStates: [] }) as unknown as Escalation;
const save = (store: Store, topic: string, nextAt: Instant | null, yard = alder.id) =>
  store.transaction((tx) => tx.saveEscalation(topic, escalation(topic, yard), nextAt));
const read = (store: Store, topic: string) => store.transaction((tx) => tx.escalation(topic));

/** Each of these changes who can be notified, or when. */
const changes: Readonly<Record<string, (store: Store) => Promise<unknown>>> = {
  "somebody joins": (store) => join(store, "cilla", "Cilla"),
  "somebody gets another place in the escalation order": ({ people }) =>
    people.changeMember(alder.id, "bo", { escalationOrder: 1 }, now),
  "somebody leaves": ({ people }) => people.removeMember(alder.id, "bo", now),
  "somebody's account ends": ({ accounts }) => accounts.removeAccount("bo", [], now),
  "somebody enters an e-mail address": ({ people }) => people.changeEmail("bo", "bo@alder.example", now),
  "somebody switches a phone on": (store) => store.keepers.savePhone({ ...newPhoneOfBo, addedAt: now }),
  "somebody switches a phone off": ({ keepers }) => keepers.removePhone("bo", oldEndpoint, now),
  "a phone may show no notifications any more": ({ keepers }) => keepers.setPhoneAllowed("bo", oldEndpoint, false, now),
  "a phone gets a new endpoint": ({ keepers }) =>
    keepers.renewPhone(
      { keeper: "bo", replaces: oldEndpoint, label: null },
      { endpoint: "https://push.example/renewed", p256dh: "p", auth: "a" },
      now,
    ),
  "the yard's time for an answer changes": (store) =>
    store.transaction((tx) => tx.changeYard(alder.id, { escalateMinutes: 5 }, now)),
  "a phone is gone": async (store) => {
    await enqueuePush(store, "bo");
    const [item] = await store.outbox.claim("push", now, inAnHour, 1);
    if (item === undefined) throw new Error("expected a notification for the old phone");
    await store.outbox.settle(item, { kind: "phoneGone", at: now, problem: "HTTP 410" });
  },
};
const oldEndpoint = "https://push.example/old";
const newPhoneOfBo = {
  id: "new",
  keeper: "bo",
  endpoint: "https://push.example/new",
  p256dh: "p",
  auth: "a",
  label: "x",
};

const dueAtOnce = (change: (store: Store) => Promise<unknown>): Rules[string] => {
  return async ({ store }) => {
    await addAlder(store);
    await store.yards.addYard({ ...alder, id: "other" }, "ada", now);
    await join(store, "bo", "Bo");
    await addPhone(store, "old", "bo");
    await save(store, "waits", inAnHour);
    await save(store, "of another yard", inAnHour, "other");
    await change(store);
    expect(await store.escalations.due(now, 9)).toEqual(["waits"]);
  };
};

/** An escalation of which Bo has got a push. */
const sentToBo = { ...escalation("t"), acknowledgedBy: null, endedAt: null };
const recipientState = { person: "bo", pushedAt: now, emailedAt: null };

export const escalationRules: Rules = {
  "an escalation is stored by its topic, and can be changed and removed": async ({ store }) => {
    await addTwoYards(store);
    await addFeeder(store, "rowan");
    expect(await read(store, "b")).toBeNull();
    await save(store, "b", now);
    await save(store, "a", null);
    await save(store, "c", now, "other");
    expect(await read(store, "b")).toEqual(escalation("b"));
    expect(await store.escalations.ofYard(alder.id)).toEqual([escalation("a"), escalation("b")]);
    expect(await store.escalations.ofYard("other")).toEqual([escalation("c", "other")]);
    const changed = { ...escalation("b"), level: 2 };
    await store.transaction((tx) => tx.saveEscalation("b", changed, null));
    expect(await read(store, "b")).toEqual(changed);
    expect(await store.escalations.due(inAnHour, 9)).toEqual(["c"]);
    await store.transaction((tx) => tx.saveEscalation("b", null, null));
    expect(await read(store, "b")).toBeNull();
    await expect(save(store, "x", now, "nowhere")).rejects.toThrow();
  },

  "an escalation comes due at its time, the longest overdue first": async ({ store }) => {
    await addAlder(store);
    await save(store, "second", inAnHour);
    await save(store, "first", now);
    await save(store, "never", null);
    expect(await store.escalations.due(now, 9)).toEqual(["first"]);
    expect(await store.escalations.due(inAnHour, 9)).toEqual(["first", "second"]);
    expect(await store.escalations.due(inAnHour, 1)).toEqual(["first"]);
  },

  ...Object.fromEntries(
    Object.entries(changes).map(([text, change]) => [
      `the escalations of a yard come due at once, and no others, where ${text}`,
      dueAtOnce(change),
    ]),
  ),

  "an escalation records that a person's last push reached nobody": async ({ store }) => {
    await addTwoYards(store);
    await addPhone(store, "one", "bo");
    await addPhone(store, "two", "bo");
    await store.transaction((tx) =>
      tx.saveEscalation("t", { ...sentToBo, recipientStates: [recipientState] } as never, null),
    );
    await enqueuePush(store, "bo");
    const [first, second] = await store.outbox.claim("push", now, inAnHour, 9);
    if (first === undefined || second === undefined) throw new Error("expected a push for each phone");
    await store.outbox.settle(first, { kind: "givenUp", at: later(minutes(1)), problem: "HTTP 403" });
    expect((await read(store, "t"))?.recipientStates).toEqual([recipientState]); // the other may still arrive
    await store.outbox.settle(second, { kind: "phoneGone", at: later(minutes(2)), problem: "HTTP 410" });
    expect((await read(store, "t"))?.recipientStates).toEqual([{ ...recipientState, pushLostAt: later(minutes(2)) }]);
    expect(await store.escalations.due(later(minutes(2)), 9)).toEqual(["t"]);
  },

  "an escalation keeps its old notifications while it lasts; all others are pruned": async ({ store }) => {
    await addAlder(store);
    await addPhone(store, "pocket", "ada");
    await save(store, "active", null);
    for (const topic of ["active", "over"]) await enqueuePush(store, "ada", { topic });
    for (const item of await store.outbox.claim("push", now, inAnHour, 9)) {
      await store.outbox.settle(item, { kind: "delivered", at: now });
    }
    await store.outbox.prune(inAnHour);
    const closing = { silent: true, isClosing: true } as const;
    const about = { person: "ada", channel: "push", yard: alder.id, feeder: null } as const;
    for (const topic of ["active", "over"])
      await store.transaction((tx) =>
        tx.enqueue({ ...about, content: notificationFixture({ topic, ...closing }) }, now),
      );
    const items = await store.outbox.claim("push", now, inAnHour, 9);
    expect(items.map(({ content }) => content.topic)).toEqual(["active"]); // the other has nothing to close any more
  },

  "an escalation is removed with its yard, and with its feeder": async ({ store }) => {
    await addTwoYards(store);
    await addFeeder(store, "rowan");
    const ofFeeder = (tx: Parameters<Parameters<Store["transaction"]>[0]>[0]) =>
      tx.saveEscalation("of rowan", escalation("of rowan", alder.id, "rowan"), now);
    await store.transaction(ofFeeder);
    await save(store, "waits", now);
    await save(store, "other", now, "other");
    await addPhone(store, "pocket", "ada");
    await enqueuePush(store, "ada", { feeder: "rowan" });
    await store.yards.removeFeeder("rowan");
    expect((await store.escalations.due(inAnHour, 9)).toSorted()).toEqual(["other", "waits"]);
    expect(await claimedPhones(store)).toEqual([]);
    await enqueuePush(store, "ada");
    await store.yards.removeYard(alder.id, null);
    expect(await store.escalations.due(inAnHour, 9)).toEqual(["other"]);
    expect(await claimedPhones(store)).toEqual([]);
  },
};
