import { setTimeout as sleep } from "node:timers/promises";
import { PrismaBetterSqlite3 } from "@prisma/adapter-better-sqlite3";
import Database from "better-sqlite3";
import { StoreBusy, type Transaction } from "../../ports.ts";
import { PrismaClient } from "./generated/sqlite/client.ts";
import { type StoreProblem, translated } from "./problems.ts";
import { statementsFor } from "./sqliteTransaction.ts";

export type Client = PrismaClient;
/** A transaction of a client: whatever statements can be given to. */
export type Statements = Omit<Client, "$connect" | "$disconnect" | "$on" | "$transaction" | "$extends" | "$use">;

/**
 * Three connections to one SQLite file. Prisma's adapter lets statements outside a transaction slip into one that is open on
 * the same connection, where they would be rolled back with it; so reading has a connection of its own. Writing goes through
 * `write` (Prisma, for what keepers do now and then) or `transact` (plain SQL, for what feeders do all the time), one after
 * the other whichever it is. In WAL mode readers never wait for the writer.
 */
export interface Connections {
  readonly reader: Statements;
  readonly direct: Database.Database;
  /** Runs `work` in a transaction that is on the disk when the promise resolves. @throws StoreBusy, StoreFull */
  write<T>(work: (statements: Statements) => Promise<T>): Promise<T>;
  /** The same over plain SQL. @throws StoreBusy, StoreFull */
  transact<T>(work: (tx: Transaction) => Promise<T>): Promise<T>;
  close(): Promise<void>;
}

/**
 * Another process may hold the lock: a backup, a second server. Waiting inside SQLite blocks the event loop, so we wait there
 * only briefly, and then try the whole transaction anew a few times before the sender is told to come back.
 */
const lockWaitMilliseconds = 50;
const triesAgainAfterMilliseconds = [20, 50, 100, 200, 400, 800] as const;
const prismaLimits = { maxWait: 10_000, timeout: 60_000 };

export async function connect(databaseUrl: string): Promise<Connections> {
  const adapter = () => new PrismaBetterSqlite3({ url: databaseUrl, timeout: lockWaitMilliseconds });
  const writer = new PrismaClient({ adapter: adapter() });
  const reader = new PrismaClient({ adapter: adapter() });
  const direct = new Database(databaseUrl.replace(/^file:/, ""), { timeout: lockWaitMilliseconds });
  direct.pragma("journal_mode = WAL");
  // WAL reopens as NORMAL, which can lose the last commits when the power goes: an answer must outlive that.
  direct.pragma("synchronous = FULL");
  direct.pragma("foreign_keys = ON");
  await writer.$executeRawUnsafe("PRAGMA synchronous = FULL");
  await writer.$executeRawUnsafe("PRAGMA foreign_keys = ON");
  await reader.$executeRawUnsafe("PRAGMA query_only = ON");

  let last: Promise<unknown> = Promise.resolve();
  const inTurn = <T>(work: () => Promise<T>): Promise<T> => {
    const mine = last.then(work);
    last = mine.catch(() => undefined); // the next one's turn comes however this one ended; its caller hears of it
    return mine;
  };
  const rollBack = () => writer.$executeRawUnsafe("ROLLBACK");
  const tx = statementsFor(direct);
  return {
    reader,
    direct,
    write: (work) => inTurn(() => persistently(() => writer.$transaction(work, prismaLimits), rollBack)),
    transact: (work) => inTurn(() => persistently(() => transactDirectly(direct, () => work(tx)))),
    async close() {
      await last;
      direct.close();
      await Promise.all([writer.$disconnect(), reader.$disconnect()]);
    },
  };
}

async function transactDirectly<T>(direct: Database.Database, work: () => Promise<T>): Promise<T> {
  direct.exec("BEGIN IMMEDIATE");
  try {
    const result = await work();
    direct.exec("COMMIT");
    return result;
  } catch (error) {
    if (direct.inTransaction) direct.exec("ROLLBACK"); // a full disk has SQLite roll back itself
    throw error;
  }
}

/** `attempt` may run several times: each time in a transaction of its own, of which only the last one is kept. */
async function persistently<T>(attempt: () => Promise<T>, rollBack?: () => Promise<unknown>): Promise<T> {
  for (let tries = 0; ; tries += 1) {
    try {
      return await attempt();
    } catch (error) {
      const problem = translated(error);
      if (problem !== error && rollBack) await leaveOpenTransaction(rollBack, problem as StoreProblem);
      const wait = triesAgainAfterMilliseconds[tries];
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
