import { expect } from "vitest";
import { days, hours, type Instant } from "../../../server/domain/instant.ts";
import type { ExportKeyRow } from "../../../server/ports.ts";
import { addTwoYards, later, now } from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

const key = (id: string, different: Partial<ExportKeyRow> = {}): ExportKeyRow => ({
  ...{ id, person: "ada", keyHash: `hash-${id}`, name: `My ${id}`, createdAt: now },
  ...{ expiresAt: later(days(90)), lastUsedAt: null },
  ...different,
});

export const exportKeyRules: Rules = {
  "export keys are listed in the order in which they were made, and found by their hash until they expire": async ({
    store,
  }) => {
    await addTwoYards(store);
    const { accounts } = store;
    const [first, second] = [key("z"), key("a", { createdAt: later(hours(1)), lastUsedAt: later(hours(2)) })];
    for (const one of [second, first, key("bo's", { person: "bo" })])
      expect(await accounts.addExportKey(one, 9)).toBe(true);
    expect(await accounts.exportKeysOf("ada")).toEqual([first, second]);
    const found = { id: "z", person: { id: "ada", name: "Ada" }, lastUsedAt: null };
    expect(await accounts.exportKeyWith("hash-z", (later(days(90)) - 1) as Instant)).toEqual(found);
    expect(await accounts.exportKeyWith("hash-z", later(days(90)))).toBeNull();
    expect(await accounts.exportKeyWith("hash", now)).toBeNull();
    await accounts.touchExportKey("z", later(hours(3)));
    await accounts.touchExportKey("unknown", later(hours(3)));
    expect(await accounts.exportKeysOf("ada")).toEqual([{ ...first, lastUsedAt: later(hours(3)) }, second]);
  },

  "a person has a limited number of export keys, and removes only their own": async ({ store }) => {
    await addTwoYards(store);
    const { accounts } = store;
    expect(await accounts.addExportKey(key("one"), 2)).toBe(true);
    expect(await accounts.addExportKey(key("two"), 2)).toBe(true);
    expect(await accounts.addExportKey(key("three"), 2)).toBe(false);
    expect(await accounts.addExportKey(key("bo's", { person: "bo" }), 2)).toBe(true);
    expect(await accounts.removeExportKey("bo", "one")).toBe(false);
    expect(await accounts.removeExportKey("ada", "one")).toBe(true);
    expect(await accounts.removeExportKey("ada", "one")).toBe(false);
    await accounts.endSessions("ada", [], "keep");
    expect(await accounts.exportKeysOf("ada")).toHaveLength(1);
    await accounts.endSessions("ada", [], "remove");
    expect(await accounts.exportKeysOf("ada")).toEqual([]);
    expect(await accounts.exportKeysOf("bo")).toHaveLength(1);
  },

  "export keys end with a new passphrase, with the account, and once they have expired": async ({ store }) => {
    await addTwoYards(store);
    const { accounts, keepers } = store;
    const left = async () => (await accounts.exportKeysOf("ada")).map(({ id }) => id);
    await accounts.addExportKey(key("bo's", { person: "bo" }), 9);
    await accounts.addExportKey(key("one"), 9);
    const old = (await accounts.passphraseHashOf("ada")) ?? "";
    expect(await accounts.changePassphrase("ada", { old: "another", new: "new" }, "kept")).toBe(false);
    expect(await left()).toEqual(["one"]);
    expect(await accounts.changePassphrase("ada", { old, new: "new" }, "kept")).toBe(true);
    expect(await left()).toEqual([]);
    await accounts.addExportKey(key("two"), 9);
    await accounts.addReset("reset", "ada", now, later(hours(1)));
    expect(await accounts.useReset("reset", "newer", now)).toBe(true);
    expect(await left()).toEqual([]);
    await accounts.addExportKey(key("three"), 9);
    await accounts.addExportKey(key("four", { expiresAt: later(days(365)) }), 9);
    await keepers.pruneSessions(later(days(90)));
    expect(await left()).toEqual(["four"]);
    await accounts.removeAccount(
      "ada",
      (await accounts.soleKeeperYards("ada")).map(({ id }) => id),
      now,
    );
    expect(await left()).toEqual([]);
    expect(await accounts.exportKeyWith("hash-four", now)).toBeNull();
  },
};
