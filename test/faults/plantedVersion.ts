import { cpSync, mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { onTestFinished } from "vitest";

const project = join(import.meta.dirname, "../..");

/** Rewrites the event table, as a migration that changes a column does: it takes long, and moves every row. */
const plantedSql = `
CREATE TABLE "new_Event" ("feederId" TEXT NOT NULL, "boot" TEXT NOT NULL, "seq" BIGINT NOT NULL, "kind" TEXT NOT NULL,
  "receivedAt" DATETIME NOT NULL, "recordedAt" DATETIME NOT NULL, "body" TEXT NOT NULL, "planted" TEXT,
  PRIMARY KEY ("feederId", "boot", "seq")) WITHOUT ROWID;
INSERT INTO "new_Event" SELECT *, NULL FROM "Event";
DROP TABLE "Event";
ALTER TABLE "new_Event" RENAME TO "Event";
CREATE INDEX "Event_feederId_recordedAt_idx" ON "Event"("feederId", "recordedAt");
`;

/**
 * A later version of the built server, in a temporary folder: the same with one more migration, so that a database of this version
 * is an older one for it. @returns its main file, for `runBuiltServer`
 */
export function plantLaterVersion(): string {
  const folder = mkdtempSync(join(tmpdir(), "pieward-later-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  for (const part of ["package.json", "dist", "prisma/sqlite/migrations"]) {
    cpSync(join(project, part), join(folder, part), { recursive: true });
  }
  symlinkSync(join(project, "node_modules"), join(folder, "node_modules"));
  const planted = join(folder, "prisma/sqlite/migrations/99990101000000_planted");
  mkdirSync(planted);
  writeFileSync(join(planted, "migration.sql"), plantedSql);
  return join(folder, "dist/server/main.js");
}
