import type Database from "better-sqlite3";
import { type Instant, instantOf } from "../../domain/instant.ts";
import { type DamagedFeeder, FeederDamaged, type FeederRow, type RebuildState, StoreDamaged } from "../../ports.ts";
import type { FeederMemory, KnownState } from "./feederMemory.ts";
import { createLogReader } from "./logReader.ts";
import { decodeState, snapshotStatements } from "./snapshots.ts";
import { translateStoreError } from "./storeErrors.ts";

/**
 * Feeders with their present states: from memory, or else from the latest snapshot that can be used and the log after it.
 * One for each connection, all with the same memory. Where it is given `recordProblem`, a feeder of which a page of the database is
 * damaged counts as damaged, so that pages which show all feeders can still be made; a write must fail there.
 */
export interface FeederRows {
  /** @throws FeederDamaged; null: there is no such feeder */
  one(id: string): FeederRow | null;
  /** Those of a yard (null: of all) whose state can be used, in the order in which they were added. */
  usable(yard: string | null): readonly FeederRow[];
  /** Other work goes on meanwhile: after a power cut each feeder's state has to be rebuilt first. */
  damaged(): Promise<readonly DamagedFeeder[]>;
  /** Those that are due for a periodic check, the longest overdue first. */
  dueForCheck(now: Instant, most: number): readonly string[];
  /** The key of its log; 0, which belongs to no feeder, where there is none. */
  number(id: string): number;
  /** Of its last step; null: there is no such feeder. */
  revision(feederNo: number): number | null;
  find(id: string): FeederHead | null;
  /** @throws where there is no such feeder */
  head(id: string): FeederHead;
  /** @throws FeederDamaged */
  rowOf(head: FeederHead): FeederRow;
  /** @throws FeederDamaged */
  known(head: FeederHead): KnownState;
}

export interface FeederHead {
  readonly no: number;
  readonly id: string;
  readonly yardId: string;
  readonly name: string;
  readonly practice: 0 | 1;
  readonly createdAt: string;
  readonly rebuiltAt: string | null;
  readonly revision: number;
  readonly lastReportAt: Instant | null;
  readonly lastStepAt: Instant | null;
}

const select = `SELECT "no", "id", "yardId", "name", "practice", "createdAt", "rebuiltAt", "revision", "lastReportAt", "lastStepAt"
  FROM "Feeder" JOIN "FeederHead" ON "feederNo" = "no"`;
const inOrder = `ORDER BY "createdAt", "id"`;

const headStatements = (database: Database.Database) => ({
  readRevision: database.prepare<[number], number>(`SELECT "revision" FROM "FeederHead" WHERE "feederNo" = ?`).pluck(),
  readOne: database.prepare<[string], FeederHead>(`${select} WHERE "id" = ?`),
  readYard: database.prepare<[string], FeederHead>(`${select} WHERE "yardId" = ? ${inOrder}`),
  readAll: database.prepare<[], FeederHead>(`${select} ${inOrder}`),
  // All heads fill a few pages, so that an index would cost each step more than it saves.
  readDue: database
    .prepare<[number, number], string>(
      `SELECT "id" FROM "FeederHead" JOIN "Feeder" ON "no" = "feederNo" WHERE "nextCheckAt" <= ? ORDER BY "nextCheckAt" LIMIT ?`,
    )
    .pluck(),
});

export function createFeederRows(
  database: Database.Database,
  memory: Pick<FeederMemory, "get" | "set">,
  rebuild: RebuildState,
  recordProblem: ((error: unknown) => void) | null = null,
): FeederRows {
  const { readOne, readYard, readAll, readDue, readRevision } = headStatements(database);
  const known = knownStates(memory, stateLoader(database, rebuild, recordProblem));
  const rowOf = (head: FeederHead): FeederRow => {
    const { state, rollups } = known(head);
    return { ...headOf(head), rebuiltAt: maybe(head.rebuiltAt), state, rollups };
  };
  const all = (yard: string | null) => (yard === null ? readAll.all() : readYard.all(yard));

  return {
    one(id) {
      const head = readOne.get(id);
      return head === undefined ? null : rowOf(head);
    },
    usable: (yard) =>
      all(yard).flatMap((head) =>
        unlessDamaged(
          () => [rowOf(head)],
          () => [],
        ),
      ),
    damaged: () => damagedAmong(all(null), { memory, known, headNow: (id) => readOne.get(id) }),
    dueForCheck: (now, most) => readDue.all(now, most),
    revision: (feederNo) => readRevision.get(feederNo) ?? null,
    number: (id) => readOne.get(id)?.no ?? 0,
    find: (id) => readOne.get(id) ?? null,
    head: (id) => readOne.get(id) ?? noSuchFeeder(id),
    rowOf,
    known,
  };
}

