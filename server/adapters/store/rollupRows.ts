import type Database from "better-sqlite3";
import type { HistoryLevel } from "../../domain/history/historyPlan.ts";
import type { QuarterRollup } from "../../domain/history/quarterChanges.ts";
import { mergeRollups } from "../../domain/history/rollup.ts";
import { decodeRollup, encodeRollup } from "../../domain/history/rollupText.ts";
import type { Instant } from "../../domain/instant.ts";

interface RollupRow {
  readonly from: Instant;
  readonly rollup: string;
}

const spanNumbers = { quarter: 0, hour: 1, day: 2 } as const satisfies Record<HistoryLevel, number>;

/** @returns those that begin within `from` to `to`, in order of time */
export type ReadRollups = (
  feederNo: number,
  level: HistoryLevel,
  from: Instant,
  to: Instant,
) => readonly QuarterRollup[];

export function rollupReader(database: Database.Database): ReadRollups {
  const read = database.prepare<[number, number, number, number], RollupRow>(
    `SELECT "from", "rollup" FROM "Rollup" WHERE "feederNo" = ? AND "span" = ? AND "from" >= ? AND "from" < ? ORDER BY "from"`,
  );
  return (feederNo, level, from, to) =>
    read
      .all(feederNo, spanNumbers[level], from, to)
      .map((row) => ({ from: row.from, rollup: decodeRollup(row.rollup) }));
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
