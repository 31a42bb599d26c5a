import { randomBytes } from "node:crypto";
import { rmSync } from "node:fs";
import Database from "better-sqlite3";
import { inject } from "vitest";
import { type OpenStore, openStore } from "../../../server/adapters/store/prismaStore.ts";
import { rebuildState } from "../../../server/flows/pure/rebuildState.ts";
import { MemoryDatabase } from "../../support/memoryStore/memoryDatabase.ts";
import { createMemoryStore } from "../../support/memoryStore/memoryStore.ts";
import { rowOf } from "../../support/memoryStore/tables.ts";
import { copyDatabase } from "../../support/migratedDatabase.ts";
import type { Adapter, StoreUnderTest } from "./storeUnderTest.ts";

/** The adapters of the store's port. */

export const onSqlite: Adapter = { name: "SQLite", open: openSqlite, lacks: {} };

export const inMemory: Adapter = {
  name: "memory",
  open: async () => underTest(new MemoryDatabase()),
  lacks: {
    damagedPacks: "its lines are no octets that could change",
    foreignLock: "no other process can reach it",
  },
};

async function openSqlite(): Promise<StoreUnderTest> {
  const { folder, file } = copyDatabase(inject("migratedDatabase"));
  const opened: OpenStore[] = [];
  const open = async () => {
    const store = await openStore(`file:${file}`, rebuildState);
    opened.push(store);
    return store;
  };
  const change = (sql: string, ...values: readonly unknown[]) => {
    const database = new Database(file);
    database.prepare(sql).run(...values);
    database.close();
  };
  const numberOf = `(SELECT "no" FROM "Feeder" WHERE "id" = ?)`;
  return {
    store: await open(),
    openSecond: open,
    damageState(feeder) {
      change(
        `UPDATE "Snapshot" SET "state" = ?, "step" = "step" + 1 WHERE "feederNo" = ${numberOf}`,
        randomBytes(99),
        feeder,
      );
      // What is in memory counts only for the revision that it was made for.
      change(`UPDATE "FeederHead" SET "revision" = "revision" + 1 WHERE "feederNo" = ${numberOf}`, feeder);
    },
    damagePacks: (feeder) =>
      change(`UPDATE "LogPack" SET "lines" = ? WHERE "feederNo" = ${numberOf}`, randomBytes(99), feeder),
    lockElsewhere() {
      const other = new Database(file);
      other.exec("BEGIN IMMEDIATE");
      return () => other.close();
    },
    async close() {
      await Promise.all(opened.map((store) => store.close()));
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

const impossible = (what: string) => (): never => {
  throw new Error(`expected no rule to need ${what} in memory`);
};

/** @param createStore a planted fault may give another one */
export function underTest(database: MemoryDatabase, createStore = createMemoryStore): StoreUnderTest {
  return {
    store: createStore(database),
    openSecond: async () => createStore(database),
    damageState(id) {
      const { feeders } = database.read();
      const feeder = rowOf(feeders, id);
      feeders.set(id, { ...feeder, problem: "planted", revision: feeder.revision + 1 });
    },
    damagePacks: impossible("damaged packs"),
    lockElsewhere: impossible("a lock of another process"),
    close: async () => undefined,
  };
}
