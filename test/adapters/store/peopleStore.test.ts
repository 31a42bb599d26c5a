import { rmSync } from "node:fs";
import { describe, expect, inject, it, onTestFinished } from "vitest";
import { type OpenStore, openStore } from "../../../server/adapters/store/prismaStore.ts";
import { after, days, hours, instantOf, minutes } from "../../../server/domain/instant.ts";
import type { Escalation } from "../../../server/domain/notification/escalation.ts";
import { rebuildState } from "../../../server/flows/pure/rebuildState.ts";
import type { Phone } from "../../../server/ports.ts";
import { copyDatabase } from "../../support/migratedDatabase.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";
import { phoneFixture } from "../../support/phoneFixture.ts";

const now = instantOf("2026-11-25T06:00:00Z");
const yard = {
  id: "alder",
  name: "Alder Croft",
  zone: "Europe/Stockholm",
  place: null,
  digestTime: "07:30",
  digestWanted: true,
  practice: false,
  escalateMinutes: 15,
};

/** Two servers on one database, with a yard that Ada keeps. */
async function twoServers() {
  const { folder, file } = copyDatabase(inject("migratedDatabase"));
  const [store, second] = [
    await openStore(`file:${file}`, rebuildState),
    await openStore(`file:${file}`, rebuildState),
  ];
  onTestFinished(async () => {
    await Promise.all([store.close(), second.close()]);
    rmSync(folder, { recursive: true, force: true });
  });
  await store.keepers.openFirstSignIn("firstSignIn", now);
  await store.keepers.useFirstSignIn("firstSignIn", { id: "ada", name: "Ada", passphraseHash: "-" }, now);
  await store.yards.addYard(yard, "ada", now);
  return { store, second };
}

async function join(store: OpenStore, id: string, name: string, role: "keeper" | "helper" = "helper") {
  await store.people.addInvite(`invite-${id}`, { yard: yard.id, role, expiresAt: after(now, days(7)) }, now);
  return store.people.useInvite(`invite-${id}`, id, { name, passphraseHash: "-" }, now);
}

const phone = (store: OpenStore, keeper: string, id: string) => {
  const { lastAcceptedAt, lastDisplayedAt, problem, blockedAt, ...added } = phoneFixture({ id, keeper });
  return store.keepers.savePhone(added);
};
const enqueuePush = (store: OpenStore, person: string, topic = "t") =>
  store.transaction((tx) =>
    tx.enqueue({ person, channel: "push", yard: yard.id, feeder: null, content: notificationFixture({ topic }) }, now),
  );
const claimedPhones = async (store: OpenStore): Promise<string[]> =>
  (await store.outbox.claim("push", now, after(now, minutes(1)), 50)).map((item) =>
    item.channel === "push" ? item.phone.id : "email",
  );

describe("an invite", () => {
  it("is used once, also where two servers are asked at once", async () => {
    const { store, second } = await twoServers();
    await store.people.addInvite("hash", { yard: yard.id, role: "helper", expiresAt: after(now, days(7)) }, now);
    const uses = await Promise.all(
      ["bo", "cilla", "dag", "eli"].map((id, index) =>
        (index % 2 ? store : second).people.useInvite("hash", id, { name: id, passphraseHash: "-" }, now),
      ),
    );
    expect(uses.map(({ kind }) => kind).sort()).toEqual(["joined", ...Array(3).fill("noSuchInvite")]);
    expect(await store.people.membersOf(yard.id)).toHaveLength(2);
    expect(await store.keepers.countKeepers()).toBe(2); // nobody got an account without a yard
  });

  it("adds no account where the name is taken meanwhile, and stays open", async () => {
    const { store } = await twoServers();
    await store.people.addInvite("hash", { yard: yard.id, role: "helper", expiresAt: after(now, days(7)) }, now);
    const newPerson = { name: "Ada", passphraseHash: "-" };
    expect(await store.people.useInvite("hash", "other", newPerson, now)).toEqual({ kind: "nameTaken" });
    expect(await store.people.openInvites(yard.id, now)).toHaveLength(1);
    expect(await store.people.membersOf(yard.id)).toHaveLength(1);
  });

  it("is deleted with sessions and action ids once it has expired", async () => {
    const { store } = await twoServers();
    await store.people.addInvite("hash", { yard: yard.id, role: "helper", expiresAt: after(now, days(7)) }, now);
    await store.keepers.addSession({ tokenHash: "session", keeper: "ada", expiresAt: after(now, days(8)) }, now);
    expect(await store.transaction((tx) => tx.claimActionId("rowan", "action-0001", now))).toBe(true);
    await store.keepers.pruneSessions((now - 1) as never);
    expect(await store.transaction((tx) => tx.claimActionId("rowan", "action-0001", now))).toBe(false);
    await store.keepers.pruneSessions(after(now, days(7)));
    expect(await store.people.openInvites(yard.id, now)).toEqual([]);
    expect(await store.keepers.session("session")).not.toBeNull();
    expect(await store.transaction((tx) => tx.claimActionId("rowan", "action-0001", now))).toBe(true);
  });
});

