import { expect } from "vitest";
import { days, hours, minutes } from "../../../server/domain/instant.ts";
import { addFeeder, addPerson, addPhone, addTwoYards, alder, join, later, nextWeek, now } from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

export const firstSignInRules: Rules = {
  "there is one open first sign-in link, which makes one keeper": async ({ store: { keepers } }) => {
    const ada = { id: "ada", name: "Ada", passphraseHash: "hash of ada" };
    await keepers.openFirstSignIn("old", now);
    await keepers.openFirstSignIn("new", now);
    expect([await keepers.isFirstSignInOpen("old"), await keepers.isFirstSignInOpen("new")]).toEqual([false, true]);
    expect(await keepers.useFirstSignIn("old", ada, now)).toBe(false);
    expect(await keepers.countKeepers()).toBe(0);
    expect(await keepers.isUsedFirstSignIn("new")).toBe(false);
    expect(await keepers.useFirstSignIn("new", ada, now)).toBe(true);
    expect(await keepers.useFirstSignIn("new", { ...ada, id: "bo", name: "Bo" }, now)).toBe(false);
    expect([await keepers.isFirstSignInOpen("new"), await keepers.isUsedFirstSignIn("new")]).toEqual([false, true]);
    expect(await keepers.isUsedFirstSignIn("old")).toBe(false);
    expect(await keepers.countKeepers()).toBe(1);
  },

  "no two people share a name, nor one that differs only in case and invisible characters": async ({
    store: { keepers, ...store },
  }) => {
    await addPerson({ keepers, ...store }, "ada", "Ada");
    await keepers.openFirstSignIn("link", now);
    await expect(keepers.useFirstSignIn("link", { id: "x", name: "aDA", passphraseHash: "-" }, now)).rejects.toThrow();
    expect(await keepers.isFirstSignInOpen("link")).toBe(true); // both or neither
    const ada = { id: "ada", name: "Ada", passphraseHash: "hash of ada" };
    for (const name of ["Ada", "ADA", "A\u200Bda"]) expect(await keepers.keeperNamed(name)).toEqual(ada);
    expect(await keepers.keeperNamed("Adam")).toBeNull();
  },
};

export const sessionRules: Rules = {
  "a session belongs to a person, and is there until it is removed": async ({ store: { keepers, ...store } }) => {
    await addPerson({ keepers, ...store }, "ada", "Ada");
    await keepers.addSession({ tokenHash: "one", keeper: "ada", expiresAt: nextWeek }, now);
    const keeper = { id: "ada", name: "Ada" };
    const times = { createdAt: now, lastSeenAt: now, expiresAt: nextWeek };
    expect(await keepers.session("one")).toEqual({ tokenHash: "one", keeper, ...times });
    await keepers.touchSession("one", later(hours(1)), later(days(8)));
    const touched = { createdAt: now, lastSeenAt: later(hours(1)), expiresAt: later(days(8)) };
    expect(await keepers.session("one")).toEqual({ tokenHash: "one", keeper, ...touched });
    await keepers.touchSession("none", now, now);
    expect(await keepers.session("none")).toBeNull();
    await keepers.removeSession("one");
    expect(await keepers.session("one")).toBeNull();
    await expect(keepers.addSession({ tokenHash: "x", keeper: "nobody", expiresAt: now }, now)).rejects.toThrow();
  },

  "a new session removes those that have expired": async ({ store: { keepers, ...store } }) => {
    await addPerson({ keepers, ...store }, "ada", "Ada");
    await keepers.addSession({ tokenHash: "old", keeper: "ada", expiresAt: later(days(1)) }, now);
    await keepers.addSession({ tokenHash: "new", keeper: "ada", expiresAt: nextWeek }, later(days(1)));
    expect(await keepers.session("old")).toBeNull();
    expect(await keepers.session("new")).not.toBeNull();
  },

  "a person's sessions are listed, the last used first, and ended by their person only": async ({ store }) => {
    await addTwoYards(store);
    const { accounts, keepers } = store;
    const add = (tokenHash: string, keeper: string, at = now, device?: string) =>
      keepers.addSession({ tokenHash, keeper, expiresAt: nextWeek, ...(device === undefined ? {} : { device }) }, at);
    await add("first", "ada");
    await add("second", "ada", later(minutes(1)), "a phone");
    await add("third", "ada", later(minutes(2)));
    await add("bo's", "bo");
    await keepers.touchSession("first", later(hours(1)), nextWeek);
    const listed = await accounts.sessionsOf("ada", now);
    expect(listed.map(({ tokenHash }) => tokenHash)).toEqual(["first", "third", "second"]);
    const at = later(minutes(1));
    const times = { createdAt: at, lastSeenAt: at, expiresAt: nextWeek };
    expect(listed[2]).toEqual({ tokenHash: "second", device: "a phone", ...times });
    expect(listed[0]?.device).toBe("");
    expect(await accounts.sessionsOf("ada", nextWeek)).toEqual([]);
    await accounts.endSessions("ada", ["first", "bo's", "unknown"], "keep");
    expect(await accounts.sessionsOf("ada", now)).toHaveLength(2);
    expect(await keepers.session("bo's")).not.toBeNull();
  },
};

