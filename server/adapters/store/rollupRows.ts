import { crc32 } from "node:zlib";
import type Database from "better-sqlite3";
import type { HistoryLevel, HistoryPlan } from "../../domain/history/historyPlan.ts";
import { hoursAndDays, type LevelledRollup } from "../../domain/history/hoursAndDays.ts";
import type { QuarterRollup } from "../../domain/history/quarterChanges.ts";
import { mergeRollups, type Rollup } from "../../domain/history/rollup.ts";
import { dayOf, hourOf } from "../../domain/history/rollupSpans.ts";
import { decodeRollup, encodeRollup } from "../../domain/history/rollupText.ts";
import type { Instant } from "../../domain/instant.ts";
import type { StoredHistory } from "../../ports.ts";

interface RollupRow {
  readonly from: Instant;
  readonly rollup: Buffer;
}

export const spanNumbers = { quarter: 0, hour: 1, day: 2 } as const satisfies Record<HistoryLevel, number>;

export interface RollupReader {
  /** Those of the level that begin within `from` to `to`, in order of time. A damaged row hides no other one. */
  read(feederNo: number, of: Pick<HistoryPlan, "level" | "from" | "to">): Pick<StoredHistory, "rollups" | "damaged">;
}

export function rollupReader(database: Database.Database): RollupReader {
  // A chart may read ten thousand rows: as lists they take three quarters of the time.
  const statement = database
    .prepare<[number, number, number, number], [from: Instant, rollup: Buffer]>(
      `SELECT "from", "rollup" FROM "Rollup" WHERE "feederNo" = ? AND "span" = ? AND "from" >= ? AND "from" < ? ORDER BY "from"`,
    )
    .raw();
  return {
    read(feederNo, { level, from, to }) {
      const rows = statement.all(feederNo, spanNumbers[level], from, to);
      const rollups = rows.flatMap(([from, rollup]) => readRow({ from, rollup }) ?? []);
      return { rollups, damaged: rows.length - rollups.length };
    },
  };
}

/** Null where it is damaged, or holds no octets at all: SQLite stores any type in any column (sqlite.org/datatype3.html). */
function readRow(row: RollupRow): QuarterRollup | null {
  if (!Buffer.isBuffer(row.rollup)) return null;
  try {
    return quarterFrom(row);
  } catch (error) {
    if (error instanceof RangeError) return null;
    throw error;
  }
}

const quarterFrom = ({ from, rollup }: RollupRow): QuarterRollup => ({ from, rollup: rollupFrom(rollup) });

/** Shows a changed octet, which may otherwise read as another number. https://nodejs.org/docs/latest-v20.x/api/zlib.html#zlibcrc32data-value */
const checksumLength = 4;

/** A character of the domain's text is an octet; the checksum of them follows. */
export function octetsOfRollup(rollup: Rollup): Buffer {
  const octets = Buffer.from(`${encodeRollup(rollup)}${" ".repeat(checksumLength)}`, "latin1");
  const end = octets.length - checksumLength;
  octets.writeUInt32LE(crc32(octets.subarray(0, end)), end);
  return octets;
}

/** @throws RangeError where an octet was changed */
function rollupFrom(octets: Buffer): Rollup {
  const end = octets.length - checksumLength;
  if (end < 0 || octets.readUInt32LE(end) !== crc32(octets.subarray(0, end)))
    throw new RangeError(`expected a roll-up with its checksum, got ${octets.toString("hex")}`);
  return decodeRollup(octets.toString("latin1", 0, end));
}

/**
 * Merges a change into the stored roll-up of that span, if there is one. A damaged one stays as it is, and charts say so, until the history is
 * rebuilt: it must not stop the feeder's reports.
 */
export type MergeRollup = (feederNo: number, change: LevelledRollup) => void;

export function rollupMerger(database: Database.Database, table = "Rollup"): MergeRollup {
  const readOne = database
    .prepare<[number, number, number], Buffer>(
      `SELECT "rollup" FROM "${table}" WHERE "feederNo" = ? AND "span" = ? AND "from" = ?`,
    )
    .pluck();
  const replace = database.prepare(
    `INSERT OR REPLACE INTO "${table}" ("feederNo", "span", "from", "rollup") VALUES (?, ?, ?, ?)`,
  );
  return (feederNo, { level, from, rollup }) => {
    const span = spanNumbers[level];
    const stored = readOne.get(feederNo, span, from);
    if (stored === undefined) {
      replace.run(feederNo, span, from, octetsOfRollup(rollup));
      return;
    }
    const known = readRow({ from, rollup: stored });
    if (known !== null) replace.run(feederNo, span, from, octetsOfRollup(mergeRollups(known.rollup, rollup)));
  };
}

/** Merges closed quarters into their rows of each level, in the open transaction. */
export type SaveQuarters = (
  feederNo: number,
  closed: readonly QuarterRollup[],
  zone: { readonly before: string; readonly now: string },
) => void;

/** Another zone has other hours and days, which are made from the quarters. */
export function quarterSaver(database: Database.Database): SaveQuarters {
  const merge = rollupMerger(database);
  const remake = hoursAndDaysMaker(database);
  return (feederNo, closed, { before, now }) => {
    for (const { from, rollup } of closed) {
      merge(feederNo, { level: "quarter", from, rollup });
      if (now !== before) continue;
      merge(feederNo, { level: "hour", from: hourOf(from, now).from, rollup });
      merge(feederNo, { level: "day", from: dayOf(from, now).from, rollup });
    }
    if (now !== before) remake(feederNo, now);
  };
}

function hoursAndDaysMaker(database: Database.Database) {
  const remove = database.prepare(`DELETE FROM "Rollup" WHERE "feederNo" = ? AND "span" > 0`);
  const insert = database.prepare(`INSERT INTO "Rollup" ("feederNo", "span", "from", "rollup") VALUES (?, ?, ?, ?)`);
  const quarters = quarterPages(database);
  return (feederNo: number, zone: string) => {
    remove.run(feederNo);
    for (const { level, from, rollup } of hoursAndDays(quarters(feederNo), zone)) {
      insert.run(feederNo, spanNumbers[level], from, octetsOfRollup(rollup));
    }
  };
}

const quartersAtOnce = 1_000;

/** All quarters of a feeder but damaged ones. Page by page, since a connection can't write while it reads row by row. */
export function quarterPages(database: Database.Database, table = "Rollup") {
  const readPage = database.prepare<[number, number], RollupRow>(
    `SELECT "from", "rollup" FROM "${table}" WHERE "feederNo" = ? AND "span" = 0 AND "from" >= ? ORDER BY "from" LIMIT ${quartersAtOnce}`,
  );
  return function* (feederNo: number): Generator<QuarterRollup> {
    for (let next = Number.MIN_SAFE_INTEGER; ; ) {
      const page = readPage.all(feederNo, next);
      yield* page.flatMap((row) => readRow(row) ?? []);
      const last = page.at(-1);
      if (last === undefined || page.length < quartersAtOnce) return;
      next = last.from + 1;
    }
  };
}