describe("a yard's people", () => {
  it("never lose their last keeper, also where both of two step down at once on two servers", async () => {
    const { store, second } = await twoServers();
    await join(store, "bo", "Bo", "keeper");
    const both = await Promise.all([
      store.people.changeMember(yard.id, "ada", { role: "helper" }, now),
      second.people.removeMember(yard.id, "bo", now),
    ]);
    expect([...both].sort()).toEqual(["changed", "lastKeeper"]);
    expect((await store.people.membersOf(yard.id)).filter(({ role }) => role === "keeper")).toHaveLength(1);
  });

  it("are its recipients in escalation order, each with their phones and settings", async () => {
    const { store } = await twoServers();
    await join(store, "bo", "Bo");
    await phone(store, "bo", "one");
    await phone(store, "bo", "two");
    await store.people.changeEmail("ada", "ada@alder.example", now);
    await store.people.changeMember(
      yard.id,
      "bo",
      { escalationOrder: 1, quietHours: { from: "22:00", to: "06:00" } },
      now,
    );
    await store.people.changeMember(yard.id, "ada", { escalationOrder: 2, urgentBreaks: false }, now);
    const recipients = await store.transaction((tx) => tx.recipients(yard.id));
    expect(recipients).toMatchObject({ zone: "Europe/Stockholm", escalateAfter: minutes(15) });
    expect(recipients?.people).toEqual([
      {
        id: "bo",
        name: "Bo",
        escalationOrder: 1,
        quietHours: { from: "22:00", to: "06:00" },
        urgentBreaks: true,
        phoneCount: 2,
        phonesSince: phoneFixture().addedAt,
        email: null,
        emailSince: null,
      },
      {
        ...{ id: "ada", name: "Ada", escalationOrder: 2, quietHours: null, urgentBreaks: false },
        ...{ phoneCount: 0, phonesSince: null, email: "ada@alder.example", emailSince: now },
      },
    ]);
    expect(await store.transaction((tx) => tx.recipients("nowhere"))).toBeNull();
  });

  it("are notified each on their own phones only", async () => {
    const { store } = await twoServers();
    await join(store, "bo", "Bo");
    for (const [person, id] of [
      ["ada", "ada-1"],
      ["bo", "bo-1"],
      ["bo", "bo-2"],
    ] as const)
      await phone(store, person, id);
    await enqueuePush(store, "bo");
    expect((await claimedPhones(store)).sort()).toEqual(["bo-1", "bo-2"]);
    expect(await claimedPhones(store)).toEqual([]);
  });

  it("get nothing more about a yard that they left, not even what was waiting; other people's items stay", async () => {
    const { store } = await twoServers();
    await join(store, "bo", "Bo");
    await phone(store, "ada", "ada-1");
    await phone(store, "bo", "bo-1");
    await enqueuePush(store, "bo");
    await enqueuePush(store, "ada");
    await store.people.removeMember(yard.id, "bo", now);
    expect(await claimedPhones(store)).toEqual(["ada-1"]);
  });

  it("take over a phone without the items and the display receipt of the previous person", async () => {
    const { store } = await twoServers();
    await join(store, "bo", "Bo");
    await phone(store, "ada", "pocket");
    await enqueuePush(store, "ada");
    const item = (await store.outbox.claim("push", now, now, 1))[0];
    await store.transaction((tx) => tx.saveDisplayReceipt(item?.id as string, now));
    await enqueuePush(store, "ada", "another");
    await phone(store, "bo", "pocket");
    expect(await claimedPhones(store)).toEqual([]);
    expect((await store.keepers.phonesOf("bo"))[0]).toMatchObject({
      id: "pocket",
      lastDisplayedAt: null,
    } as Partial<Phone>);
    expect(await store.keepers.phonesOf("ada")).toEqual([]);
  });

  it("are counted for each yard, and have a role there", async () => {
    const { store } = await twoServers();
    await join(store, "bo", "Bo");
    await store.yards.addYard({ ...yard, id: "practice", practice: true }, "bo", now);
    expect(await store.people.countMembers()).toEqual(
      new Map([
        ["alder", 2],
        ["practice", 1],
      ]),
    );
    expect(await store.people.roleAt("bo", { yard: "alder" })).toBe("helper");
    expect(await store.people.roleAt("bo", { yard: "practice" })).toBe("keeper");
    expect(await store.people.roleAt("ada", { yard: "practice" })).toBeNull();
    expect(await store.people.roleAt("ada", { feeder: "no-feeder" })).toBeNull();
    expect(await store.digests.recipientsOf("alder")).toEqual([
      { person: "ada", digestBy: "push" },
      { person: "bo", digestBy: "push" },
    ]);
  });
});

