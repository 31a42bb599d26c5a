import { chmodSync, existsSync, mkdirSync, readdirSync, statSync } from "node:fs";
import { basename, dirname, join } from "node:path";
import { tryToLock } from "./store/folderLock.ts";
import { hasKeepers } from "./store/hasKeepers.ts";

/** Why the server can't start, with what to do about it, in one sentence. Nothing was changed. */
export class StartProblem extends Error {
  override readonly name = "StartProblem";
}

/**
 * Locks the data folder until the process ends.
 * @throws StartProblem where another server has the lock
 */
export function lockFolder(databaseFile: string): void {
  if (tryToLock(databaseFile)) return;
  throw new StartProblem(
    `${dirname(databaseFile)} is used by another Pieward that is running. Stop that one, or choose another DATA_DIR.`,
  );
}

/** Creates the folder where there is none. Only the owner can read what this process creates from now on. */
export function makeFolder(folder: string): void {
  process.umask(0o077);
  mkdirSync(folder, { recursive: true, mode: 0o700 });
}

/**
 * Removes other users' rights to Pieward's files in the folder, and to the folder where it holds nothing else.
 * @returns a warning where the folder's rights were not changed
 */
export function restrictAccess(folder: string, databaseFile: string): string | null {
  const ours = [/^keys\.json(\.new)?$/, /^(last-backup|damage-recipients)\.json(\.new)?$/, /^damaged-/, /^pictures$/];
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
 * A missing database beside a server's keys is a loss, not a new server: a new database would let anybody be the first to sign in.
 * Keys are made after the database, so an interrupted first start leaves no keys without a database.
 * @throws StartProblem
 */
export function checkDatabaseExists(
  databaseFile: string,
  keysExist: boolean,
  mayCreate: boolean,
  advice: string,
): void {
  const missing = !existsSync(databaseFile);
  if (!keysExist || mayCreate || (!missing && statSync(databaseFile).size > 0)) return;
  throw new DatabaseGone(
    `${databaseFile} is ${missing ? "missing" : "empty"}, but the keys of a server lie in the data folder. ${advice}\n` +
      "Where a new, empty server is meant, start it once with --new-database.",
  );
}

export class DatabaseGone extends StartProblem {}

/**
 * Without its keys a server can send to no phone that it knows.
 * @throws StartProblem where people use this database already
 */
export function checkKeysExist(databaseFile: string, keysFile: string, mayCreate: boolean, advice: string): void {
  if (mayCreate || existsSync(keysFile) || !hasKeepers(databaseFile)) return;
  throw new StartProblem(
    `${keysFile} is missing, but ${databaseFile} has keepers. With new keys every phone has to be added again and everybody has to ` +
      `sign in again. Restore the file from a backup. ${advice}\nWhere new keys are meant, start once with --new-keys.`,
  );
}
