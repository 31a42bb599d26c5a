import { chmodSync, existsSync, mkdirSync, readdirSync, statSync } from "node:fs";
import { basename, dirname, join } from "node:path";
import Database from "better-sqlite3";

/** What stands in the way of a start, in a sentence that says what to do. Nothing was changed. */
export class StartProblem extends Error {
  override readonly name = "StartProblem";
}

/**
 * Holds the data folder until the process ends, however it ends: SQLite's lock on an empty file beside the database, which the
 * system takes back (sqlite.org/lockingv3.html). The database's own lock must stay free for backups.
 * @throws StartProblem where another server holds it
 */
export function lockFolder(databaseFile: string): void {
  const lock = new Database(`${databaseFile}.lock`, { timeout: 0 });
  try {
    lock.exec("BEGIN EXCLUSIVE");
  } catch (error) {
    lock.close();
    if (!/^SQLITE_BUSY/.test((error as { code?: string }).code ?? "")) throw error;
    throw new StartProblem(
      `${dirname(databaseFile)} is used by another Pieward that is running. Stop that one, or choose another DATA_DIR.`,
    );
  }
  lockedDatabases.push(lock); // closed by the end of the process only
}
const lockedDatabases: Database.Database[] = [];

/** Makes the folder where there is none. Whatever is made from now on is the owner's alone. */
export function makeFolder(folder: string): void {
  process.umask(0o077);
  mkdirSync(folder, { recursive: true, mode: 0o700 });
}

/**
 * Takes others' rights from all files of ours in the folder, and from the folder where nothing else lies in it.
 * @returns a sentence where the folder was left as it is
 */
export function restrictAccess(folder: string, databaseFile: string): string | null {
  const ours = [/^keys\.json(\.new)?$/, /^(last-backup|damage-recipients)\.json(\.new)?$/, /^damaged-/];
  const isOurs = (name: string) => name.startsWith(basename(databaseFile)) || ours.some((known) => known.test(name));
  for (const name of readdirSync(folder).filter(isOurs)) restrictPath(join(folder, name));
  const beside = dirname(databaseFile);
  if (beside !== folder) {
    for (const name of readdirSync(beside)) {
      if (name.startsWith(basename(databaseFile))) restrictPath(join(beside, name));
    }
  }
  if ((statSync(folder).mode & 0o077) === 0) return null;
  if (readdirSync(folder).every(isOurs)) {
    chmodSync(folder, 0o700);
    return null;
  }
  return `${folder} can be listed by other users, and holds files that aren't Pieward's. A DATA_DIR of its own is safer.`;
}

function restrictPath(path: string): void {
  const found = statSync(path);
  if ((found.mode & 0o077) !== 0) chmodSync(path, found.isDirectory() ? 0o700 : 0o600);
}

/**
 * A database that is gone beside the keys of a server is a loss, not a new server: a claim would be opened to whoever comes first.
 * Keys are made after the database, so a first start that is interrupted leaves no keys without one.
 * @throws StartProblem
 */
export function checkDatabaseExists(databaseFile: string, keysExist: boolean, newMeant: boolean, way: string): void {
  const missing = !existsSync(databaseFile);
  if (!keysExist || newMeant || (!missing && statSync(databaseFile).size > 0)) return;
  throw new DatabaseGone(
    `${databaseFile} is ${missing ? "missing" : "empty"}, but the keys of a server lie in the data folder. ${way}\n` +
      "Where a new, empty server is meant, start it once with --new-database.",
  );
}

export class DatabaseGone extends StartProblem {}

/**
 * Without its keys a server can reach no phone that it knows.
 * @throws StartProblem where people use this database already
 */
export function checkKeysExist(databaseFile: string, keysFile: string, newMeant: boolean, way: string): void {
  if (newMeant || existsSync(keysFile) || !hasKeepers(databaseFile)) return;
  throw new StartProblem(
    `${keysFile} is missing, but ${databaseFile} has keepers. With new keys every phone has to be added anew and everybody has to ` +
      `sign in again. Restore the file from a backup. ${way}\nWhere new keys are meant, start once with --new-keys.`,
  );
}

function hasKeepers(databaseFile: string): boolean {
  if (!existsSync(databaseFile) || statSync(databaseFile).size === 0) return false;
  const database = new Database(databaseFile, { readonly: true, timeout: 5_000 });
  try {
    const table = database.prepare(`SELECT 1 FROM sqlite_master WHERE name = 'Keeper'`).get();
    return table !== undefined && database.prepare(`SELECT 1 FROM "Keeper"`).get() !== undefined;
  } finally {
    database.close();
  }
}
