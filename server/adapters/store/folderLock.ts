import Database from "better-sqlite3";

/**
 * Locks a folder until the process ends, however it ends: with SQLite's lock on an empty file beside the database, which the system
 * releases (sqlite.org/lockingv3.html). The database's own lock must stay free for backups.
 * @returns false where another process has the lock
 */
export function tryToLock(databaseFile: string): boolean {
  const lock = new Database(`${databaseFile}.lock`, { timeout: 0 });
  try {
    lock.exec("BEGIN EXCLUSIVE");
  } catch (error) {
    lock.close();
    if (!/^SQLITE_BUSY/.test((error as { code?: string }).code ?? "")) throw error;
    return false;
  }
  lockedDatabases.push(lock); // closed by the end of the process only
  return true;
}
const lockedDatabases: Database.Database[] = [];
