import { expect } from "vitest";
import type { Digest } from "../../../server/domain/digest/digest.ts";
import { initialRollups } from "../../../server/domain/history/rollups.ts";
import { hours, minutes } from "../../../server/domain/instant.ts";
import type { LocalDate } from "../../../server/domain/localTime.ts";
import {
  addAlder,
  addFeeder,
  addPerson,
  addTwoYards,
  alder,
  join,
  later,
  newFeederOf,
  nextWeek,
  now,
} from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

export const yardRules: Rules = {
  "yards are listed in the order in which they were added, with all that a keeper has set": async ({ store }) => {
    await addPerson(store, "ada", "Ada");
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    const second = { ...alder, id: "a", place, practice: true, digestWanted: false };
    await store.yards.addYard(second, "ada", later(hours(1)));
    await store.yards.addYard(alder, "ada", now);
    expect(await store.yards.yards()).toEqual([alder, second]);
    expect(await store.digests.yardsWithDigest()).toEqual([alder]);
    await expect(store.yards.addYard(alder, "ada", now)).rejects.toThrow();
    await expect(store.yards.addYard({ ...alder, id: "x" }, "nobody", now)).rejects.toThrow();
    expect(await store.yards.yards()).toHaveLength(2); // a yard without its keeper isn't stored
  },

  "a yard is changed as far as it is said": async ({ store }) => {
    await addTwoYards(store);
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    const changed = { ...alder, name: "Alder Bank", place, digestTime: "08:00" };
    const change = (id: string, changes: object) => store.transaction((tx) => tx.changeYard(id, changes, now));
    expect(await change(alder.id, { name: "Alder Bank", place, digestTime: "08:00" })).toEqual(changed);
    expect(await store.yards.yards()).toEqual([changed, { ...alder, id: "other", name: "Other" }]);
    expect(await change(alder.id, { place: null, digestWanted: false })).toEqual({
      ...{ ...changed, place: null, digestWanted: false },
    });
    expect(await store.digests.yardsWithDigest()).toMatchObject([{ id: "other" }]);
    expect(await change("nowhere", { name: "x" })).toBeNull();
    const diseaseNotice = { at: now, by: "Ada" };
    const withNotice = { ...changed, place: null, digestWanted: false, diseaseNotice };
    expect(await change(alder.id, { diseaseNotice })).toEqual(withNotice);
    expect(await store.transaction((tx) => tx.yard(alder.id))).toEqual(withNotice);
    expect(await store.transaction((tx) => tx.yard("nowhere"))).toBeNull();
    expect((await store.yards.yards())[0]).toEqual(withNotice);
    expect(await change(alder.id, { diseaseNotice: null })).toMatchObject({ diseaseNotice: null });
  },

  "a removed yard leaves nothing of itself, and takes the accounts of people who have no other": async ({ store }) => {
    await addTwoYards(store);
    await addFeeder(store, "rowan");
    await addFeeder(store, "larch", "other");
    await join(store, "cilla", "Cilla");
    await store.people.addMember(alder.id, "bo", "helper", now);
    await store.people.addInvite("open", { yard: alder.id, role: "helper", expiresAt: nextWeek }, now);
    await store.transaction((tx) => tx.claimDigest(alder.id, date("2026-11-25"), now, digest));
    expect(await store.yards.removeYard(alder.id, "ada")).toEqual({ feeders: ["rowan"], people: ["cilla"] });
    expect(await store.accounts.names()).toEqual(["Ada", "Bo"]);
    expect((await store.yards.yards()).map(({ id }) => id)).toEqual(["other"]);
    expect(await store.people.membershipsOf("bo")).toEqual([{ yard: "other", role: "keeper" }]);
    expect(await store.people.invite("open", now)).toBeNull();
    expect(await store.digests.dates(alder.id, 9)).toEqual([]);
    expect((await store.yards.feeders()).map(({ id }) => id)).toEqual(["larch"]);
    expect(await store.yards.removeYard(alder.id, "ada")).toEqual({ feeders: [], people: [] });
  },

  "a yard that is removed without its people leaves every account": async ({ store }) => {
    await addTwoYards(store);
    await join(store, "cilla", "Cilla");
    expect(await store.yards.removeYard(alder.id, null)).toEqual({ feeders: [], people: [] });
    expect(await store.keepers.countKeepers()).toBe(3);
  },
};

