import { expect } from "vitest";
import { hours } from "../../../server/domain/instant.ts";
import { StoreBusy, StoreDamaged } from "../../../server/ports.ts";
import { addAlder, addFeeder, addPerson, addTwoYards, alder, later, now } from "./contents.ts";
import type { Rules } from "./storeUnderTest.ts";

export const transactionRules: Rules = {
  "a transaction returns what its work returns, and rolls back as a whole where that fails": async ({ store }) => {
    await addTwoYards(store);
    expect(await store.transaction(async () => "done")).toBe("done");
    const failing = store.transaction(async (tx) => {
      await tx.changeYard(alder.id, { name: "Changed" }, now);
      await tx.claimActionId("rowan", "action-0001", now);
      throw new Error("planted");
    });
    await expect(failing).rejects.toThrow("planted");
    expect((await store.yards.yards())[0]).toEqual(alder);
    expect(await store.transaction((tx) => tx.claimActionId("rowan", "action-0001", now))).toBe(true);
  },

  "what was committed is told before the transaction ends, and what was rolled back isn't": async ({ store }) => {
    await addTwoYards(store);
    const told: string[] = [];
    const done = store.transaction(
      (tx) => tx.changeYard(alder.id, { name: "Changed" }, now).then(() => "done"),
      (result) => told.push(result),
    );
    expect(await done.then(() => [...told])).toEqual(["done"]);
    const failing = store.transaction(
      async (tx) => {
        await tx.changeYard(alder.id, { name: "Again" }, now);
        throw new Error("planted");
      },
      () => told.push("failed"),
    );
    await expect(failing).rejects.toThrow("planted");
    expect(told).toEqual(["done"]);
  },

  "writes come one after the other, in the order in which they were requested": async ({ store }) => {
    await addAlder(store);
    const order: string[] = [];
    const slow = store.transaction(async (tx) => {
      order.push("begin");
      for (let turn = 0; turn < 20; turn += 1) await Promise.resolve();
      await tx.changeYard(alder.id, { name: "slow" }, now);
      order.push("end");
    });
    const quick = store.transaction(async (tx) => {
      order.push("quick");
      await tx.changeYard(alder.id, { name: "quick" }, now);
    });
    const keepers = store.people.changeEmail("ada", "ada@alder.example", now).then(() => order.push("e-mail"));
    await Promise.all([slow, quick, keepers]);
    expect(order).toEqual(["begin", "end", "quick", "e-mail"]);
    expect((await store.yards.yards())[0]?.name).toBe("quick");
  },

  "a write that fails doesn't stop the next one": async ({ store }) => {
    await addAlder(store);
    const failing = store.transaction(async () => {
      throw new Error("planted");
    });
    const next = store.transaction((tx) => tx.changeYard(alder.id, { name: "next" }, now));
    await expect(failing).rejects.toThrow("planted");
    expect((await next)?.name).toBe("next");
  },

  "two transactions at once on two servers lose none of their writes": async ({ store, openSecond }) => {
    await addTwoYards(store);
    const second = await openSecond();
    const claims = Array.from({ length: 8 }, (_, n) =>
      (n % 2 ? store : second).transaction((tx) => tx.claimActionId("rowan", `action-${n % 4}`, now)),
    );
    expect((await Promise.all(claims)).filter(Boolean)).toHaveLength(4);
  },

  "writes through several stores are one commit: all of it, or nothing": async ({ store }) => {
    await addPerson(store, "ada", "Ada");
    const added = await store.withStores(async ({ yards, people, keepers }) => {
      await yards.addYard(alder, "ada", now);
      await people.changeEmail("ada", "ada@alder.example", now);
      await keepers.addSession({ tokenHash: "session", keeper: "ada", expiresAt: later(hours(1)) }, now);
      expect(await store.yards.yards()).toEqual([]); // not outside before the commit
      return [await yards.yards(), await people.emailOf("ada"), (await keepers.session("session"))?.keeper.id];
    });
    expect(added).toEqual([[alder], "ada@alder.example", "ada"]);
    const failing = store.withStores(async ({ yards, keepers }) => {
      await yards.removeYard(alder.id, null);
      await keepers.removeSession("session");
      throw new Error("planted");
    });
    await expect(failing).rejects.toThrow("planted");
    expect(await store.yards.yards()).toEqual([alder]);
    expect(await store.keepers.session("session")).not.toBeNull();
  },

  "what was removed through several stores is gone after the commit": async ({ store }) => {
    await addAlder(store);
    await addFeeder(store, "rowan");
    await store.withStores(({ yards }) => yards.removeFeeder("rowan"));
    expect(await store.yards.feeders()).toEqual([]);
  },

  "a lock of another process is waited for a moment, and then nothing was stored": {
    needs: "foreignLock",
    async check({ store, lockElsewhere }) {
      await addAlder(store);
      const unlock = lockElsewhere();
      const change = () => store.transaction((tx) => tx.changeYard(alder.id, { name: "changed" }, now));
      await expect(change()).rejects.toThrow(StoreBusy);
      expect((await store.yards.yards())[0]).toEqual(alder);
      unlock();
      expect((await change())?.name).toBe("changed");
    },
  },
};

export const conditionRules: Rules = {
  "nothing is stored once the store is known to be damaged; the worst damage is remembered": async ({ store }) => {
    await addAlder(store);
    const { condition } = store;
    expect(condition.damage()).toBeNull();
    expect(condition.restoreAdvice()).toEqual({ backup: null, command: expect.any(String) });
    const lost = { kind: "commitsLost", foundAt: now, commits: 2 } as const;
    condition.recordDamage(lost);
    expect(condition.damage()).toEqual(lost);
    const change = () => store.transaction((tx) => tx.changeYard(alder.id, { name: "changed" }, now));
    expect((await change())?.name).toBe("changed"); // it is whole without those commits
    const damaged = { kind: "damaged", foundAt: now, problem: "a page" } as const;
    condition.recordDamage(damaged);
    condition.recordDamage(lost);
    condition.recordDamage({ ...damaged, problem: "another page" });
    expect(condition.damage()).toEqual(damaged);
    await expect(change()).rejects.toThrow(StoreDamaged);
    await expect(store.people.changeEmail("ada", "x@alder.example", now)).rejects.toThrow(StoreDamaged);
    await expect(store.withStores(async () => undefined)).rejects.toThrow(StoreDamaged);
    expect(await store.people.emailOf("ada")).toBeNull();
  },
};