interface KnownHeads {
  readonly memory: Pick<FeederMemory, "get">;
  readonly known: (head: FeederHead) => KnownState;
  readonly headNow: (id: string) => FeederHead | undefined;
}

/** Each is looked at in an event loop turn of its own, as it is then: it may have reported, or gone, since. */
async function damagedAmong(
  heads: readonly FeederHead[],
  { memory, known, headNow }: KnownHeads,
): Promise<readonly DamagedFeeder[]> {
  const all: DamagedFeeder[] = [];
  for (const { id } of heads.filter(({ no, revision }) => memory.get(no, revision) === null)) {
    await new Promise((resolve) => setImmediate(resolve));
    const head = headNow(id);
    if (head === undefined) continue;
    const problem = unlessDamaged(
      () => known(head) && null,
      (error) => error.problem,
    );
    if (problem !== null) all.push({ ...headOf(head), name: head.name, problem });
  }
  return all;
}

/** From memory, or else loaded and remembered. */
const knownStates =
  (memory: Pick<FeederMemory, "get" | "set">, load: (head: FeederHead) => KnownState) =>
  (head: FeederHead): KnownState => {
    const remembered = memory.get(head.no, head.revision);
    if (remembered !== null) return remembered;
    const loaded = load(head);
    memory.set(head.no, loaded);
    return loaded;
  };

function noSuchFeeder(id: string): never {
  throw new Error(`expected the feeder ${id} to be stored`);
}

const headOf = ({ id, yardId, practice, revision, createdAt, lastReportAt, lastStepAt }: FeederHead) => ({
  id,
  yard: yardId,
  practice: practice === 1,
  revision,
  addedAt: instantOf(createdAt),
  lastReportAt,
  lastStepAt,
});
const maybe = (text: string | null): Instant | null => (text === null ? null : instantOf(text));

function unlessDamaged<T>(read: () => T, otherwise: (error: FeederDamaged) => T): T {
  try {
    return read();
  } catch (error) {
    if (error instanceof FeederDamaged) return otherwise(error);
    throw error;
  }
}

/** More steps than are ever between two snapshots. */
const stepsAtOnce = 10_000;

function stateLoader(
  database: Database.Database,
  rebuild: RebuildState,
  recordProblem: ((error: unknown) => void) | null,
) {
  const snapshots = snapshotStatements(database);
  const log = createLogReader(database);

  /** From one snapshot and all steps after it, of which none may be missing. */
  const after = (head: FeederHead, step: number, stored: Buffer) => {
    let stepped = decodeState(stored);
    for (let last = step; last < head.revision; ) {
      const lines = log.lines(head.no, last, head.revision, stepsAtOnce);
      for (const line of lines) {
        if (line.step !== last + 1) break;
        last = line.step;
      }
      if (lines.length === 0 || lines.at(-1)?.step !== last) throw new Error(`step ${last + 1} is missing in the log`);
      stepped = rebuild(stepped, lines);
    }
    return stepped;
  };

  return (head: FeederHead): KnownState => {
    let problem = "there is no snapshot of it";
    const stored = snapshots.newestFirst(head.no);
    for (const [index, { slot, step, state }] of stored.entries()) {
      if (step > head.revision) continue;
      try {
        return { revision: head.revision, ...after(head, step, state), snapshot: { slot, step } };
      } catch (error) {
        const problemOfStore = translateStoreError(error);
        if (problemOfStore !== error) {
          if (recordProblem === null || !(problemOfStore instanceof StoreDamaged)) throw error;
          recordProblem(error);
        }
        if (index === 0) problem = (error as Error).message;
      }
    }
    throw new FeederDamaged(head.id, problem);
  };
}