describe("an escalation", () => {
  const escalation = (topic: string) =>
    ({ topic, yard: yard.id, feeder: null, fault: "trayJammed" }) as unknown as Escalation;
  const later = after(now, hours(1));
  const save = (store: OpenStore, topic: string, nextAt: typeof now | null) =>
    store.transaction((tx) => tx.saveEscalation(topic, escalation(topic), nextAt));

  it("is stored by its topic, comes due at its time, the longest overdue first, and can be removed", async () => {
    const { store } = await twoServers();
    await save(store, "second", later);
    await save(store, "first", now);
    await save(store, "never", null);
    expect(await store.escalations.due(now, 9)).toEqual(["first"]);
    expect(await store.escalations.due(later, 9)).toEqual(["first", "second"]);
    expect(await store.escalations.due(later, 1)).toEqual(["first"]);
    expect(await store.transaction((tx) => tx.escalation("second"))).toEqual(escalation("second"));
    expect(await store.escalations.ofYard(yard.id)).toHaveLength(3);
    await store.transaction((tx) => tx.saveEscalation("first", null, null));
    expect(await store.transaction((tx) => tx.escalation("first"))).toBeNull();
  });

  it.each<[string, (store: OpenStore) => Promise<unknown>]>([
    ["somebody joins", (store) => join(store, "cilla", "Cilla")],
    [
      "somebody gets another place in the escalation order",
      (store) => store.people.changeMember(yard.id, "bo", { escalationOrder: 1 }, now),
    ],
    ["somebody leaves", (store) => store.people.removeMember(yard.id, "bo", now)],
    ["somebody enters an e-mail address", (store) => store.people.changeEmail("bo", "bo@alder.example", now)],
    ["somebody switches a phone on", (store) => phone(store, "bo", "new")],
    ["somebody switches a phone off", (store) => store.keepers.removePhone("bo", "https://push.example/old", now)],
    [
      "the yard's time for an answer changes",
      (store) => store.transaction((tx) => tx.changeYard(yard.id, { escalateMinutes: 5 }, now)),
    ],
    [
      "a phone is gone",
      async (store) => {
        await enqueuePush(store, "bo");
        const [item] = await store.outbox.claim("push", now, later, 1);
        if (item === undefined) throw new Error("expected a notification for the old phone");
        await store.outbox.settle(item, { kind: "phoneGone", at: now, problem: "HTTP 410" });
      },
    ],
  ])("comes due at once where %s", async (_, change) => {
    const { store } = await twoServers();
    await join(store, "bo", "Bo");
    await phone(store, "bo", "old");
    await save(store, "waits", later);
    await change(store);
    expect(await store.escalations.due(now, 9)).toEqual(["waits"]);
  });

  it("keeps its old notifications while it lasts; all others are pruned", async () => {
    const { store } = await twoServers();
    await phone(store, "ada", "pocket");
    await save(store, "active", null);
    for (const topic of ["active", "over"]) await enqueuePush(store, "ada", topic);
    for (const item of await store.outbox.claim("push", now, later, 9)) {
      await store.outbox.settle(item, { kind: "delivered", at: now });
    }
    await store.outbox.prune(later);
    const closing = (topic: string) =>
      store.transaction((tx) =>
        tx.enqueue(
          {
            person: "ada",
            channel: "push",
            yard: yard.id,
            feeder: null,
            content: notificationFixture({ topic, silent: true, isClosing: true }),
          },
          now,
        ),
      );
    await closing("active");
    await closing("over");
    const items = await store.outbox.claim("push", now, later, 9);
    expect(items.map(({ content }) => content.topic)).toEqual(["active"]); // the other has nothing to close any more
  });

  it("is removed with its yard", async () => {
    const { store } = await twoServers();
    await save(store, "waits", now);
    await phone(store, "ada", "pocket");
    await enqueuePush(store, "ada");
    await store.yards.removeYard(yard.id, null);
    expect(await store.escalations.due(later, 9)).toEqual([]);
    expect(await claimedPhones(store)).toEqual([]);
  });
});
