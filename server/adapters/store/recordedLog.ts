import Database from "better-sqlite3";
import type { Instant } from "../../domain/instant.ts";
import type { RecordedLog, ThinnedState } from "../../ports.ts";
import { createLogReader } from "./logReader.ts";
import { decodeState, snapshotStatements } from "./snapshots.ts";

/** Another thread may have it locked for a moment, as while a removal rewrites the file. */
const lockWaitMilliseconds = 5_000;

/** Feeders' logs over a connection of their own, for a thread that reads beside the server. It sees what is on the disk. */
export function openRecordedLog(databaseFile: string): RecordedLog & { close(): void } {
  const database = new Database(databaseFile, { readonly: true, fileMustExist: true, timeout: lockWaitMilliseconds });
  const log = createLogReader(database);
  const { ofThinned } = snapshotStatements(database);
  const readNumber = database.prepare<[string], number>(`SELECT "no" FROM "Feeder" WHERE "id" = ?`).pluck();
  const readEnd = database
    .prepare<[number, number], Instant>(`SELECT "lastAt" FROM "LogPack" WHERE "feederNo" = ? AND "lastStep" = ?`)
    .pluck();
  const ofNumber = <Result>(feeder: string, read: (feederNo: number) => Result, removed: Result): Result => {
    const feederNo = readNumber.get(feeder);
    return feederNo === undefined ? removed : read(feederNo);
  };
  const thinnedState = (feederNo: number): ThinnedState | null => {
    const stored = ofThinned(feederNo);
    const at = stored === null ? undefined : readEnd.get(feederNo, stored.step);
    return stored === null || at === undefined ? null : { stepped: decodeState(stored.state), step: stored.step, at };
  };
  return {
    lines: async (feeder, after, through, most) => ofNumber(feeder, (no) => log.lines(no, after, through, most), []),
    thinnedUntil: async (feeder) => ofNumber(feeder, (no) => log.thinnedUntil(no), null),
    thinnedState: async (feeder) => ofNumber(feeder, thinnedState, null),
    close: () => void database.close(),
  };
}
