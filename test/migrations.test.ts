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
    expect(await draftMigration(), "run `npm run migration:draft` and keep its SQL as a new migration").toBe("");
  });

  it("are told apart from models with one more field", async () => {
    const drafted = await draftMigration(
      withModels((text) => text.replace("model Yard {", "model Yard {\n  soil String?")),
    );
    expect(drafted).toContain(`ALTER TABLE "Yard" ADD COLUMN "soil" TEXT`);
  });

  it("are told apart from models with one index less", async () => {
    const drafted = await draftMigration(withModels((text) => text.replace("  @@index([nextCheckAt])\n", "")));
    expect(drafted).toContain(`DROP INDEX "Feeder_nextCheckAt_idx"`);
  });

  it("are told apart from a migration that the models don't know of", async () => {
    const folder = join(scratch, "oneMore");
    cpSync(migrations, folder, { recursive: true });
    cpSync(join(folder, "20261129120000_first"), join(folder, "99990101000000_more"), { recursive: true });
    writeFileSync(join(folder, "99990101000000_more", "migration.sql"), `CREATE TABLE "Nest" ("id" TEXT PRIMARY KEY);`);
    expect(await draftMigration(readModels(), folder)).toContain(`DROP TABLE "Nest"`);
  });

  it("keep the tables that grow by themselves in one tree each, which the models can't say", () => {
    const database = new Database(inject("migratedDatabase"), { readonly: true });
    const tables = database
      .prepare("SELECT name FROM sqlite_master WHERE type = 'table' AND sql LIKE '%WITHOUT ROWID' ORDER BY name")
      .pluck()
      .all();
    database.close();
    expect(tables).toEqual(["Event", "Heartbeat", "PeriodicCheck"]);
  });
});

function withModels(change: (text: string) => string): SchemaFile[] {
  const changed = readModels().map(({ path, content }) => ({ path, content: change(content) }));
  expect(changed, "the planted change must hit something").not.toEqual(readModels());
  return changed;
}
