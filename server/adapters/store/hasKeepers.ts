import { existsSync, statSync } from "node:fs";
import Database from "better-sqlite3";

/** Whether people use this database already, before it is opened as a store; false where there is none. */
export function hasKeepers(databaseFile: string): boolean {
  if (!existsSync(databaseFile) || statSync(databaseFile).size === 0) return false;
  const database = new Database(databaseFile, { readonly: true, timeout: 5_000 });
  try {
    const table = database.prepare(`SELECT 1 FROM sqlite_master WHERE name = 'Keeper'`).get();
    return table !== undefined && database.prepare(`SELECT 1 FROM "Keeper"`).get() !== undefined;
  } finally {
    database.close();
  }
}
