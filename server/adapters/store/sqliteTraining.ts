import type Database from "better-sqlite3";
import { instantOf } from "../../domain/instant.ts";
import type { ProgrammeChangeRow, TrainingTransaction } from "../../ports.ts";
import { textOf } from "./rows.ts";

interface ChangeColumns {
  readonly at: string;
  readonly by: string;
  readonly reason: string;
  readonly content: string;
  readonly plansBefore: string;
}

/** In plain SQL, so that the feeders' plans change in the same commit. */
export function createTrainingTransaction(database: Database.Database): TrainingTransaction {
  const insert = database.prepare(
    `INSERT INTO "ProgrammeChange" ("yardId", "id", "at", "by", "reason", "content", "plansBefore")
     VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
  );
  const read = database.prepare<[string, string], ChangeColumns>(
    `SELECT "at", "by", "reason", "content", "plansBefore" FROM "ProgrammeChange"
     WHERE "yardId" = ? AND "id" = ? AND "undoneAt" IS NULL`,
  );
  const markUndone = database.prepare(
    `UPDATE "ProgrammeChange" SET "undoneAt" = ?, "undoneBy" = ? WHERE "yardId" = ? AND "id" = ?`,
  );
  return {
    async saveProgrammeChange({ id, yard, at, by, reason, content, plansBefore }) {
      const json = [JSON.stringify(content), JSON.stringify(plansBefore)];
      return insert.run(yard, id, textOf(at), by, reason, ...json).changes === 1;
    },
    async undoProgrammeChange(yard, id, undone) {
      const found = read.get(yard, id);
      if (found === undefined) return null;
      markUndone.run(textOf(undone.at), undone.by, yard, id);
      return {
        ...{ id, yard, at: instantOf(found.at), by: found.by, reason: found.reason, undone: null },
        content: JSON.parse(found.content) as ProgrammeChangeRow["content"],
        plansBefore: JSON.parse(found.plansBefore) as ProgrammeChangeRow["plansBefore"],
      };
    },
  };
}
