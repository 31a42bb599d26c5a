import { copyFileSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { TestProject } from "vitest/node";
import { migrate } from "../../server/adapters/store/migrate.ts";

/** Migrated once for the whole run; each test that wants a database copies it, which takes a millisecond. */
export default function setup(project: TestProject): () => void {
  const folder = mkdtempSync(join(tmpdir(), "pieward-base-"));
  const file = join(folder, "base.db");
  migrate(file, join(import.meta.dirname, "../../prisma/sqlite/migrations"), "base");
  project.provide("migratedDatabase", file);
  return () => rmSync(folder, { recursive: true, force: true });
}

declare module "vitest" {
  export interface ProvidedContext {
    migratedDatabase: string;
  }
}

/** @returns the file of a fresh, migrated database in a folder of its own. */
export function copyDatabase(base: string): { readonly folder: string; readonly file: string } {
  const folder = mkdtempSync(join(tmpdir(), "pieward-test-"));
  const file = join(folder, "pieward.db");
  copyFileSync(base, file);
  return { folder, file };
}
