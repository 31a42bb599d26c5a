import type Database from "better-sqlite3";
import { hoursAndDays } from "../../domain/history/hoursAndDays.ts";
import type { QuarterRollup } from "../../domain/history/quarterChanges.ts";
import { dayOf, quarterOf } from "../../domain/history/rollupSpans.ts";
import { firstOpenQuarter } from "../../domain/history/rollups.ts";
import type { Instant } from "../../domain/instant.ts";
import {
  type DamagedLines,
  type LogLine,
  PackDamaged,
  type RebuiltRollups,
  type RollupStore,
  type SteppedState,
} from "../../ports.ts";
import type { FeederHead } from "./feederRows.ts";
import type { Connections } from "./openStore.ts";
import { octetsOfRollup, quarterPages, rollupMerger, spanNumbers } from "./rollupRows.ts";
import { decodeState, snapshotStatements } from "./snapshots.ts";

/**
 * Makes a feeder's roll-ups from its log, beside those that are stored, and then replaces the stored ones that differ. The log is read
 * page by page, and what is made of it lies in a table, so that ten years need no more memory than a day. Quarters stay as they are
 * where their readings are gone, or their part of the log can't be read.
 */
export function createRollupStore(connections: Connections): RollupStore {
  const { direct, transact, feeders } = connections;
  return {
    rebuild: (feeder) =>
      transact(async () => {
        const head = feeders().head(feeder);
        direct.exec(makeTable);
        try {
          return remakeRollups(connections, head, feeders().known(head).state.settings.zone);
        } finally {
          direct.exec(`DROP TABLE temp."${table}"`);
        }
      }),
  };
}

function remakeRollups(connections: Connections, head: FeederHead, zone: string): RebuiltRollups {
  const { direct } = connections;
  const begin = beginOf(direct, head.no);
  const lost = remakeQuarters(connections, head, begin);
  const thinned = thinnedAfter(direct, head.no, begin.step);
  // The first day's hours need its earlier quarters.
  const from = begin.from === null ? earliest : dayOf(begin.from, zone).from;
  const before = begin.from === null ? [] : [{ firstAt: from, lastAt: (begin.from - 1) as Instant }];
  keepStored(direct, head.no, [...before, ...thinned, ...lost.unreadable]);
  remakeHoursAndDays(direct, head.no, zone);
  return { ...replaceDifferent(direct, head.no, from), from: begin.from, ...lost };
}

const earliest = Number.MIN_SAFE_INTEGER as Instant;
const table = "RebuiltRollup";
const makeTable = `CREATE TEMP TABLE "${table}" ("feederNo" INTEGER NOT NULL, "span" INTEGER NOT NULL, "from" BIGINT NOT NULL,
  "rollup" BLOB NOT NULL, PRIMARY KEY ("feederNo", "span", "from")) WITHOUT ROWID`;

interface Span {
  readonly firstAt: Instant;
  readonly lastAt: Instant;
}

// --- where to begin ------------------------------------------------------------------------------------------------

/** The steps after `step` are taken, from `stepped`; `from`: the first quarter of which they tell all. Null: all from the first line. */
interface Begin {
  readonly step: number;
  readonly stepped: SteppedState | null;
  readonly from: Instant | null;
}

function beginOf(direct: Database.Database, feederNo: number): Begin {
  const stored = snapshotStatements(direct).ofThinned(feederNo);
  const lastAt = direct
    .prepare<[number, number | undefined], Instant>(
      `SELECT "lastAt" FROM "LogPack" WHERE "feederNo" = ? AND "lastStep" = ?`,
    )
    .pluck()
    .get(feederNo, stored?.step);
  if (stored === null || lastAt === undefined) return { step: -1, stepped: null, from: null };
  return { step: stored.step, stepped: decodeState(stored.state), from: firstOpenQuarter(lastAt) };
}

