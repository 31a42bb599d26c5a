import { existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { isUpToDate, MigrationProblem, migrate } from "../../../server/adapters/store/migrate.ts";

const nest = `CREATE TABLE "Nest" ("id" TEXT PRIMARY KEY);`;
const tree = `ALTER TABLE "Nest" ADD COLUMN "tree" TEXT; CREATE INDEX "Nest_tree_idx" ON "Nest" ("tree");`;

let scratch: string;
let file: string;
beforeEach(() => {
  scratch = mkdtempSync(join(tmpdir(), "pieward-migrate-"));
  file = join(scratch, "yard.db");
});
afterEach(() => rmSync(scratch, { recursive: true, force: true }));

describe("migrating a database", () => {
  it("applies all migrations to a new database in the order of their names, without a backup", () => {
    expect(migrate(file, migrations({ "2_tree": tree, "1_nest": nest }), "now")).toEqual({
      applied: ["1_nest", "2_tree"],
      backup: null,
    });
    expect(columns("Nest")).toEqual(["id", "tree"]);
  });

  it("applies nothing at the second start, and makes no backup", () => {
    const folder = migrations({ "1_nest": nest });
    migrate(file, folder, "first");
    expect(migrate(file, folder, "second")).toEqual({ applied: [], backup: null });
    expect(existsSync(`${file}.before-second`)).toBe(false);
  });

  it("records what it applied as `prisma migrate` does", () => {
    migrate(file, migrations({ "1_nest": nest }), "now");
    const [row] = rowsOf(`SELECT * FROM "_prisma_migrations"`);
    expect(row).toMatchObject({
      migration_name: "1_nest",
      // SHA-256 of the file, as `printf '%s' 'CREATE TABLE "Nest" ("id" TEXT PRIMARY KEY);' | sha256sum` gives it.
      checksum: "b99b9efe5a5524f5857f20be82a9b9cffe404c09c253ca0216be0a39d769598d",
      applied_steps_count: 1,
      rolled_back_at: null,
    });
    expect(Number(row?.finished_at)).toBeGreaterThan(Date.parse("2026-01-01")); // milliseconds
  });

  it("copies a database with data before it changes it, under a name with the stamp", () => {
    migrate(file, migrations({ "1_nest": nest }), "first");
    change(`INSERT INTO "Nest" VALUES ('rowan')`);

    const { applied, backup } = migrate(file, migrations({ "1_nest": nest, "2_tree": tree }), "second");
    expect(applied).toEqual(["2_tree"]);
    expect(backup).toBe(`${file}.before-second`);
    expect(rowsOf(`SELECT * FROM "Nest"`, backup as string)).toEqual([{ id: "rowan" }]); // as it was: no tree yet
    expect(rowsOf("PRAGMA integrity_check", backup as string)).toEqual([{ integrity_check: "ok" }]);
    expect(rowsOf(`SELECT * FROM "Nest"`)).toEqual([{ id: "rowan", tree: null }]);
  });

  it("changes nothing where the copy can't be made", () => {
    migrate(file, migrations({ "1_nest": nest }), "first");
    mkdirSync(`${file}.before-second`);
    expect(() => migrate(file, migrations({ "1_nest": nest, "2_tree": tree }), "second")).toThrow();
    expect(columns("Nest")).toEqual(["id"]);
  });

  it("refuses a migration that was changed after it had been applied, by its name", () => {
    migrate(file, migrations({ "1_nest": nest }), "first");
    expect(problemOf(() => migrate(file, migrations({ "1_nest": `${nest} ` }), "second"))).toBe(
      "The migration 1_nest was changed after it had been applied. Restore its file.",
    );
  });

  it("refuses a database that a newer version has opened, by the migration that it lacks", () => {
    migrate(file, migrations({ "1_nest": nest, "2_tree": tree }), "first");
    expect(problemOf(() => migrate(file, migrations({ "1_nest": nest }, "older"), "second"))).toBe(
      "The database was opened by a newer Pieward: it has the migration 2_tree. Update first.",
    );
    expect(columns("Nest")).toEqual(["id", "tree"]);
  });

  it("refuses a database where a migration did not run to its end", () => {
    const folder = migrations({ "1_nest": nest });
    migrate(file, folder, "first");
    change(`UPDATE "_prisma_migrations" SET "finished_at" = NULL`);
    expect(problemOf(() => migrate(file, folder, "second"))).toContain("The migration 1_nest did not run to its end.");
  });

  it("applies again what was marked as rolled back", () => {
    const folder = migrations({ "1_nest": nest });
    migrate(file, folder, "first");
    change(`DROP TABLE "Nest"; UPDATE "_prisma_migrations" SET "rolled_back_at" = 1`);
    expect(migrate(file, folder, "second").applied).toEqual(["1_nest"]);
    expect(columns("Nest")).toEqual(["id"]);
  });

  it("changes nothing where a migration fails in its middle, and can be started again with a repaired one", () => {
    migrate(file, migrations({ "1_nest": nest }), "first");
    change(`INSERT INTO "Nest" VALUES ('rowan')`);
    const broken = migrations({ "1_nest": nest, "2_tree": `${tree} INSERT INTO "Nowhere" VALUES (1);` });
    expect(() => migrate(file, broken, "second")).toThrow("Nowhere");
    expect(columns("Nest")).toEqual(["id"]);
    expect(rowsOf(`SELECT "migration_name" AS name FROM "_prisma_migrations"`)).toEqual([{ name: "1_nest" }]);

    expect(migrate(file, migrations({ "1_nest": nest, "2_tree": tree }), "third").applied).toEqual(["2_tree"]);
    expect(rowsOf(`SELECT * FROM "Nest"`)).toEqual([{ id: "rowan", tree: null }]);
  });

  it("recognises a database that lacks a migration, and changes nothing of it", () => {
    const [older, newer] = [migrations({ "1_nest": nest }), migrations({ "1_nest": nest, "2_tree": tree }, "newer")];
    migrate(file, older, "first");
    expect([isUpToDate(file, older), isUpToDate(file, newer)]).toEqual([true, false]);
    expect(columns("Nest")).toEqual(["id"]);
    migrate(file, newer, "second");
    expect(isUpToDate(file, newer)).toBe(true);
    expect(problemOf(() => isUpToDate(file, older))).toContain("opened by a newer Pieward");
  });

  it("leaves the database in WAL mode, in which reading never waits for the writer", () => {
    migrate(file, migrations({ "1_nest": nest }), "now");
    expect(rowsOf("PRAGMA journal_mode")).toEqual([{ journal_mode: "wal" }]);
  });
});

/** Writes a folder of migrations. @returns its path */
function migrations(files: Record<string, string>, folder = "migrations"): string {
  for (const [name, sql] of Object.entries(files)) {
    mkdirSync(join(scratch, folder, name), { recursive: true });
    writeFileSync(join(scratch, folder, name, "migration.sql"), sql);
  }
  return join(scratch, folder);
}

function problemOf(work: () => unknown): string {
  try {
    work();
  } catch (error) {
    if (error instanceof MigrationProblem) return error.message;
    throw error;
  }
  throw new Error("expected a MigrationProblem, got none");
}

const columns = (table: string) => rowsOf(`PRAGMA table_info("${table}")`).map(({ name }) => name);

function rowsOf(sql: string, databaseFile = file): Record<string, unknown>[] {
  const database = new Database(databaseFile);
  try {
    return database.prepare(sql).all() as Record<string, unknown>[];
  } finally {
    database.close();
  }
}

function change(sql: string): void {
  const database = new Database(file);
  try {
    database.exec(sql);
  } finally {
    database.close();
  }
}
