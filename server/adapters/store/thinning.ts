import type Database from "better-sqlite3";
import type { LogPacking, RebuildState, SteppedState } from "../../ports.ts";
import { type LogRow, logLineOf } from "./logRows.ts";
import type { Connections } from "./openStore.ts";
import { packLines, unpackLines, unpackReadings } from "./packFormat.ts";
import { decodeState, encodeState, slotOfThinned, snapshotStatements, snapshotWriter } from "./snapshots.ts";

/**
 * Events and what keepers did stay for ever. What only judged the moment goes: readings, reports without events, and checks. Before they
 * go, they lead the feeder's state on to the end of that day, so that everything after it can still be made again, exactly.
 */
export function createThinning({ direct, directReading, transact, rebuild }: Connections): LogPacking["thinNext"] {
  const readNext = directReading.prepare<[number], ThickPack>(
    `SELECT "feederNo", "firstStep", "lastStep", "lines", "readings" FROM "LogPack"
     WHERE "thinned" = 0 AND "lastAt" < ? ORDER BY "lastAt" LIMIT 1`,
  );
  const thin = direct.prepare(
    `UPDATE "LogPack" SET "thinned" = 1, "lines" = ?, "readings" = NULL WHERE "feederNo" = ? AND "firstStep" = ? AND "thinned" = 0`,
  );
  const readState = stateBefore(directReading);
  const writeSnapshot = snapshotWriter(direct);
  return async (rawUntil) => {
    const pack = readNext.get(rawUntil);
    if (pack === undefined) return false;
    const { feederNo, firstStep, lastStep } = pack;
    const rows = rowsOf(pack);
    const before = rows === null ? "unknown" : readState(pack);
    const after = rows === null || before === "unknown" ? null : await stateAfter(rebuild, before, rows);
    const lines = rows === null ? pack.lines : await packLines(rows.filter(staysForEver));
    await transact(async () => {
      if (thin.run(lines, feederNo, firstStep).changes === 0 || after === null) return;
      writeSnapshot(feederNo, { slot: slotOfThinned, step: lastStep, state: encodeState(after) });
    });
    return true;
  };
}

interface ThickPack {
  readonly feederNo: number;
  readonly firstStep: number;
  readonly lastStep: number;
  readonly lines: Buffer;
  readonly readings: Buffer | null;
}

/** Null: a damaged pack stays as it is, but for its readings, so that no other waits for it. Whoever reads it is told. */
function rowsOf({ lines, readings }: ThickPack): readonly LogRow[] | null {
  try {
    const ofEach = readings === null ? [] : unpackReadings(readings);
    return unpackLines(lines).map((row, index) => ({ ...row, readings: ofEach[index] ?? null }));
  } catch {
    return null;
  }
}

const staysForEver = ({ entry, firstEventAt }: LogRow): boolean => entry !== null || firstEventAt !== null;

/** The state at the end of the packs before this one; null before the first; unknown where one between is not thinned. */
function stateBefore(reading: Database.Database) {
  const { ofThinned } = snapshotStatements(reading);
  const readBetween = reading.prepare<[number, number, number]>(
    `SELECT 1 FROM "LogPack" WHERE "feederNo" = ? AND "firstStep" > ? AND "firstStep" < ? AND NOT "thinned"`,
  );
  return ({ feederNo, firstStep }: ThickPack): SteppedState | null | "unknown" => {
    const stored = ofThinned(feederNo);
    if (readBetween.get(feederNo, stored?.step ?? -1, firstStep) !== undefined) return "unknown";
    if (stored === null) return firstStep === 0 ? null : "unknown";
    if (stored.step >= firstStep) return "unknown";
    try {
      return decodeState(stored.state);
    } catch {
      return "unknown";
    }
  };
}

const linesAtOnce = 100; // some 10 ms of the event loop

/** A line that this version can't take is left out. */
async function stateAfter(
  rebuild: RebuildState,
  before: SteppedState | null,
  rows: readonly LogRow[],
): Promise<SteppedState | null> {
  let stepped = before;
  for (const [index, row] of rows.entries()) {
    try {
      stepped = rebuild(stepped, [logLineOf(row)]);
    } catch (error) {
      process.emitWarning(`step ${row.step} of a log could not be taken before its day was thinned: ${error}`);
    }
    if (index % linesAtOnce === linesAtOnce - 1) await new Promise<void>((resolve) => setImmediate(resolve));
  }
  return stepped;
}