function thinnedAfter(direct: Database.Database, feederNo: number, step: number): readonly Span[] {
  return direct
    .prepare<[number, number], Span>(
      `SELECT "firstAt", "lastAt" FROM "LogPack" WHERE "feederNo" = ? AND "firstStep" > ? AND "thinned"`,
    )
    .all(feederNo, step);
}

// --- quarters ------------------------------------------------------------------------------------------------------

const linesAtOnce = 500;

type Lost = Pick<RebuiltRollups, "unreadable" | "linesLeftOut">;

function remakeQuarters({ direct, log, rebuild }: Connections, head: FeederHead, begin: Begin): Lost {
  const merge = rollupMerger(direct, table);
  const save = (closed: readonly QuarterRollup[]) => {
    for (const { from, rollup } of closed) {
      if (begin.from === null || from >= begin.from) merge(head.no, { level: "quarter", from, rollup });
    }
  };
  const unreadable: DamagedLines[] = [];
  let [stepped, linesLeftOut] = [begin.stepped, 0];
  for (let last = begin.step; last < head.revision; ) {
    const page = pageAfter(() => log().lines(head.no, last, head.revision, linesAtOnce));
    if ("damaged" in page) {
      unreadable.push(page.damaged);
      last = page.damaged.lastStep;
      continue;
    }
    for (const line of page.lines) {
      const next = stepUnlessWrong(() => rebuild(stepped, [line], save));
      if (next === null) linesLeftOut += 1;
      else stepped = next;
    }
    last = page.lines.at(-1)?.step ?? head.revision;
  }
  return { unreadable, linesLeftOut };
}

type Page = { readonly lines: readonly LogLine[] } | { readonly damaged: DamagedLines };

function pageAfter(read: () => readonly LogLine[]): Page {
  try {
    return { lines: read() };
  } catch (error) {
    if (!(error instanceof PackDamaged)) throw error;
    return { damaged: error.lines };
  }
}

function stepUnlessWrong(step: () => SteppedState): SteppedState | null {
  try {
    return step();
  } catch {
    return null; // counted, and told by the command
  }
}

/** Quarters of these spans are as they are stored. */
function keepStored(direct: Database.Database, feederNo: number, spans: readonly Span[]): void {
  const within = `"feederNo" = ? AND "span" = 0 AND "from" >= ? AND "from" <= ?`;
  const remove = direct.prepare(`DELETE FROM temp."${table}" WHERE ${within}`);
  const copy = direct.prepare(`INSERT OR REPLACE INTO temp."${table}" SELECT * FROM main."Rollup" WHERE ${within}`);
  for (const { firstAt, lastAt } of spans) {
    const first = quarterOf(firstAt).from;
    remove.run(feederNo, first, lastAt);
    copy.run(feederNo, first, lastAt);
  }
}

// --- hours, days, and what differs ---------------------------------------------------------------------------------

function remakeHoursAndDays(direct: Database.Database, feederNo: number, zone: string): void {
  const insert = direct.prepare(`INSERT INTO temp."${table}" VALUES (?, ?, ?, ?)`);
  for (const { level, from, rollup } of hoursAndDays(quarterPages(direct, table)(feederNo), zone)) {
    insert.run(feederNo, spanNumbers[level], from, octetsOfRollup(rollup));
  }
}

function replaceDifferent(direct: Database.Database, feederNo: number, from: number) {
  const remove = direct.prepare(
    `DELETE FROM main."Rollup" WHERE "feederNo" = ? AND "from" >= ? AND ("span", "from") NOT IN (SELECT "span", "from" FROM temp."${table}")`,
  );
  const replace = direct.prepare(
    `INSERT OR REPLACE INTO main."Rollup" SELECT * FROM temp."${table}" EXCEPT SELECT * FROM main."Rollup" WHERE "feederNo" = ?`,
  );
  const rows = direct.prepare<[], number>(`SELECT COUNT(*) FROM temp."${table}"`).pluck().get() ?? 0;
  return { rows, changed: remove.run(feederNo, from).changes + replace.run(feederNo).changes };
}