export const passphraseRules: Rules = {
  "a new passphrase replaces the one that is stored, and ends all other sessions and open links": async ({ store }) => {
    await addTwoYards(store);
    const { accounts, keepers } = store;
    for (const tokenHash of ["mine", "another"])
      await keepers.addSession({ tokenHash, keeper: "ada", expiresAt: nextWeek }, now);
    await keepers.addSession({ tokenHash: "bo's", keeper: "bo", expiresAt: nextWeek }, now);
    await accounts.addReset("link", "ada", now, nextWeek);
    expect(await accounts.changePassphrase("ada", { old: "wrong", new: "new" }, "mine")).toBe(false);
    expect(await accounts.passphraseHashOf("ada")).toBe("hash of ada");
    expect(await accounts.sessionsOf("ada", now)).toHaveLength(2);
    expect(await accounts.reset("link", now)).not.toBeNull();
    expect(await accounts.changePassphrase("ada", { old: "hash of ada", new: "new" }, "mine")).toBe(true);
    expect(await accounts.passphraseHashOf("ada")).toBe("new");
    expect((await accounts.sessionsOf("ada", now)).map(({ tokenHash }) => tokenHash)).toEqual(["mine"]);
    expect(await keepers.session("bo's")).not.toBeNull();
    expect(await accounts.reset("link", now)).toBeNull();
    expect(await accounts.passphraseHashOf("bo")).toBe("hash of bo");
    expect(await accounts.passphraseHashOf("nobody")).toBeNull();
  },

  "a link for a new passphrase works once, until it expires, and only the newest of a person": async ({ store }) => {
    await addTwoYards(store);
    const { accounts, keepers } = store;
    await accounts.addReset("bo's", "bo", now, nextWeek);
    await accounts.addReset("old", "ada", now, nextWeek);
    await accounts.addReset("link", "ada", now, nextWeek);
    await keepers.addSession({ tokenHash: "session", keeper: "ada", expiresAt: nextWeek }, now);
    expect([await accounts.reset("old", now), await accounts.reset("link", nextWeek)]).toEqual([null, null]);
    expect(await accounts.reset("link", now)).toEqual({ id: "ada", name: "Ada" });
    expect(await accounts.useReset("old", "new", now)).toBe(false);
    expect(await accounts.useReset("link", "new", nextWeek)).toBe(false);
    expect(await accounts.passphraseHashOf("ada")).toBe("hash of ada");
    expect(await accounts.useReset("link", "new", now)).toBe(true);
    expect(await accounts.useReset("link", "newer", now)).toBe(false);
    expect(await accounts.passphraseHashOf("ada")).toBe("new");
    expect(await keepers.session("session")).toBeNull();
    expect(await accounts.reset("bo's", now)).toEqual({ id: "bo", name: "Bo" });
  },

  "names are listed in the order in which people came": async ({ store }) => {
    await addPerson(store, "bo", "Bo", now);
    await addPerson(store, "ada", "Ada", later(minutes(1)));
    expect(await store.accounts.names()).toEqual(["Bo", "Ada"]);
  },
};

export const accountRemovalRules: Rules = {
  "an account that alone keeps a yard is removed only with that yard": async ({ store }) => {
    await addTwoYards(store);
    const { accounts } = store;
    await store.yards.addYard({ ...alder, id: "practice", practice: true }, "ada", later(minutes(1)));
    await join(store, "cilla", "Cilla");
    await addFeeder(store, "rowan");
    await store.people.addMember("other", "ada", "helper", now);
    const alone = { name: "Alder Croft", practice: false };
    expect(await accounts.soleKeeperYards("ada")).toEqual([
      { ...alone, id: "alder", feeders: 1, otherPeople: 1 },
      { ...alone, id: "practice", practice: true, feeders: 0, otherPeople: 0 },
    ]);
    expect(await accounts.soleKeeperYards("cilla")).toEqual([]);
    expect(await accounts.removeAccount("ada", ["alder"], now)).toBeNull();
    expect(await accounts.names()).toEqual(expect.arrayContaining(["Ada", "Cilla"]));
    const removed = await accounts.removeAccount("ada", ["alder", "practice"], now);
    expect({ ...removed, people: [...(removed?.people ?? [])].sort() }).toEqual({
      feeders: ["rowan"],
      people: ["ada", "cilla"],
    });
    expect(await accounts.names()).toEqual(["Bo"]);
    expect((await store.yards.yards()).map(({ id }) => id)).toEqual(["other"]);
    expect((await store.people.membersOf("other")).map(({ person }) => person.id)).toEqual(["bo"]);
  },

  "a removed account leaves nothing of the person": async ({ store }) => {
    await addTwoYards(store);
    const { accounts, keepers } = store;
    await store.people.addMember("other", "ada", "keeper", now);
    await addPhone(store, "pocket", "ada");
    await keepers.addSession({ tokenHash: "session", keeper: "ada", expiresAt: nextWeek }, now);
    await accounts.addReset("link", "ada", now, nextWeek);
    expect(await accounts.removeAccount("ada", ["alder"], now)).toEqual({ feeders: [], people: ["ada"] });
    expect(await keepers.phonesOf("ada")).toEqual([]);
    expect(await keepers.session("session")).toBeNull();
    expect(await accounts.reset("link", now)).toBeNull();
    expect(await store.people.membershipsOf("ada")).toEqual([]);
    expect(await addPhone(store, "pocket", "bo")).toBe("saved"); // its endpoint is free
  },
};
