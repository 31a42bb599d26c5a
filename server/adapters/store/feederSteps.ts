import type Database from "better-sqlite3";
import type { Instant } from "../../domain/instant.ts";
import { type DamagedFeeder, type RebuildState, type SavedStep, type SteppedState, StoreBusy } from "../../ports.ts";
import type { FeederMemory, KnownState } from "./feederMemory.ts";
import { createFeederRows, type FeederHead, type FeederRows } from "./feederRows.ts";
import { logWriter } from "./logRows.ts";
import { quarterSaver } from "./rollupRows.ts";
import { textOf } from "./rows.ts";
import { encodeState, slotOfThinned, snapshotStatements, snapshotWriter } from "./snapshots.ts";

/** The steps of feeders in the open transaction, and what of them is to be remembered once it is on the disk. */
export interface FeederSteps {
  /** As they are in the transaction. */
  readonly rows: FeederRows;
  /** @throws StoreBusy where another process has made a step since the feeder was read */
  save(step: SavedStep): void;
  /** @returns false where it is not at that step any more */
  replaceDamaged(
    feeder: Pick<DamagedFeeder, "id" | "revision">,
    by: SteppedState & { readonly lastStepAt: Instant | null },
    now: Instant,
  ): boolean;
  /** A transaction begins: nothing of an earlier attempt counts. */
  begin(): void;
  /** It is part of the database. @returns about how many octets of log lines and states were written */
  committed(): number;
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
  const staging = createStaging(memory);
  const stored = createFeederRows(database, staging.memory, rebuild);
  const { rows, headOf, forgetHeads } = withHeads(stored);
  const { updateHead, rename, writeLine } = stepStatements(database);
  const snapshotIn = snapshotSaver(database);
  const saveQuarters = quarterSaver(database);

  return {
    rows,
    save({ id, revision, state, rollups, closedQuarters, lastReportAt, lastStepAt, nextCheckAt, line, isPlain }) {
      const head = headOf(id);
      const step = revision + 1;
      const moved = updateHead.run(step, lastReportAt, lastStepAt, nextCheckAt, head.no, revision).changes;
      if (moved !== 1) throw new StoreBusy(`another process has changed the feeder ${id}`);
      const before = rows.known(head);
      if (state.settings.name !== head.name) rename.run(state.settings.name, head.no);
      writeLine(head.no, { ...line, step });
      const isDue = !isPlain || step - before.snapshot.step >= stepsBetweenSnapshots;
      const stepped = { state, rollups };
      const snapshot = isDue ? snapshotIn(1 - before.snapshot.slot, head.no, step, stepped) : before.snapshot;
      saveQuarters(head.no, closedQuarters, { before: before.state.settings.zone, now: state.settings.zone });
      staging.add(head.no, { revision: step, ...stepped, snapshot }, octetsOf(line.content));
    },

    replaceDamaged: damagedReplacer(database, { rows, updateHead, snapshotIn, staging }),

    begin() {
      staging.clear();
      forgetHeads();
    },
    committed: staging.commit,
    saveSnapshots: () => saveAhead(memory, rows, snapshotIn),
  };
}

/** A feeder that is read in the transaction is usually saved in it too: its head is then looked up once. */
function withHeads(stored: FeederRows) {
  const heads = new Map<string, FeederHead>();
  const rows: FeederRows = {
    ...stored,
    one(id) {
      const head = stored.find(id);
      if (head === null) return null;
      heads.set(id, head);
      return stored.rowOf(head);
    },
  };
  return {
    rows,
    /** Only for one step: afterwards its name may be another. */
    headOf(id: string): FeederHead {
      const head = heads.get(id);
      heads.delete(id);
      return head ?? stored.head(id);
    },
    forgetHeads: () => heads.clear(),
  };
}

const octetsOf = (content: SavedStep["line"]["content"]): number =>
  content.kind === "report" ? content.events.length + (content.readings?.length ?? 0) : 0;

function saveAhead(memory: FeederMemory, rows: FeederRows, snapshotIn: ReturnType<typeof snapshotSaver>): void {
  for (const [feederNo, known] of memory.entries()) {
    if (isAhead(known) && rows.revision(feederNo) === known.revision)
      snapshotIn(1 - known.snapshot.slot, feederNo, known.revision, known);
  }
}

const isAhead = ({ revision, snapshot }: KnownState): boolean => snapshot.step < revision;

const stepStatements = (database: Database.Database) => ({
  updateHead: database.prepare(
    `UPDATE "FeederHead" SET "revision" = ?, "lastReportAt" = ?, "lastStepAt" = ?, "nextCheckAt" = ?
     WHERE "feederNo" = ? AND "revision" = ?`,
  ),
  rename: database.prepare(`UPDATE "Feeder" SET "name" = ? WHERE "no" = ?`),
  writeLine: logWriter(database),
});

function snapshotSaver(database: Database.Database) {
  const write = snapshotWriter(database);
  return (slot: number, feederNo: number, step: number, stepped: SteppedState): KnownState["snapshot"] => {
    write(feederNo, { slot, step, state: encodeState(stepped) });
    return { slot, step };
  };
}

interface ReplacingParts extends Pick<ReturnType<typeof stepStatements>, "updateHead"> {
  readonly rows: FeederRows;
  readonly snapshotIn: ReturnType<typeof snapshotSaver>;
  readonly staging: ReturnType<typeof createStaging>;
}

/** Puts the newest snapshot, which is damaged, aside, and removes both. */
function damagedReplacer(database: Database.Database, parts: ReplacingParts): FeederSteps["replaceDamaged"] {
  const { rows, updateHead, snapshotIn, staging } = parts;
  const snapshots = snapshotStatements(database);
  const markRebuilt = database.prepare(`UPDATE "Feeder" SET "damagedState" = ?, "rebuiltAt" = ? WHERE "no" = ?`);
  const deleteSnapshots = database.prepare(`DELETE FROM "Snapshot" WHERE "feederNo" = ? AND "slot" < ${slotOfThinned}`);
  return ({ id, revision }, { state, rollups, lastStepAt }, now) => {
    const head = rows.head(id);
    const step = revision + 1;
    if (updateHead.run(step, head.lastReportAt, lastStepAt, now, head.no, revision).changes !== 1) return false;
    const [newest] = snapshots.newestFirst(head.no);
    markRebuilt.run(newest?.state ?? Buffer.alloc(0), textOf(now), head.no);
    deleteSnapshots.run(head.no);
    const stepped = { state, rollups };
    staging.add(head.no, { revision: step, ...stepped, snapshot: snapshotIn(0, head.no, step, stepped) }, 0);
    return true;
  };
}

/** What the transaction has written comes first; it gets into the memory only with the commit. */
function createStaging(memory: FeederMemory) {
  const staged = new Map<number, KnownState>();
  let octets = 0;
  return {
    memory: {
      get(feederNo: number, revision: number) {
        const known = staged.get(feederNo);
        return known?.revision === revision ? known : memory.get(feederNo, revision);
      },
      set: (feederNo: number, known: KnownState) => memory.set(feederNo, known),
    } satisfies Pick<FeederMemory, "get" | "set">,
    /** @param written in the log */
    add(feederNo: number, known: KnownState, written: number) {
      staged.set(feederNo, known);
      octets += written;
    },
    clear() {
      staged.clear();
      octets = 0;
    },
    /** @returns how many octets were written in the log */
    commit() {
      for (const [feederNo, known] of staged) memory.set(feederNo, known);
      staged.clear();
      return octets;
    },
  };
}
