import type Database from "better-sqlite3";
import { before, days, type Instant } from "../../domain/instant.ts";
import type { LogPacking } from "../../ports.ts";
import { columnList, type LogRow } from "./logRows.ts";
import type { Connections } from "./openStore.ts";
import { type Pack, packRows } from "./packFormat.ts";
import { slotOfThinned } from "./snapshots.ts";
import { createThinning } from "./thinning.ts";

/**
 * Packs the lines of days that are over, a UTC day of a feeder in one row. Nothing but the log as a whole needs them: rebuilding a state
 * begins at the older one of its snapshots, so lines from there on stay.
 *
 * Reading and deflating happen outside of the transaction, since a line never changes once it is written. A crash between leaves the lines
 * as they are: pack and removal are one commit.
 */
export const createLogPacking = (connections: Connections): LogPacking => ({
  packNext: packer(connections),
  thinNext: createThinning(connections),
  shrink: shrinker(connections),
});

const dayMs = days(1);
const startOfDay = (at: number): number => at - (at % dayMs);

/** A longer day becomes several packs. Characters of readings and events. */
const packLengthMax = 2_000_000;

interface DueDay {
  readonly feederNo: number;
  readonly firstStep: number;
  readonly firstAt: number;
  /** The older snapshot's. */
  readonly keptFrom: number;
}

function packer({ direct, directReading, transact }: Connections): LogPacking["packNext"] {
  const readDue = dueDays(directReading);
  const readRows = rowsOfDay(directReading);
  const statements = packWriter(direct);
  return async (now) => {
    const due = readDue(now);
    if (due === null) return false;
    const rows = await readRows(due);
    const pack = await packRows(rows);
    return transact(async () => {
      if (!statements.exists(due.feederNo)) return false; // it was removed meanwhile
      statements.insert(due.feederNo, pack);
      const removed = statements.removeLines(due.feederNo, pack);
      if (removed !== rows.length) throw new Error(`expected to pack ${rows.length} lines, got ${removed}`);
      return true;
    });
  };
}

/**
 * The oldest day that has been over for a day, with all its lines before those that must stay; null: none. A day in the future is one
 * that a wrong clock gave, and is over too.
 */
function dueDays(reading: Database.Database) {
  const statement = reading.prepare<{ day: number; endedBefore: number; future: number }, DueDay>(
    `WITH "Kept" AS (SELECT "feederNo", MIN("step") AS "keptFrom" FROM "Snapshot" WHERE "slot" < ${slotOfThinned} GROUP BY "feederNo"),
     "First" AS (
       SELECT "feederNo", "keptFrom",
         (SELECT "step" FROM "LogLine" l WHERE l."feederNo" = "Kept"."feederNo" ORDER BY "step" LIMIT 1) AS "firstStep",
         (SELECT "at" FROM "LogLine" l WHERE l."feederNo" = "Kept"."feederNo" ORDER BY "step" LIMIT 1) AS "firstAt",
         (SELECT "at" FROM "LogLine" l WHERE l."feederNo" = "Kept"."feederNo" AND "step" >= "keptFrom" ORDER BY "step" LIMIT 1) AS "keptAt"
       FROM "Kept")
     SELECT "feederNo", "firstStep", "firstAt", "keptFrom" FROM "First"
     WHERE "firstStep" < "keptFrom" AND ("firstAt" < :endedBefore OR "firstAt" >= :future) AND "firstAt" / :day <> "keptAt" / :day
     ORDER BY "firstAt" LIMIT 1`,
  );
  return (now: Instant): DueDay | null => {
    const endedBefore = startOfDay(before(now, dayMs));
    return statement.get({ day: dayMs, endedBefore, future: startOfDay(now) + 2 * dayMs }) ?? null;
  };
}

/** So many lines are read at once, so that the event loop is free between. */
const rowsAtOnce = 200;

function rowsOfDay(reading: Database.Database) {
  const statement = reading.prepare<[number, number, number], LogRow>(
    `SELECT ${columnList} FROM "LogLine" WHERE "feederNo" = ? AND "step" >= ? AND "step" < ? ORDER BY "step" LIMIT ${rowsAtOnce}`,
  );
  return async ({ feederNo, firstStep, firstAt, keptFrom }: DueDay): Promise<readonly LogRow[]> => {
    const rows: LogRow[] = [];
    const day = startOfDay(firstAt);
    let length = 0;
    for (let from = firstStep; ; ) {
      const page = statement.all(feederNo, from, keptFrom);
      for (const row of page) {
        length += (row.events?.length ?? 0) + (row.readings?.length ?? 0);
        if (startOfDay(row.at) !== day || (rows.length > 0 && length > packLengthMax)) return rows;
        rows.push(row);
      }
      if (page.length < rowsAtOnce) return rows;
      from = (page.at(-1) as LogRow).step + 1;
      await nextEventLoopTurn();
    }
  };
}

const nextEventLoopTurn = () => new Promise<void>((resolve) => setImmediate(resolve));

function packWriter(direct: Database.Database) {
  const insert = direct.prepare(
    `INSERT INTO "LogPack" ("feederNo", "firstStep", "lastStep", "firstAt", "lastAt", "firstEventAt", "lastEventAt", "boots", "lines", "readings")
     VALUES (:feederNo, :firstStep, :lastStep, :firstAt, :lastAt, :firstEventAt, :lastEventAt, :boots, :lines, :readings)`,
  );
  const removeLines = direct.prepare(`DELETE FROM "LogLine" WHERE "feederNo" = ? AND "step" >= ? AND "step" <= ?`);
  const readFeeder = direct.prepare<[number], number>(`SELECT "no" FROM "Feeder" WHERE "no" = ?`).pluck();
  return {
    exists: (feederNo: number) => readFeeder.get(feederNo) !== undefined,
    insert: (feederNo: number, pack: Pack) => insert.run({ feederNo, ...pack }),
    /** @returns how many there were */
    removeLines: (feederNo: number, { firstStep, lastStep }: Pack) =>
      removeLines.run(feederNo, firstStep, lastStep).changes,
  };
}

/**
 * A day's lines take the room of those that were packed before. So a part of the file may be free: giving it back each day, only for the
 * file to grow again, would wear a memory card for nothing.
 */
const freePartMax = 0.1;
const pagesAtOnce = 200;

function shrinker({ direct, transact }: Connections): LogPacking["shrink"] {
  const pages = (name: "freelist_count" | "page_count") => direct.pragma(name, { simple: true }) as number;
  return () =>
    transact(async () => {
      const free = pages("freelist_count");
      if (free <= freePartMax * pages("page_count")) return false;
      // https://www.sqlite.org/pragma.html#pragma_incremental_vacuum
      direct.exec(`PRAGMA incremental_vacuum(${pagesAtOnce})`);
      return pages("freelist_count") < free;
    });
}
