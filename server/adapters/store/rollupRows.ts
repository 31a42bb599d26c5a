import type Database from "better-sqlite3";
import type { HistoryLevel, HistoryPlan } from "../../domain/history/historyPlan.ts";
import type { QuarterRollup } from "../../domain/history/quarterChanges.ts";
import { mergeRollups } from "../../domain/history/rollup.ts";
import { decodeRollup, encodeRollup } from "../../domain/history/rollupText.ts";
import type { Instant } from "../../domain/instant.ts";
import type { StoredHistory } from "../../ports.ts";

interface RollupRow {
  readonly from: Instant;
  readonly rollup: unknown; // SQLite stores any type in any column (sqlite.org/datatype3.html)
}

const spanNumbers = { quarter: 0, hour: 1, day: 2 } as const satisfies Record<HistoryLevel, number>;

export interface RollupReader {
  /** Those of the level that begin within `from` to `to`, in order of time. A damaged row hides no other one. */
  read(feederNo: number, of: Pick<HistoryPlan, "level" | "from" | "to">): Pick<StoredHistory, "rollups" | "damaged">;
}

export function rollupReader(database: Database.Database): RollupReader {
  const statement = database.prepare<[number, number, number, number], RollupRow>(
    `SELECT "from", "rollup" FROM "Rollup" WHERE "feederNo" = ? AND "span" = ? AND "from" >= ? AND "from" < ? ORDER BY "from"`,
  );
  return {
    read(feederNo, { level, from, to }) {
      const rows = statement.all(feederNo, spanNumbers[level], from, to);
      const rollups = rows.flatMap((row) => readRow(row) ?? []);
      return { rollups, damaged: rows.length - rollups.length };
    },
  };
}

/** Null where the row is none that we wrote: its text is damaged, or is no text at all. */
function readRow({ from, rollup }: RollupRow): QuarterRollup | null {
  if (typeof rollup !== "string") return null;
  try {
    return { from, rollup: decodeRollup(rollup) };
  } catch (error) {
    if (error instanceof RangeError) return null;
    throw error;
  }
}

/** Merges a change into the stored roll-up of that span, if there is one. */
export type MergeRollup = (feederNo: number, level: HistoryLevel, change: QuarterRollup) => void;

export function rollupMerger(database: Database.Database): MergeRollup {
  const readOne = database
    .prepare<[number, number, number], string>(
      `SELECT "rollup" FROM "Rollup" WHERE "feederNo" = ? AND "span" = ? AND "from" = ?`,
    )
    .pluck();
  const replace = database.prepare(
    `INSERT OR REPLACE INTO "Rollup" ("feederNo", "span", "from", "rollup") VALUES (?, ?, ?, ?)`,
  );
  return (feederNo, level, { from, rollup }) => {
    const span = spanNumbers[level];
    const stored = readOne.get(feederNo, span, from);
    const merged = stored === undefined ? rollup : mergeRollups(decodeRollup(stored), rollup);
    replace.run(feederNo, span, from, encodeRollup(merged));
  };
}
