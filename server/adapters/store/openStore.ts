import { PrismaBetterSqlite3 } from "@prisma/adapter-better-sqlite3";
import Database from "better-sqlite3";
import { type RebuildState, type StoreCondition, StoreDamaged } from "../../ports.ts";
import { systemClock } from "../systemClock.ts";
import { openCommitCounter } from "./commitCounter.ts";
import {
  checkpointByWriterAfterPages,
  createDurableLog,
  type DurableLog,
  type LogDisk,
  openLogDisk,
} from "./durableLog.ts";
import { FeederMemory } from "./feederMemory.ts";
import { createFeederRows, type FeederRows } from "./feederRows.ts";
import { createFeederSteps, type FeederSteps } from "./feederSteps.ts";
import { PrismaClient } from "./generated/sqlite/client.ts";
import { createLogReader, type LogReader } from "./logReader.ts";
import { directRequestReads, type RequestReads } from "./requestReads.ts";
import { rewriteFile } from "./rewriteFile.ts";
import { type RollupReader, rollupReader } from "./rollupRows.ts";
import { createStoreCondition } from "./storeCondition.ts";
import { translateStoreError } from "./storeErrors.ts";
import { createWriteQueue, createWrites, type LogEraser, type Statements, type Writes } from "./writes.ts";

export type { Statements } from "./writes.ts";

export type Client = PrismaClient;

/**
 * Four connections to one SQLite file, two for Prisma and two for plain SQL. With Prisma's adapter, statements outside a transaction can
 * get into one that is open on the same connection, and be rolled back with it; so reading has connections of its own. Writing goes through `write` (Prisma, for rare
 * changes by keepers) or `transact` (plain SQL, for frequent changes by feeders), one after the other. In WAL mode readers never wait
 * for the writer.
 */
export interface Connections extends Writes {
  readonly reader: Statements;
  readonly direct: Database.Database;
  readonly requests: RequestReads;
  /** What is on the disk, in plain SQL, over a connection that no writer waits for. */
  readonly directReading: Database.Database;
  /** Feeders and their logs as they are on the disk, over a connection that no writer waits for. */
  feeders(): FeederRows;
  log(): LogReader;
  /** What charts read, over the same connection. */
  rollups(): RollupReader;
  readonly condition: StoreCondition;
  readonly rebuild: RebuildState;
  /**
   * Leaves nothing of what was removed in the database's file and its log. Where another process is reading, such as a backup, a
   * later commit empties the log.
   */
  eraseRemoved(): Promise<void>;
  close(): Promise<void>;
}

/**
 * Another process may have the lock: a backup, a second server. Waiting inside SQLite blocks the event loop, so we wait there only
 * briefly, and retry the whole transaction a few times before the request is refused.
 */
const lockWaitMilliseconds = 50;
const eraseLogAgainAfterMilliseconds = 10_000; // a try that meets a reader waits for `lockWaitMilliseconds`

export async function connect(
  databaseUrl: string,
  rebuild: RebuildState,
  condition: StoreCondition = createStoreCondition(),
  openDisk: (databaseFile: string) => LogDisk = openLogDisk,
): Promise<Connections> {
  const file = databaseUrl.replace(/^file:/, "");
  const opened = await openConnections(databaseUrl, file);
  const { writer, reading, direct, directReading } = opened;
  const problemOf = recordingDamage(condition);
  const memory = new FeederMemory();
  const count = openCounter(direct, file, condition);
  const durable = createDurableLog(direct, openDisk(file));
  const queue = createWriteQueue(condition);
  const eraser = createLogEraser(direct);
  const steps = createFeederSteps(direct, memory, rebuild);
  const written = createWrites({ writer, direct, steps, queue, problemOf, count, eraser, durable });
  const feeders = withDirectErrors(createFeederRows(directReading, memory, rebuild, problemOf), problemOf);
  return {
    reader: withStoreErrors(reading, problemOf),
    direct,
    directReading,
    feeders: () => feeders,
    ...recordReads(directReading, problemOf),
    condition,
    rebuild,
    ...written,
    eraseRemoved: () => queue.run(() => eraseAll(file, durable, eraser)),
    async close() {
      await saveSnapshots(written, steps);
      await queue.ended();
      await durable.close();
      count.close();
      await closeConnections(opened);
    },
  };
}

function recordReads(
  directReading: Database.Database,
  problemOf: (error: unknown) => unknown,
): Pick<Connections, "log" | "rollups" | "requests"> {
  const log = withDirectErrors(createLogReader(directReading), problemOf);
  const rollups = withDirectErrors(rollupReader(directReading), problemOf);
  const requests = withDirectErrors(directRequestReads(directReading), problemOf);
  return { log: () => log, rollups: () => rollups, requests };
}

function openCounter(direct: Database.Database, file: string, condition: StoreCondition) {
  const count = openCommitCounter(direct, file);
  if (count.lost > 0) condition.recordDamage({ kind: "commitsLost", foundAt: systemClock.now(), commits: count.lost });
  return count;
}

