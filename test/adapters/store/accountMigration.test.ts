import { cpSync, mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { describe, expect, it, onTestFinished } from "vitest";
import { isUpToDate, migrate } from "../../../server/adapters/store/migrate.ts";
import { openStore } from "../../../server/adapters/store/prismaStore.ts";
import { instantOf } from "../../../server/domain/instant.ts";

const migrations = join(import.meta.dirname, "../../../prisma/sqlite/migrations");
const then = "2026-01-02T10:00:00.000+00:00";
const halfAYearOn = "2026-07-01T10:00:00.000+00:00";

/** A database from before names had keys and sessions ended sooner. @returns its file */
function oldHouse(): string {
  const folder = mkdtempSync(join(tmpdir(), "pieward-old-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const file = join(folder, "pieward.db");
  for (const name of readdirSync(migrations).filter((name) => /^\d/.test(name) && name < "20261129040000")) {
    cpSync(join(migrations, name), join(folder, "before", name), { recursive: true });
  }
  migrate(file, join(folder, "before"), "old");
  const old = new Database(file);
  old.exec(`
    INSERT INTO "Keeper" ("id", "name", "passphraseHash", "createdAt") VALUES
      ('ada', 'Ada', '-', '${then}'), ('ada2', 'ADA', '-', '${halfAYearOn}'), ('bo', 'B' || char(0x200B) || 'o', '-', '${then}');
    INSERT INTO "Session" VALUES ('used', 'ada', '${then}', '${then}', '${halfAYearOn}'),
      ('old', 'bo', '2025-07-10T10:00:00.000+00:00', '${then}', '${halfAYearOn}');
  `);
  old.close();
  expect(isUpToDate(file, migrations)).toBe(false);
  migrate(file, migrations, "new");
  expect(isUpToDate(file, migrations)).toBe(true);
  return file;
}

describe("a database from before accounts were looked after", () => {
  it("finds each of its people as before, two that differ in case by their own spelling", async () => {
    const store = await openStore(`file:${oldHouse()}`);
    onTestFinished(() => store.close());
    const idOf = async (name: string) => (await store.keepers.keeperNamed(name))?.id;
    expect(await Promise.all(["Ada", "ADA", "ada", "B\u200Bo", "bo"].map(idOf))).toEqual([
      "ada",
      "ada2",
      "ada",
      "bo",
      "bo",
    ]);
    expect(await idOf("Cilla")).toBeUndefined();
  });

  it("ends its sessions 30 days after their last use and 180 days after their begin", async () => {
    const store = await openStore(`file:${oldHouse()}`);
    onTestFinished(() => store.close());
    expect((await store.keepers.session("used"))?.expiresAt).toBe(instantOf("2026-02-01T10:00:00Z"));
    expect((await store.keepers.session("old"))?.expiresAt).toBe(instantOf("2026-01-06T10:00:00Z"));
  });
});
