import { closeSync, openSync, writeSync } from "node:fs";
import Database from "better-sqlite3";

/** Overwrites the first page of a table, as a failing card would. The database must be closed. */
export function overwriteTablePage(file: string, table: string): void {
  const database = new Database(file);
  database.pragma("wal_checkpoint(TRUNCATE)");
  const { rootpage } = database
    .prepare<[string], { rootpage: number }>("SELECT rootpage FROM sqlite_master WHERE name = ?")
    .get(table) ?? { rootpage: 0 };
  const pageSize = database.pragma("page_size", { simple: true }) as number;
  database.close();
  if (rootpage === 0) throw new Error(`expected a table ${table}`);
  const handle = openSync(file, "r+");
  writeSync(handle, Buffer.alloc(pageSize, 0xa5), 0, pageSize, (rootpage - 1) * pageSize);
  closeSync(handle);
}