async function openConnections(databaseUrl: string, file: string) {
  const adapter = () => new PrismaBetterSqlite3({ url: databaseUrl, timeout: lockWaitMilliseconds });
  const writer = new PrismaClient({ adapter: adapter() });
  const reading = new PrismaClient({ adapter: adapter() });
  const direct = new Database(file, { timeout: lockWaitMilliseconds });
  direct.pragma("journal_mode = WAL");
  direct.pragma("synchronous = NORMAL"); // durableLog.ts has each commit written out before it is answered
  direct.pragma(`wal_autocheckpoint = ${checkpointByWriterAfterPages}`);
  direct.pragma("foreign_keys = ON");
  // What is deleted is overwritten with zeros, also in pages that are free afterwards (sqlite.org/pragma.html#pragma_secure_delete).
  direct.pragma("secure_delete = ON");
  await writer.$queryRawUnsafe("PRAGMA secure_delete = ON");
  // WAL reopens as NORMAL, which can lose the last commits in a power cut: what is answered as stored must survive that.
  await writer.$executeRawUnsafe("PRAGMA synchronous = FULL");
  await writer.$queryRawUnsafe(`PRAGMA wal_autocheckpoint = ${checkpointByWriterAfterPages}`);
  await writer.$executeRawUnsafe("PRAGMA foreign_keys = ON");
  await reading.$executeRawUnsafe("PRAGMA query_only = ON");
  const directReading = new Database(file, { timeout: lockWaitMilliseconds });
  directReading.pragma("query_only = ON");
  return { writer, reading, direct, directReading };
}

async function eraseAll(file: string, durable: DurableLog, eraser: { erase(): void }): Promise<void> {
  await tryToRewrite(file);
  await durable.idle(); // a checkpoint would keep the log from being emptied
  eraser.erase();
}

async function closeConnections(opened: Awaited<ReturnType<typeof openConnections>>): Promise<void> {
  opened.direct.close();
  opened.directReading.close();
  await Promise.all([opened.writer.$disconnect(), opened.reading.$disconnect()]);
}

/** Translates errors, and records damage that they show. */
const recordingDamage =
  (condition: StoreCondition) =>
  (error: unknown): unknown => {
    const problem = translateStoreError(error);
    if (problem instanceof StoreDamaged && condition.damage()?.kind !== "damaged") {
      const { cause } = problem;
      const text = cause instanceof Error ? cause.message : String(cause);
      condition.recordDamage({ kind: "damaged", foundAt: systemClock.now(), problem: text });
    }
    return problem;
  };

/** The same operations, with our errors. */
const withStoreErrors = (client: PrismaClient, problemOf: (error: unknown) => unknown): Client =>
  client.$extends({
    query: {
      $allOperations: ({ args, query }) =>
        query(args).catch((error: unknown) => {
          throw problemOf(error);
        }),
    },
  }) as unknown as Client;

/** The same for reads in plain SQL. */
const withDirectErrors = <Reads extends object>(reads: Reads, problemOf: (error: unknown) => unknown): Reads =>
  Object.fromEntries(
    Object.entries(reads).map(([name, read]) => [
      name,
      withOurErrors(read as (...args: unknown[]) => unknown, problemOf),
    ]),
  ) as Reads;

const withOurErrors =
  (read: (...args: unknown[]) => unknown, problemOf: (error: unknown) => unknown) =>
  (...args: unknown[]): unknown => {
    try {
      return read(...args);
    } catch (error) {
      throw problemOf(error);
    }
  };

/** Empties the log of removed data; where a reader prevents that, after a later commit. */
function createLogEraser(direct: Database.Database): LogEraser & { erase(): void } {
  let isDue = false;
  let triedAt = Number.NEGATIVE_INFINITY;
  const erase = () => {
    triedAt = performance.now();
    const [{ busy }] = direct.pragma("wal_checkpoint(TRUNCATE)") as [{ busy: number }];
    isDue = busy !== 0;
  };
  return {
    erase,
    eraseIfDue() {
      if (isDue && performance.now() - triedAt > eraseLogAgainAfterMilliseconds) erase();
    },
  };
}

/** A clean end leaves the present states, so that the next start need not take steps again. The log has them in any case. */
async function saveSnapshots({ transact }: Pick<Writes, "transact">, steps: FeederSteps): Promise<void> {
  try {
    await transact(async () => steps.saveSnapshots());
  } catch (error) {
    process.emitWarning(
      `the states of the feeders could not be saved at the end; the next start takes them from the log: ${error}`,
    );
  }
}

async function tryToRewrite(file: string): Promise<void> {
  try {
    await rewriteFile(file);
  } catch (error) {
    // What was removed is removed, and overwritten as far as `secure_delete` goes.
    process.emitWarning(`the database file could not be rewritten after a removal: ${error}`);
  }
}
