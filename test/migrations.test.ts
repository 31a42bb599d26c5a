import { cpSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { afterAll, describe, expect, inject, it } from "vitest";
import { draftMigration, readModels, type SchemaFile } from "../prisma/draftMigration.ts";

const migrations = join(import.meta.dirname, "../prisma/sqlite/migrations");
const scratch = mkdtempSync(join(tmpdir(), "pieward-migrations-"));
afterAll(() => rmSync(scratch, { recursive: true, force: true }));

describe("the migrations", () => {
  it("lead to what the models say", async () => {
    expect(await draftMigration(), "run `npm run migration:draft` and save its SQL as a new migration").toBe("");
  });

  it("differ from models with one more field", async () => {
    const drafted = await draftMigration(
      withModels((text) => text.replace("model Yard {", "model Yard {\n  soil String?")),
    );
    expect(drafted).toContain(`ALTER TABLE "Yard" ADD COLUMN "soil" TEXT`);
  });

  it("differ from models with one index less", async () => {
    const drafted = await draftMigration(withModels((text) => text.replace("  @@index([nextAt])\n", "")));
    expect(drafted).toContain(`DROP INDEX "Escalation_nextAt_idx"`);
  });

  it("differ where one more migration has a table that the models lack", async () => {
    const folder = join(scratch, "oneMore");
    cpSync(migrations, folder, { recursive: true });
    cpSync(join(folder, "20261129120000_first"), join(folder, "99990101000000_more"), { recursive: true });
    writeFileSync(join(folder, "99990101000000_more", "migration.sql"), `CREATE TABLE "Nest" ("id" TEXT PRIMARY KEY);`);
    expect(await draftMigration(readModels(), folder)).toContain(`DROP TABLE "Nest"`);
  });

  it("create the tables that grow without end WITHOUT ROWID, which models can't express", () => {
    const database = new Database(inject("migratedDatabase"), { readonly: true });
    const tables = database
      .prepare("SELECT name FROM sqlite_master WHERE type = 'table' AND sql LIKE '%WITHOUT ROWID' ORDER BY name")
      .pluck()
      .all();
    database.close();
    expect(tables).toEqual(["LogLine", "LogPack", "Rollup", "Snapshot"]);
  });
});

function withModels(change: (text: string) => string): SchemaFile[] {
  const changed = readModels().map(({ path, content }) => ({ path, content: change(content) }));
  expect(changed, "the planted change must change the models").not.toEqual(readModels());
  return changed;
}
