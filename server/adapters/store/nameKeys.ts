import type Database from "better-sqlite3";
import { nameKey } from "../../domain/names.ts";

/**
 * Gives every account from before names had keys its own. Where two names have the same key, the older account gets it. The
 * other one stays without, and is found by its exact name as before, so that both can still sign in.
 */
export function fillNameKeys(database: Database.Database): void {
  const people = database
    .prepare(`SELECT "id", "name" FROM "Keeper" WHERE "nameKey" IS NULL ORDER BY "createdAt", "id"`)
    .all() as { id: string; name: string }[];
  const fill = database.prepare(
    `UPDATE "Keeper" SET "nameKey" = @key
     WHERE "id" = @id AND NOT EXISTS (SELECT 1 FROM "Keeper" WHERE "nameKey" = @key)`,
  );
  for (const { id, name } of people) fill.run({ id, key: nameKey(name) });
}
