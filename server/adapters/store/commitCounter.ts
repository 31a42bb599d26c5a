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
  /** The number of the next commit. @param inDatabase as `readCommits` gives it inside the transaction. */
  next(inDatabase: number): number;
  /** Remembers a commit that is on the disk. */
  remember(commit: number): void;
  close(): void;
}

const commitsFile = (databaseFile: string): string => `${databaseFile}.commits`;

/** The head that belongs to no feeder: its revision is the number of commits. */
export const commitRow = 0;

export const readCommits = (database: Database.Database): number =>
  database.prepare(`SELECT "revision" FROM "FeederHead" WHERE "feederNo" = ?`).pluck().get(commitRow) as number;

export const saveCommits = (database: Database.Database, commits: number): void => {
  database.prepare(`UPDATE "FeederHead" SET "revision" = ? WHERE "feederNo" = ?`).run(commits, commitRow);
};

/** Prisma keeps 32 bits with a sign; a commit each second takes 68 years to fill them. */
const commitMax = 2 ** 31 - 1;

export function openCommitCounter(database: Database.Database, databaseFile: string): CommitCounter {
  const path = commitsFile(databaseFile);
  const beside = existsSync(path) ? Number.parseInt(readFileSync(path, "utf8"), 10) || 0 : 0;
  const inDatabase = readCommits(database);
  const file = openSync(path, constants.O_RDWR | constants.O_CREAT, 0o600);
  return {
    lost: Math.max(0, beside - inDatabase),
    next: (before) => (Math.max(before, beside) + 1) % commitMax,
    remember(commit) {
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
