import { expect } from "vitest";
import { hours } from "../../../server/domain/instant.ts";
import type { PasskeyRow } from "../../../server/ports.ts";
import { addTwoYards, later, now } from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

const passkey = (id: string, different: Partial<PasskeyRow> = {}): PasskeyRow => ({
  ...{ id, keeper: "ada", credentialId: `credential-${id}`, publicKey: "key", counter: 0, transports: ["internal"] },
  ...{ label: id, synced: false, createdAt: now, lastUsedAt: null },
  ...different,
});

export const passkeyRules: Rules = {
  "passkeys are listed in the order in which they were added, and found by their credential": async ({ store }) => {
    await addTwoYards(store);
    const { keepers } = store;
    const first = passkey("z", { counter: 4_000_000_000, synced: true, transports: [] });
    const second = passkey("a", { createdAt: later(hours(1)) });
    expect(await keepers.addPasskey(second, 9)).toBe("added");
    expect(await keepers.addPasskey(first, 9)).toBe("added");
    expect(await keepers.addPasskey(passkey("bo's", { keeper: "bo" }), 9)).toBe("added");
    expect(await keepers.passkeysOf("ada")).toEqual([first, second]);
    expect(await keepers.passkeyWith("credential-z")).toEqual({ ...first, name: "Ada" });
    expect(await keepers.passkeyWith("credential")).toBeNull();
  },

  "a credential is stored once, and a person has a limited number of passkeys": async ({ store }) => {
    await addTwoYards(store);
    const { keepers } = store;
    expect(await keepers.addPasskey(passkey("one"), 2)).toBe("added");
    expect(await keepers.addPasskey(passkey("same", { credentialId: "credential-one", keeper: "bo" }), 2)).toBe(
      "known",
    );
    expect(await keepers.addPasskey(passkey("two"), 2)).toBe("added");
    expect(await keepers.addPasskey(passkey("three"), 2)).toBe("tooMany");
    expect(await keepers.addPasskey(passkey("bo's", { keeper: "bo" }), 2)).toBe("added");
  },

  "a passkey's counter only increases, also where it is used twice at once; 0 doesn't count": async ({
    store,
    openSecond,
  }) => {
    await addTwoYards(store);
    const second = await openSecond();
    const { keepers } = store;
    await keepers.addPasskey(passkey("counts", { counter: 7 }), 9);
    await keepers.addPasskey(passkey("plain"), 9);
    const uses = [keepers.usePasskey("counts", 8, now), second.keepers.usePasskey("counts", 8, now)];
    expect((await Promise.all(uses)).sort()).toEqual([false, true]);
    expect(await keepers.usePasskey("counts", 7, now)).toBe(false);
    expect(await keepers.usePasskey("counts", 0, now)).toBe(false);
    expect(await keepers.usePasskey("plain", 0, later(hours(1)))).toBe(true);
    expect(await keepers.usePasskey("plain", 0, later(hours(2)))).toBe(true);
    expect(await keepers.usePasskey("unknown", 1, now)).toBe(false);
    const stored = await keepers.passkeysOf("ada");
    expect(stored.map(({ counter, lastUsedAt }) => [counter, lastUsedAt])).toEqual([
      [8, now],
      [0, later(hours(2))],
    ]);
  },

  "a passkey is renamed and removed by its person only": async ({ store }) => {
    await addTwoYards(store);
    const { keepers } = store;
    await keepers.addPasskey(passkey("one"), 9);
    expect(await keepers.renamePasskey("bo", "one", "stolen")).toBe(false);
    expect(await keepers.removePasskey("bo", "one")).toBe(false);
    expect(await keepers.passkeysOf("ada")).toEqual([passkey("one")]);
    expect(await keepers.renamePasskey("ada", "one", "key ring")).toBe(true);
    expect(await keepers.passkeysOf("ada")).toEqual([passkey("one", { label: "key ring" })]);
    expect(await keepers.removePasskey("ada", "one")).toBe(true);
    expect(await keepers.removePasskey("ada", "one")).toBe(false);
    expect(await keepers.passkeysOf("ada")).toEqual([]);
  },
};
