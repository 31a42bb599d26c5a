import { closeSync, fsyncSync, openSync, renameSync, rmSync } from "node:fs";
import { dirname } from "node:path";
import Database from "better-sqlite3";

/**
 * Copies an open database. The copy gets its name only when it is whole: it is written under another name, checked, synced and
 * renamed. A kill can leave the other name behind, which the next copy removes.
 * @throws Error where the copy is damaged; then there is no file of that name
 */
export function copyDatabase(database: Database.Database, to: string): void {
  const partial = `${to}.partial`;
  rmSync(partial, { force: true });
  try {
    database.prepare("VACUUM INTO ?").run(partial);
    checkCopy(partial);
    sync(partial);
    renameSync(partial, to);
    sync(dirname(to));
  } catch (error) {
    rmSync(partial, { force: true });
    throw error;
  }
}

function checkCopy(file: string): void {
  const copy = new Database(file, { readonly: true });
  try {
    const [first] = copy.pragma("integrity_check(1)") as { integrity_check: string }[];
    if (first?.integrity_check !== "ok") throw new Error(`the copy ${file} is damaged: ${first?.integrity_check}`);
  } finally {
    copy.close();
  }
}

/** A rename is on the disk once its folder is. */
function sync(path: string): void {
  const file = openSync(path, "r");
  try {
    fsyncSync(file);
  } finally {
    closeSync(file);
  }
}
