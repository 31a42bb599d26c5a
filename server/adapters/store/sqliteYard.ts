import type Database from "better-sqlite3";
import type { Transaction, YardRow } from "../../ports.ts";
import { textOf } from "./rows.ts";

/** A yard's own row, changed in the plain SQL of `statementsFor`, so that its feeders can change in the same commit. */
export function createYardChange(database: Database.Database): Transaction["changeYard"] {
  const read = database.prepare<[string], YardColumns>(
    `SELECT "name", "zone", "latitudeDegrees", "longitudeDegrees", "digestTime", "digestWanted", "practice", "escalateMinutes"
     FROM "Yard" WHERE "id" = ?`,
  );
  const update = database.prepare(
    `UPDATE "Yard" SET "name" = @name, "zone" = @zone, "latitudeDegrees" = @latitudeDegrees,
       "longitudeDegrees" = @longitudeDegrees, "digestTime" = @digestTime, "digestWanted" = @digestWanted,
       "escalateMinutes" = @escalateMinutes
     WHERE "id" = @id`,
  );
  const hasten = database.prepare(`UPDATE "Call" SET "nextAt" = ? WHERE "yardId" = ?`);

  return async (id, changes, now) => {
    const found = read.get(id);
    if (!found) return null;
    const yard: YardRow = { ...yardFromColumns(id, found), ...changes };
    const { place, digestWanted, practice, ...rest } = yard;
    update.run({
      ...rest,
      latitudeDegrees: place?.latitudeDegrees ?? null,
      longitudeDegrees: place?.longitudeDegrees ?? null,
      digestWanted: digestWanted ? 1 : 0,
    });
    hasten.run(textOf(now), id);
    return yard;
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
}

function yardFromColumns(id: string, { latitudeDegrees, longitudeDegrees, ...columns }: YardColumns): YardRow {
  const known = latitudeDegrees !== null && longitudeDegrees !== null;
  return {
    id,
    ...columns,
    place: known ? { latitudeDegrees, longitudeDegrees } : null,
    digestWanted: columns.digestWanted === 1,
    practice: columns.practice === 1,
  };
}
