import type Database from "better-sqlite3";
import type { FeederState } from "../../domain/feeder.ts";
import type { Instant } from "../../domain/instant.ts";
import { type DamagedFeeder, type RebuildState, type SavedStep, StoreBusy } from "../../ports.ts";
import type { FeederMemory, KnownState } from "./feederMemory.ts";
import { createFeederRows, type FeederRows } from "./feederRows.ts";
import { logWriter } from "./logRows.ts";
import { textOf } from "./rows.ts";
import { encodeState, snapshotStatements, snapshotWriter } from "./snapshots.ts";

/** The steps of feeders in the open transaction, and what of them is to be remembered once it is on the disk. */
export interface FeederSteps {
  /** As they are in the transaction. */
  readonly rows: FeederRows;
  /** @throws StoreBusy where another process has made a step since the feeder was read */
  save(step: SavedStep): void;
  /** @returns false where it is not at that step any more */
  replaceDamaged(
    feeder: Pick<DamagedFeeder, "id" | "revision">,
    by: { readonly state: FeederState; readonly lastStepAt: Instant | null },
    now: Instant,
  ): boolean;
  /** A transaction begins: nothing of an earlier attempt counts. */
  begin(): void;
  /** It is on the disk. */
  committed(): void;
  /** Writes a snapshot of each state in memory that the log is ahead of, so that the next start needs no log. */
  saveSnapshots(): void;
}

/** So many steps are taken again at most when a state is read from the disk; each takes some 50 µs. */
const stepsBetweenSnapshots = 64;

export function createFeederSteps(
  database: Database.Database,
  memory: FeederMemory,
  rebuild: RebuildState,
): FeederSteps {
  const staged = new Map<number, KnownState>();
  const view = stagedMemory(memory, staged);
  const rows = createFeederRows(database, view, rebuild);
  const writeLine = logWriter(database);
  const writeSnapshot = snapshotWriter(database);
  const snapshots = snapshotStatements(database);
  const updateHead = database.prepare(
    `UPDATE "FeederHead" SET "revision" = ?, "lastReportAt" = ?, "lastStepAt" = ?, "nextCheckAt" = ?
     WHERE "feederNo" = ? AND "revision" = ?`,
  );
  const rename = database.prepare(`UPDATE "Feeder" SET "name" = ? WHERE "no" = ?`);
  const markRebuilt = database.prepare(`UPDATE "Feeder" SET "damagedState" = ?, "rebuiltAt" = ? WHERE "no" = ?`);
  const deleteSnapshots = database.prepare(`DELETE FROM "Snapshot" WHERE "feederNo" = ?`);
  const readRevision = database
    .prepare<[number], number>(`SELECT "revision" FROM "FeederHead" WHERE "feederNo" = ?`)
    .pluck();

  const snapshotIn = (slot: number, feederNo: number, step: number, state: FeederState) => {
    writeSnapshot(feederNo, { slot, step, state: encodeState(state) });
    return { slot, step };
  };

  return {
    rows,
    save({ id, revision, state, lastReportAt, lastStepAt, nextCheckAt, line, isPlain }) {
      const head = rows.head(id);
      const step = revision + 1;
      const moved = updateHead.run(step, lastReportAt, lastStepAt, nextCheckAt, head.no, revision).changes;
      if (moved !== 1) throw new StoreBusy(`another process has changed the feeder ${id}`);
      const before = rows.known(head);
      if (state.settings.name !== head.name) rename.run(state.settings.name, head.no);
      writeLine(head.no, { ...line, step });
      const isDue = !isPlain || step - before.snapshot.step >= stepsBetweenSnapshots;
      const snapshot = isDue ? snapshotIn(1 - before.snapshot.slot, head.no, step, state) : before.snapshot;
      staged.set(head.no, { revision: step, state, snapshot });
    },

    replaceDamaged({ id, revision }, { state, lastStepAt }, now) {
      const head = rows.head(id);
      const [newest] = snapshots.newestFirst(head.no);
      const step = revision + 1;
      if (updateHead.run(step, head.lastReportAt, lastStepAt, now, head.no, revision).changes !== 1) return false;
      markRebuilt.run(newest?.state ?? Buffer.alloc(0), textOf(now), head.no);
      deleteSnapshots.run(head.no);
      staged.set(head.no, { revision: step, state, snapshot: snapshotIn(0, head.no, step, state) });
      return true;
    },

    begin: () => staged.clear(),
    committed() {
      for (const [feederNo, known] of staged) memory.set(feederNo, known);
      staged.clear();
    },

    saveSnapshots() {
      for (const [feederNo, { revision, state, snapshot }] of memory.entries()) {
        if (snapshot.step < revision && readRevision.get(feederNo) === revision)
          snapshotIn(1 - snapshot.slot, feederNo, revision, state);
      }
    },
  };
}

/** What the transaction has written comes first; it gets into the memory only with the commit. */
const stagedMemory = (
  memory: FeederMemory,
  staged: ReadonlyMap<number, KnownState>,
): Pick<FeederMemory, "get" | "set"> => ({
  get(feederNo, revision) {
    const known = staged.get(feederNo);
    return known?.revision === revision ? known : memory.get(feederNo, revision);
  },
  set: (feederNo, known) => memory.set(feederNo, known),
});
