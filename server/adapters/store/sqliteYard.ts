import type Database from "better-sqlite3";
import { instantOf } from "../../domain/instant.ts";
import type { Transaction, YardRow } from "../../ports.ts";
import { textOf } from "./rows.ts";

/** Reads and changes a yard's own row, in plain SQL, so that its feeders can change in the same commit. */
export function createYardTransaction(database: Database.Database): Pick<Transaction, "yard" | "changeYard"> {
  const read = database.prepare<[string], YardColumns>(
    `SELECT "name", "zone", "latitudeDegrees", "longitudeDegrees", "digestTime", "digestWanted", "practice", "escalateMinutes",
       "diseaseNoticeAt", "diseaseNoticeBy", "stillsKeptDays"
     FROM "Yard" WHERE "id" = ?`,
  );
  const update = database.prepare(
    `UPDATE "Yard" SET "name" = @name, "zone" = @zone, "latitudeDegrees" = @latitudeDegrees,
       "longitudeDegrees" = @longitudeDegrees, "digestTime" = @digestTime, "digestWanted" = @digestWanted,
       "escalateMinutes" = @escalateMinutes, "diseaseNoticeAt" = @diseaseNoticeAt, "diseaseNoticeBy" = @diseaseNoticeBy,
       "stillsKeptDays" = @stillsKeptDays
     WHERE "id" = @id`,
  );
  const makeEscalationsDue = database.prepare(`UPDATE "Escalation" SET "nextAt" = ? WHERE "yardId" = ?`);

  const yard = async (id: string) => {
    const found = read.get(id);
    return found ? yardFromColumns(id, found) : null;
  };
  return {
    yard,
    async changeYard(id, changes, now) {
      const found = await yard(id);
      if (!found) return null;
      const changed: YardRow = { ...found, ...changes };
      const { place, digestWanted, practice, diseaseNotice, ...rest } = changed;
      update.run({
        ...rest,
        latitudeDegrees: place?.latitudeDegrees ?? null,
        longitudeDegrees: place?.longitudeDegrees ?? null,
        digestWanted: digestWanted ? 1 : 0,
        diseaseNoticeAt: diseaseNotice === null ? null : textOf(diseaseNotice.at),
        diseaseNoticeBy: diseaseNotice?.by ?? null,
      });
      makeEscalationsDue.run(textOf(now), id);
      return changed;
    },
  };
}

interface YardColumns {
  readonly name: string;
  readonly zone: string;
  readonly latitudeDegrees: number | null;
  readonly longitudeDegrees: number | null;
  readonly digestTime: string;
  readonly digestWanted: 0 | 1;
  readonly practice: 0 | 1;
  readonly escalateMinutes: number;
  readonly diseaseNoticeAt: string | null;
  readonly diseaseNoticeBy: string | null;
  readonly stillsKeptDays: number;
}

function yardFromColumns(id: string, row: YardColumns): YardRow {
  const { latitudeDegrees, longitudeDegrees, diseaseNoticeAt, diseaseNoticeBy, ...columns } = row;
  const known = latitudeDegrees !== null && longitudeDegrees !== null;
  const at = diseaseNoticeAt === null ? null : instantOf(diseaseNoticeAt);
  return {
    id,
    ...columns,
    diseaseNotice: at === null ? null : { at, by: diseaseNoticeBy ?? "" },
    place: known ? { latitudeDegrees, longitudeDegrees } : null,
    digestWanted: columns.digestWanted === 1,
    practice: columns.practice === 1,
  };
}
