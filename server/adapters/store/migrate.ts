import { createHash, randomUUID } from "node:crypto";
import { existsSync, readdirSync, readFileSync, rmSync } from "node:fs";
import { basename, dirname, join } from "node:path";
import Database from "better-sqlite3";
import { StoreDamaged } from "../../ports.ts";
import { copyDatabase } from "./copyDatabase.ts";

/**
 * Applies the SQL files of prisma/sqlite/migrations in order and records them as Prisma does, so that `prisma migrate` can still be
 * used. It is our own because Prisma's engine is a download that not every machine can make.
 */

/** The database doesn't fit this version of Pieward; nothing was changed. */
export class MigrationProblem extends Error {
  override readonly name = "MigrationProblem";
}

export interface MigrationReport {
  readonly applied: readonly string[];
  readonly backup: string | null; // a copy from before; null where there was nothing to copy
}

/** In octets. */
export const pageSize = 2_048;

/**
 * @param isWhole false: the database is known to be damaged, and may be opened but not changed
 * @throws MigrationProblem where an applied migration was changed, is missing here, or did not run to its end; StoreDamaged
 */
export function migrate(
  databaseFile: string,
  migrationsFolder: string,
  stamp: string,
  isWhole = true,
): MigrationReport {
  const existed = existsSync(databaseFile);
  const database = new Database(databaseFile, { timeout: 5_000 });
  try {
    // Both can only be set before the first table. A step writes whole pages, of which it changes little: small ones wear a memory
    // card less (7 instead of 12 kB a report).
    database.pragma(`page_size = ${pageSize}`);
    database.pragma("auto_vacuum = INCREMENTAL");
    database.pragma("journal_mode = WAL");
    database.pragma("synchronous = FULL");
    const due = dueMigrations(database, readMigrations(migrationsFolder));
    if (due.length === 0) return { applied: [], backup: null };
    if (!isWhole) throw new StoreDamaged("a damaged database can't be brought up to date");

    const backup = existed && hasTables(database) ? `${databaseFile}.before-${stamp}` : null;
    removeInterrupted(databaseFile);
    if (backup) copyDatabase(database, backup);
    for (const migration of due) apply(database, migration);
    return { applied: due.map((migration) => migration.name), backup };
  } finally {
    database.close();
  }
}

/** @returns whether this version's migrations are all applied. The file must exist. @throws MigrationProblem as `migrate` */
export function isUpToDate(databaseFile: string, migrationsFolder: string): boolean {
  const database = new Database(databaseFile, { timeout: 5_000, fileMustExist: true });
  try {
    return dueMigrations(database, readMigrations(migrationsFolder)).length === 0;
  } finally {
    database.close();
  }
}

/** Removes what a kill during the copy has left. */
function removeInterrupted(databaseFile: string): void {
  const [folder, start] = [dirname(databaseFile), `${basename(databaseFile)}.before-`];
  const names = readdirSync(folder).filter((name) => name.startsWith(start) && name.endsWith(".partial"));
  for (const name of names) rmSync(join(folder, name));
}

interface Migration {
  readonly name: string;
  readonly sql: string;
  readonly checksum: string;
}

function readMigrations(folder: string): Migration[] {
  return readdirSync(folder, { withFileTypes: true })
    .filter((entry) => entry.isDirectory())
    .map((entry) => entry.name)
    .sort()
    .map((name) => {
      const sql = readFileSync(join(folder, name, "migration.sql"), "utf8");
      return { name, sql, checksum: createHash("sha256").update(sql).digest("hex") };
    });
}

function dueMigrations(database: Database.Database, known: readonly Migration[]): Migration[] {
  database.exec(`CREATE TABLE IF NOT EXISTS "_prisma_migrations" (
    "id" TEXT PRIMARY KEY NOT NULL,
    "checksum" TEXT NOT NULL,
    "finished_at" DATETIME,
    "migration_name" TEXT NOT NULL,
    "logs" TEXT,
    "rolled_back_at" DATETIME,
    "started_at" DATETIME NOT NULL DEFAULT current_timestamp,
    "applied_steps_count" INTEGER UNSIGNED NOT NULL DEFAULT 0
  )`);
  const recorded = database
    .prepare(
      `SELECT "migration_name" AS name, "checksum" AS checksum, "finished_at" AS finishedAt
       FROM "_prisma_migrations" WHERE "rolled_back_at" IS NULL ORDER BY "migration_name"`,
    )
    .all() as { name: string; checksum: string; finishedAt: unknown }[];

  for (const { name, checksum, finishedAt } of recorded) {
    const here = known.find((migration) => migration.name === name);
    if (!here) {
      throw new MigrationProblem(
        `The database was opened by a newer Pieward: it has the migration ${name}. Update first.`,
      );
    }
    if (here.checksum !== checksum) {
      throw new MigrationProblem(`The migration ${name} was changed after it had been applied. Restore its file.`);
    }
    if (finishedAt === null) {
      throw new MigrationProblem(
        `The migration ${name} did not run to its end. Restore the backup beside the database.`,
      );
    }
  }
  const done = new Set(recorded.map(({ name }) => name));
  return known.filter((migration) => !done.has(migration.name));
}

/** One migration in one transaction. */
function apply(database: Database.Database, migration: Migration): void {
  database.transaction(() => {
    database.exec(migration.sql);
    database
      .prepare(
        `INSERT INTO "_prisma_migrations" ("id", "checksum", "finished_at", "migration_name", "applied_steps_count")
         VALUES (?, ?, unixepoch('subsec') * 1000, ?, 1)`,
      )
      .run(randomUUID(), migration.checksum, migration.name);
  })();
}

function hasTables(database: Database.Database): boolean {
  return (
    database.prepare(`SELECT 1 FROM sqlite_master WHERE type = 'table' AND name <> '_prisma_migrations'`).get() !==
    undefined
  );
}
