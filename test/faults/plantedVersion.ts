import { cpSync, mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { onTestFinished } from "vitest";

const project = join(import.meta.dirname, "../..");

/** Rewrites the log, as a migration that changes a column does: it takes long, and moves every row. */
const plantedSql = `
CREATE TABLE "new_LogLine" AS SELECT *, NULL AS "planted" FROM "LogLine";
DROP TABLE "LogLine";
ALTER TABLE "new_LogLine" RENAME TO "LogLine";
CREATE UNIQUE INDEX "LogLine_step" ON "LogLine"("feederNo", "step");
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