export const feederRules: Rules = {
  "a new feeder has no step, and is due for its first check": async ({ store: { yards }, store }) => {
    await addAlder(store);
    await addFeeder(store, "rowan");
    const { id, yard, practice, state } = newFeederOf(alder.id, "rowan");
    const nothing = { lastReportAt: null, lastStepAt: null, rebuiltAt: null };
    const rollups = initialRollups();
    const row = { id, yard, practice, state, rollups, revision: 0, addedAt: now, ...nothing };
    expect(await yards.feeder("rowan")).toEqual(row);
    expect(await yards.feeders()).toEqual([row]);
    expect(await yards.damagedFeeders()).toEqual([]);
    expect(await yards.feeder("none")).toBeNull();
    expect(await yards.dueForCheck(later(-1 as never), 9)).toEqual([]);
    expect(await yards.dueForCheck(now, 9)).toEqual(["rowan"]);
    const entry = JSON.stringify({ feeder: "rowan" });
    expect(await store.records.lines("rowan", -1, 9, 9)).toEqual([
      { step: 0, at: now, content: { kind: "entry", entry } },
    ]);
  },

  "feeders are listed in the order in which they were added, a yard's own for their yard": async ({ store }) => {
    await addTwoYards(store);
    await addFeeder(store, "z", alder.id, now);
    await addFeeder(store, "b", alder.id, later(minutes(1)));
    await addFeeder(store, "a", alder.id, later(minutes(1)));
    await addFeeder(store, "c", "other", later(minutes(2)));
    const ids = (rows: readonly { readonly id: string }[]) => rows.map(({ id }) => id);
    expect(ids(await store.yards.feeders())).toEqual(["z", "a", "b", "c"]);
    expect(ids(await store.digests.feedersOf(alder.id))).toEqual(["z", "a", "b"]);
    expect(ids(await store.transaction((tx) => tx.feedersOf(alder.id)))).toEqual(["z", "a", "b"]);
    expect(ids(await store.transaction((tx) => tx.feeders(["c", "none", "z"])))).toEqual(["c", "z"]);
  },

  "feeders come due for a check, the longest overdue first": async ({ store }) => {
    await addAlder(store);
    await addFeeder(store, "second", alder.id, later(minutes(1)));
    await addFeeder(store, "first", alder.id, now);
    expect(await store.yards.dueForCheck(now, 9)).toEqual(["first"]);
    expect(await store.yards.dueForCheck(later(minutes(1)), 9)).toEqual(["first", "second"]);
    expect(await store.yards.dueForCheck(later(minutes(1)), 1)).toEqual(["first"]);
  },

  "a feeder is known by its key, which no two have": async ({ store: { yards }, store }) => {
    await addTwoYards(store);
    await addFeeder(store, "rowan");
    await addFeeder(store, "larch", "other");
    expect(await yards.feederWithKey("key of larch")).toEqual({ id: "larch", yard: "other" });
    expect([await yards.keyHashOf("rowan"), await yards.keyHashOf("none")]).toEqual(["key of rowan", null]);
    await expect(yards.changeKeyHash("rowan", "key of larch")).rejects.toThrow();
    await yards.changeKeyHash("rowan", "new key");
    expect(await yards.feederWithKey("key of rowan")).toBeNull();
    expect(await yards.feederWithKey("new key")).toEqual({ id: "rowan", yard: alder.id });
    await yards.changeKeyHash("none", "some key");
    expect(await yards.feederWithKey("some key")).toBeNull();
    await expect(addFeeder(store, "rowan")).rejects.toThrow();
    await expect(yards.addFeeder({ ...newFeederOf(alder.id, "x"), keyHash: "new key" }, now)).rejects.toThrow();
    await expect(addFeeder(store, "y", "nowhere")).rejects.toThrow();
    expect(await yards.feeders()).toHaveLength(2);
  },
};

const date = (text: string) => text as LocalDate;
const digest: Digest = { title: "Nothing to do", short: "All is well.", sections: [{ heading: "Food", lines: ["a"] }] };

export const digestRules: Rules = {
  "a digest of a date is written once, also where two servers write it at once": async ({ store, openSecond }) => {
    await addTwoYards(store);
    const second = await openSecond();
    const claim = (by: typeof store, yard: string, localDate: string, title = "first") =>
      by.transaction((tx) => tx.claimDigest(yard, date(localDate), now, { ...digest, title }));
    const both = [claim(store, alder.id, "2026-11-25"), claim(second, alder.id, "2026-11-25")];
    expect((await Promise.all(both)).sort()).toEqual([false, true]);
    expect(await claim(store, alder.id, "2026-11-25", "second")).toBe(false);
    expect(await claim(store, "other", "2026-11-25")).toBe(true);
    const stored = { ...digest, title: "first", localDate: "2026-11-25" };
    expect(await store.digests.digest(alder.id, date("2026-11-25"))).toEqual(stored);
    expect(await store.digests.digest(alder.id, date("2026-11-26"))).toBeNull();
  },

  "the dates of a yard's digests are listed, the newest first": async ({ store }) => {
    await addTwoYards(store);
    const written = [
      [alder.id, "2026-11-25"],
      [alder.id, "2026-12-01"],
      [alder.id, "2026-11-09"],
      ["other", "2026-12-02"],
    ] as const;
    for (const [yard, day] of written) await store.transaction((tx) => tx.claimDigest(yard, date(day), now, digest));
    expect(await store.digests.dates(alder.id, 2)).toEqual(["2026-12-01", "2026-11-25"]);
    expect(await store.digests.dates(alder.id, 9)).toHaveLength(3);
  },

  "a digest goes to the people of its yard, by the channels of each": async ({ store }) => {
    await addTwoYards(store);
    await join(store, "cilla", "Cilla");
    await store.people.changeMember(alder.id, "cilla", { digestBy: "email" }, now);
    const recipients = [...(await store.digests.recipientsOf(alder.id))].sort((a, b) => (a.person < b.person ? -1 : 1));
    expect(recipients).toEqual([
      { person: "ada", digestBy: "push" },
      { person: "cilla", digestBy: "email" },
    ]);
    expect(await store.digests.recipientsOf("other")).toEqual([{ person: "bo", digestBy: "push" }]);
  },
};
