import { expect } from "vitest";
import { days, hours, minutes } from "../../../server/domain/instant.ts";
import { phoneFixture } from "../../support/phoneFixture.ts";
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
  nextWeek,
  now,
} from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

const helper = { yard: alder.id, role: "helper", expiresAt: nextWeek } as const;

export const inviteRules: Rules = {
  "an invite is used once, also where two servers are asked at once": async ({ store, openSecond }) => {
    await addAlder(store);
    const second = await openSecond();
    await store.people.addInvite("hash", helper, now);
    const uses = await Promise.all(
      ["bo", "cilla", "dag", "eli"].map((id, index) =>
        (index % 2 ? store : second).people.useInvite("hash", id, { name: id, passphraseHash: "-" }, now),
      ),
    );
    expect(uses.map(({ kind }) => kind).sort()).toEqual(["joined", ...Array(3).fill("noSuchInvite")]);
    expect(await store.people.membersOf(alder.id)).toHaveLength(2);
    expect(await store.keepers.countKeepers()).toBe(2); // nobody got an account without a yard
  },

  "an invite adds no account where the name is taken meanwhile, and stays open": async ({ store }) => {
    await addAlder(store);
    await store.people.addInvite("hash", helper, now);
    const newPerson = { name: "ADA", passphraseHash: "-" };
    expect(await store.people.useInvite("hash", "other", newPerson, now)).toEqual({ kind: "nameTaken" });
    expect(await store.people.openInvites(alder.id, now)).toHaveLength(1);
    expect(await store.people.membersOf(alder.id)).toHaveLength(1);
  },

  "an invite that would change nothing stays open, and one to keep the yard makes a helper its keeper": async ({
    store,
  }) => {
    await addAlder(store);
    await join(store, "bo", "Bo");
    await store.people.addInvite("hash", helper, now);
    const known = { kind: "alreadyMember", yard: alder.id };
    expect(await store.people.useInvite("hash", "bo", null, now)).toEqual(known);
    expect(await store.people.useInvite("hash", "ada", null, now)).toEqual(known);
    expect(await store.people.invite("hash", now)).toEqual(helper);
    await store.people.addInvite("keeper", { ...helper, role: "keeper" }, now);
    expect(await store.people.useInvite("keeper", "bo", null, now)).toEqual({ kind: "joined", yard: alder.id });
    expect(await store.people.roleAt("bo", { yard: alder.id })).toBe("keeper");
  },

  "an invite is open until it expires, is used or is withdrawn; a used one is known until it expires": async ({
    store: { people },
    store,
  }) => {
    await addAlder(store);
    await people.addInvite("hash", helper, now);
    expect(await people.invite("hash", later(days(6)))).toEqual(helper);
    expect(await people.invite("hash", nextWeek)).toBeNull();
    expect(await people.useInvite("hash", "bo", { name: "Bo", passphraseHash: "-" }, nextWeek)).toEqual({
      kind: "noSuchInvite",
    });
    expect(await people.usedInvite("hash", now)).toBeNull();
    expect(await people.withdrawInvite("another", "hash", now)).toBe(false);
    expect(await people.withdrawInvite(alder.id, "hash", nextWeek)).toBe(false);
    expect(await people.withdrawInvite(alder.id, "hash", now)).toBe(true);
    expect(await people.withdrawInvite(alder.id, "hash", now)).toBe(false);
    expect(await people.invite("hash", now)).toBeNull();
    await join(store, "bo", "Bo");
    const another = { name: "Cilla", passphraseHash: "-" };
    expect(await people.useInvite("invite-bo", "cilla", another, now)).toEqual({ kind: "noSuchInvite" });
    expect(await people.usedInvite("invite-bo", now)).toEqual(helper);
    expect(await people.usedInvite("invite-bo", nextWeek)).toBeNull();
    expect(await people.invite("invite-bo", now)).toBeNull();
  },

  "open invites are a yard's own, those that expire first first": async ({ store: { people }, store }) => {
    await addTwoYards(store);
    await people.addInvite("second", { ...helper, expiresAt: later(days(2)) }, now);
    await people.addInvite("first", { ...helper, expiresAt: later(days(1)) }, later(minutes(1)));
    await people.addInvite("other", { ...helper, yard: "other" }, now);
    expect(await people.openInvites(alder.id, now)).toEqual([
      { ...helper, tokenHash: "first", createdAt: later(minutes(1)), expiresAt: later(days(1)) },
      { ...helper, tokenHash: "second", createdAt: now, expiresAt: later(days(2)) },
    ]);
    expect(await people.openInvites(alder.id, later(days(1)))).toHaveLength(1);
  },

  "an invite is deleted with sessions and action ids once it has expired": async ({ store }) => {
    await addAlder(store);
    await store.people.addInvite("hash", helper, now);
    await store.keepers.addSession({ tokenHash: "session", keeper: "ada", expiresAt: later(days(8)) }, now);
    expect(await store.transaction((tx) => tx.claimActionId("rowan", "action-0001", now))).toBe(true);
    await store.keepers.pruneSessions((now - 1) as never);
    expect(await store.transaction((tx) => tx.claimActionId("rowan", "action-0001", now))).toBe(false);
    await store.keepers.pruneSessions(nextWeek);
    expect(await store.people.openInvites(alder.id, now)).toEqual([]);
    expect(await store.keepers.session("session")).not.toBeNull();
    expect(await store.transaction((tx) => tx.claimActionId("rowan", "action-0001", now))).toBe(true);
    await store.keepers.pruneSessions(later(days(8)));
    expect(await store.keepers.session("session")).toBeNull();
  },
};

