import { setTimeout as sleep } from "node:timers/promises";
import type Database from "better-sqlite3";
import { StoreBusy, type StoreCondition, StoreDamaged, type Transaction } from "../../ports.ts";
import { type CommitCounter, commitRow } from "./commitCounter.ts";
import type { DurableLog } from "./durableLog.ts";
import type { FeederSteps } from "./feederSteps.ts";
import type { PrismaClient } from "./generated/sqlite/client.ts";
import { createTransaction } from "./sqliteTransaction.ts";
import type { StoreProblem } from "./storeErrors.ts";

/** A transaction of a client: whatever statements can be given to. */
export type Statements = Omit<PrismaClient, "$connect" | "$disconnect" | "$on" | "$transaction" | "$extends" | "$use">;

export interface Writes {
  /** Runs `work` in a transaction that is on the disk when the promise resolves. @throws what `Store.transaction` throws */
  write<T>(work: (statements: Statements) => Promise<T>): Promise<T>;
  /** The same over plain SQL. `committed` as `Store.transaction` has it. */
  transact<T>(work: (tx: Transaction) => Promise<T>, committed?: (result: T) => void): Promise<T>;
}

export interface LogEraser {
  eraseIfDue(): void;
}

/** A whole transaction is tried again so often where another process has the lock. */
const retryAfterMilliseconds = [20, 50, 100, 200, 400, 800] as const;
const prismaLimits = { maxWait: 10_000, timeout: 60_000 };

export interface WriteParts {
  readonly writer: PrismaClient;
  readonly direct: Database.Database;
  readonly steps: FeederSteps;
  readonly queue: ReturnType<typeof createWriteQueue>;
  readonly problemOf: (error: unknown) => unknown;
  readonly count: CommitCounter;
  readonly eraser: LogEraser;
  readonly durable: DurableLog;
}

/**
 * Each write waits for its place in the queue, is tried again where the database is busy, and is counted. The next one may begin while
 * the disk writes; only what is on the disk is answered, and counted beside the database.
 */
export function createWrites(parts: WriteParts): Writes {
  const { writer, direct, steps, queue, problemOf, count, eraser, durable } = parts;
  const tx = createTransaction(direct, steps);
  const changes = direct.prepare<[], number>("SELECT total_changes()").pluck();
  const rollBack = () => writer.$executeRawUnsafe("ROLLBACK");
  return {
    write: (work) =>
      queue.run(async () => {
        const attempt = () =>
          writer.$transaction(async (statements) => {
            const result = await work(statements);
            return { result, commit: await countCommit(statements, count.next) };
          }, prismaLimits);
        const { result, commit } = await withRetries(attempt, problemOf, rollBack);
        count.remember(commit);
        eraser.eraseIfDue();
        return result;
      }),
    async transact(work, whenCommitted) {
      const attempt = () => {
        steps.begin();
        return transactDirectly(direct, changes, count, () => work(tx));
      };
      const { result, commit } = await queue.run(async () => {
        const committed = await withRetries(attempt, problemOf);
        if (committed.commit === null) return committed;
        durable.grew(steps.committed());
        whenCommitted?.(committed.result);
        eraser.eraseIfDue();
        return committed;
      });
      if (commit === null) return result;
      await durable.synced().catch((error: unknown) => {
        throw problemOf(error);
      });
      count.remember(commit);
      return result;
    },
  };
}

/** Runs one write after the other, in the order in which they were requested. */
export function createWriteQueue(condition: StoreCondition) {
  let last: Promise<unknown> = Promise.resolve();
  return {
    run<T>(work: () => Promise<T>): Promise<T> {
      const next = last.then(() => {
        // A restored backup would lack the write, so it must not be answered as stored.
        if (condition.damage()?.kind === "damaged") throw new StoreDamaged("the database is damaged");
        return work();
      });
      last = next.catch(() => undefined); // the caller gets the error; the next write runs all the same
      return next;
    },
    ended: () => last,
  };
}

async function countCommit(statements: Statements, next: (before: number) => number): Promise<number> {
  const head = await statements.feederHead.findUniqueOrThrow({ where: { feederNo: commitRow } });
  const commit = next(head.revision);
  await statements.feederHead.update({ where: { feederNo: commitRow }, data: { revision: commit } });
  return commit;
}

/** @returns the number of the commit; null where nothing was changed, so that nothing is written to the disk. */
async function transactDirectly<T>(
  direct: Database.Database,
  changes: Database.Statement<[], number>,
  count: CommitCounter,
  work: () => Promise<T>,
): Promise<{ readonly result: T; readonly commit: number | null }> {
  direct.exec("BEGIN IMMEDIATE");
  try {
    const before = changes.get();
    const result = await work();
    const commit = changes.get() === before ? null : count.count();
    direct.exec("COMMIT");
    return { result, commit };
  } catch (error) {
    if (direct.inTransaction) direct.exec("ROLLBACK"); // a full disk has SQLite roll back itself
    throw error;
  }
}

/** `attempt` may run several times: each time in a transaction of its own, of which only the last one stays. */
async function withRetries<T>(
  attempt: () => Promise<T>,
  problemOf: (error: unknown) => unknown,
  rollBack?: () => Promise<unknown>,
): Promise<T> {
  for (let tries = 0; ; tries += 1) {
    try {
      return await attempt();
    } catch (error) {
      const problem = problemOf(error);
      if (problem !== error && rollBack) await leaveOpenTransaction(rollBack, problem as StoreProblem);
      const wait = retryAfterMilliseconds[tries];
      if (!(problem instanceof StoreBusy) || wait === undefined) throw problem;
      await sleep(wait);
    }
  }
}

/** Prisma's COMMIT that fails (full disk, foreign lock) can leave the connection inside its transaction; the next would fail there. */
async function leaveOpenTransaction(rollBack: () => Promise<unknown>, problem: StoreProblem): Promise<void> {
  try {
    await rollBack();
  } catch (error) {
    // Usually there is none open any more: SQLite has rolled back itself.
    if (!String(error).includes("no transaction is active")) problem.message += `; and rolling back failed: ${error}`;
  }
}
