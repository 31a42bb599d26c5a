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

export const onSqlite: Adapter = { name: "SQLite", open: openSqlite, end: async () => await spare?.close(), lacks: {} };

export const inMemory: Adapter = {
  name: "memory",
  open: async () => underTest(new MemoryDatabase()),
  end: async () => undefined,
  lacks: {
    damagedPacks: "its lines are no octets that could change",
    foreignLock: "no other process can reach it",
  },
};

/** Opening one costs more than a rule does, so an intact one is emptied for the next rule. */
let spare: SqliteFile | null = null;

async function openSqlite(): Promise<StoreUnderTest> {
  const sqlite = spare ?? new SqliteFile();
  spare = null;
  const numberOf = `(SELECT "no" FROM "Feeder" WHERE "id" = ?)`;
  return {
    store: await sqlite.handle(0),
    openSecond: () => sqlite.handle(1),
    damageState(feeder) {
      const [update, where] = [
        `UPDATE "Snapshot" SET "state" = ?, "step" = "step" + 1`,
        `WHERE "feederNo" = ${numberOf}`,
      ];
      sqlite.run(`${update} ${where}`, randomBytes(99), feeder);
      // What is in memory counts only for the revision that it was made for.
      sqlite.run(`UPDATE "FeederHead" SET "revision" = "revision" + 1 ${where}`, feeder);
    },
    damagePacks: (feeder) =>
      sqlite.run(`UPDATE "LogPack" SET "lines" = ? WHERE "feederNo" = ${numberOf}`, randomBytes(99), feeder),
    lockElsewhere: () => sqlite.lock(),
    async close(isBroken) {
      if (isBroken || (await sqlite.handle(0)).condition.damage() !== null) await sqlite.close();
      else {
        sqlite.empty();
        spare = sqlite;
      }
    },
  };
}

/** A database with the stores that are open on it. */
class SqliteFile {
  readonly #place = copyDatabase(inject("migratedDatabase"));
  readonly #handles: OpenStore[] = [];

  async handle(index: number): Promise<OpenStore> {
    this.#handles[index] ??= await openStore(`file:${this.#place.file}`, rebuildState);
    return this.#handles[index];
  }

  run(sql: string, ...values: readonly unknown[]): void {
    const database = new Database(this.#place.file);
    database.prepare(sql).run(...values);
    database.close();
  }

  /** @returns what ends the lock */
  lock(): () => void {
    const database = new Database(this.#place.file);
    database.exec("BEGIN IMMEDIATE");
    return () => database.close();
  }

  /** As it was migrated. Numbers of feeders are never used again, so nothing in memory counts. */
  empty(): void {
    const database = new Database(this.#place.file);
    const tables = database
      .prepare(
        `SELECT "name" FROM sqlite_master WHERE "type" = 'table' AND "name" <> '_prisma_migrations' AND "name" NOT LIKE 'sqlite%'`,
      )
      .pluck()
      .all();
    database.pragma("foreign_keys = OFF");
    const commits = (table: unknown) => (table === "FeederHead" ? ` WHERE "feederNo" <> 0` : "");
    database.exec(`BEGIN; ${tables.map((table) => `DELETE FROM "${table}"${commits(table)};`).join(" ")} COMMIT`);
    database.close();
  }

  async close(): Promise<void> {
    await Promise.all(this.#handles.map((store) => store?.close()));
    rmSync(this.#place.folder, { recursive: true, force: true });
  }
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
