import { closeSync, constants, existsSync, openSync, readFileSync, writeSync } from "node:fs";
import type Database from "better-sqlite3";

/**
 * Counts the commits of the database, in the database (a row that is written with each commit) and in a file beside it. After a log
 * was removed or cut, or an older copy of the database was restored, the first number is less than the second.
 *
 * The file is written after the commit and isn't synced: it survives a kill, and a power cut may set it back. Then fewer losses are
 * found, but never one that didn't happen. None is found where the file was removed together with the log.
 */
export interface CommitCounter {
  /** Commits that the database lacked when it was opened. */
  readonly lost: number;
  /** The number of the next commit. @param inDatabase as it is inside the transaction. */
  next(inDatabase: number): number;
  /** The same inside an open transaction over plain SQL, which saves it. */
  count(): number;
  /** Remembers a commit that is on the disk. */
  remember(commit: number): void;
  close(): void;
}

const commitsFile = (databaseFile: string): string => `${databaseFile}.commits`;

/** The head that belongs to no feeder: its revision is the number of commits. */
export const commitRow = 0;

/** Prepared once: they run with each commit. */
const commitStatements = (database: Database.Database) => ({
  read: database.prepare<[number], number>(`SELECT "revision" FROM "FeederHead" WHERE "feederNo" = ?`).pluck(),
  save: database.prepare(`UPDATE "FeederHead" SET "revision" = ? WHERE "feederNo" = ?`),
});

/** Prisma keeps 32 bits with a sign; a commit each second takes 68 years to fill them. */
const commitMax = 2 ** 31 - 1;

export function openCommitCounter(database: Database.Database, databaseFile: string): CommitCounter {
  const path = commitsFile(databaseFile);
  const beside = existsSync(path) ? Number.parseInt(readFileSync(path, "utf8"), 10) || 0 : 0;
  const statements = commitStatements(database);
  const inDatabase = statements.read.get(commitRow) as number;
  const file = openSync(path, constants.O_RDWR | constants.O_CREAT, 0o600);
  let remembered = beside;
  const next = (before: number) => (Math.max(before, beside) + 1) % commitMax;
  return {
    lost: Math.max(0, beside - inDatabase),
    next,
    count() {
      const commit = next(statements.read.get(commitRow) as number);
      statements.save.run(commit, commitRow);
      return commit;
    },
    remember(commit) {
      if (commit < remembered) return;
      remembered = commit;
      try {
        writeSync(file, `${commit}\n`.padStart(12), 0);
      } catch (error) {
        // The commit is stored. The next one writes the number again; until then a lost log is found less exactly.
        process.emitWarning(`the number of commits could not be written beside the database: ${error}`);
      }
    },
    close: () => closeSync(file),
  };
}