export const memberRules: Rules = {
  "people never lose their last keeper, also where both of two step down at once on two servers": async ({
    store,
    openSecond,
  }) => {
    await addAlder(store);
    await join(store, "bo", "Bo", "keeper");
    const second = await openSecond();
    const both = await Promise.all([
      store.people.changeMember(alder.id, "ada", { role: "helper" }, now),
      second.people.removeMember(alder.id, "bo", now),
    ]);
    expect([...both].sort()).toEqual(["changed", "lastKeeper"]);
    expect((await store.people.membersOf(alder.id)).filter(({ role }) => role === "keeper")).toHaveLength(1);
  },

  "people join last in the escalation order, and are listed in it with their settings": async ({ store }) => {
    await addAlder(store);
    await join(store, "bo", "Bo");
    await join(store, "cilla", "Cilla");
    const members = await store.people.membersOf(alder.id);
    expect(members.map(({ person, escalationOrder }) => [person.id, escalationOrder])).toEqual([
      ["ada", 1],
      ["bo", 2],
      ["cilla", 3],
    ]);
    const quietHours = { from: "22:00", to: "06:00" };
    const changes = { escalationOrder: 1, quietHours, urgentBreaks: false, digestBy: "both" as const };
    expect(await store.people.changeMember(alder.id, "cilla", changes, now)).toBe("changed");
    const [ada, cilla] = await store.people.membersOf(alder.id);
    expect(ada).toEqual({
      ...{ yard: alder.id, person: { id: "ada", name: "Ada", email: null }, role: "keeper", escalationOrder: 1 },
      ...{ quietHours: null, urgentBreaks: true, digestBy: "push" },
    });
    expect(cilla).toMatchObject({ person: { id: "cilla" }, role: "helper", ...changes });
    await store.people.changeMember(alder.id, "cilla", { quietHours: null }, now);
    expect((await store.people.membersOf(alder.id))[1]).toMatchObject({ ...changes, quietHours: null });
    expect(await store.people.changeMember(alder.id, "nobody", {}, now)).toBe("noSuchMember");
    expect(await store.people.removeMember(alder.id, "nobody", now)).toBe("noSuchMember");
  },

  "a member who is added again stays one; a helper can become a keeper, a keeper no helper": async ({ store }) => {
    await addTwoYards(store);
    await store.people.addMember(alder.id, "bo", "helper", now);
    await store.people.addMember(alder.id, "bo", "keeper", now);
    await store.people.addMember(alder.id, "bo", "helper", now);
    expect((await store.people.membersOf(alder.id)).map(({ role }) => role)).toEqual(["keeper", "keeper"]);
    await expect(store.people.addMember("nowhere", "bo", "helper", now)).rejects.toThrow();
    await expect(store.people.addMember(alder.id, "nobody", "helper", now)).rejects.toThrow();
  },

  "people are a yard's recipients in escalation order, each with their phones and settings": async ({ store }) => {
    await addAlder(store);
    await join(store, "bo", "Bo");
    await addPhone(store, "one", "bo");
    await addPhone(store, "two", "bo");
    await store.people.changeEmail("ada", "ada@alder.example", now);
    const quietHours = { from: "22:00", to: "06:00" };
    await store.people.changeMember(alder.id, "bo", { escalationOrder: 1, quietHours }, now);
    await store.people.changeMember(alder.id, "ada", { escalationOrder: 2, urgentBreaks: false }, now);
    const recipients = await store.transaction((tx) => tx.recipients(alder.id));
    expect(recipients).toMatchObject({ zone: "Europe/Stockholm", escalateAfter: minutes(15) });
    expect(recipients?.people).toEqual([
      {
        ...{ id: "bo", name: "Bo", escalationOrder: 1, quietHours, urgentBreaks: true },
        ...{ phoneCount: 2, phonesSince: phoneFixture().addedAt, email: null, emailSince: null },
      },
      {
        ...{ id: "ada", name: "Ada", escalationOrder: 2, quietHours: null, urgentBreaks: false },
        ...{ phoneCount: 0, phonesSince: null, email: "ada@alder.example", emailSince: now },
      },
    ]);
    expect(await store.transaction((tx) => tx.recipients("nowhere"))).toBeNull();
    expect(await store.transaction((tx) => tx.yardName(alder.id))).toBe("Alder Croft");
    expect(await store.transaction((tx) => tx.yardName("nowhere"))).toBeNull();
  },

  "people are notified each on their own phones only": async ({ store }) => {
    await addAlder(store);
    await join(store, "bo", "Bo");
    await addPhone(store, "ada-1", "ada");
    await addPhone(store, "bo-1", "bo");
    await addPhone(store, "bo-2", "bo");
    await enqueuePush(store, "bo");
    expect((await claimedPhones(store)).sort()).toEqual(["bo-1", "bo-2"]);
    expect(await claimedPhones(store)).toEqual([]);
  },

  "people get nothing more about a yard that they left, not even what was waiting; other items stay": async ({
    store,
  }) => {
    await addTwoYards(store);
    await store.people.addMember(alder.id, "bo", "helper", now);
    await addPhone(store, "ada-1", "ada");
    await addPhone(store, "bo-1", "bo");
    await enqueuePush(store, "bo");
    await enqueuePush(store, "bo", { topic: "other yard", yard: "other" });
    await enqueuePush(store, "ada");
    expect(await store.people.removeMember(alder.id, "bo", now)).toBe("changed");
    expect((await claimedPhones(store)).sort()).toEqual(["ada-1", "bo-1"]);
  },

  "a person's account ends with their last yard, with all that belongs to it": async ({ store }) => {
    await addAlder(store);
    await join(store, "bo", "Bo");
    await addPhone(store, "bo-1", "bo");
    await store.keepers.addSession({ tokenHash: "session", keeper: "bo", expiresAt: nextWeek }, now);
    expect(await store.people.removeMember(alder.id, "bo", now)).toBe("accountEnded");
    expect(await store.keepers.keeperNamed("Bo")).toBeNull();
    expect(await store.keepers.phonesOf("bo")).toEqual([]);
    expect(await store.keepers.session("session")).toBeNull();
    expect(await store.people.membershipsOf("bo")).toEqual([]);
  },

  "people are counted for each yard, and have a role there": async ({ store: { people, ...store } }) => {
    await addTwoYards({ people, ...store });
    await people.addMember(alder.id, "bo", "helper", later(hours(1)));
    await addFeeder({ people, ...store }, "rowan");
    expect(await people.countMembers()).toEqual(
      new Map([
        ["alder", 2],
        ["other", 1],
      ]),
    );
    expect(await people.roleAt("bo", { yard: "alder" })).toBe("helper");
    expect(await people.roleAt("bo", { yard: "other" })).toBe("keeper");
    expect(await people.roleAt("ada", { yard: "other" })).toBeNull();
    expect(await people.roleAt("bo", { feeder: "rowan" })).toBe("helper");
    expect(await people.roleAt("ada", { feeder: "no-feeder" })).toBeNull();
    const memberships = [...(await people.membershipsOf("bo"))].sort((a, b) => (a.yard < b.yard ? -1 : 1));
    expect(memberships).toEqual([
      { yard: "alder", role: "helper" },
      { yard: "other", role: "keeper" },
    ]);
  },

  "an e-mail address belongs to a person; the same again is no newer one": async ({ store: { people, ...store } }) => {
    await addAlder({ people, ...store });
    const since = async () => (await store.transaction((tx) => tx.recipients(alder.id)))?.people[0]?.emailSince;
    expect(await people.emailOf("ada")).toBeNull();
    await people.changeEmail("ada", "ada@alder.example", now);
    await people.changeEmail("ada", "ada@alder.example", later(hours(1)));
    expect([await people.emailOf("ada"), await since()]).toEqual(["ada@alder.example", now]);
    await people.changeEmail("ada", null, later(hours(2)));
    expect([await people.emailOf("ada"), await since()]).toEqual([null, later(hours(2))]);
    await people.changeEmail("nobody", "x@alder.example", now);
    expect(await people.emailOf("nobody")).toBeNull();
  },
};
