import { setTimeout as sleep } from "node:timers/promises";
import { PrismaBetterSqlite3 } from "@prisma/adapter-better-sqlite3";
import { StoreBusy } from "../../ports.ts";
import { PrismaClient } from "./generated/sqlite/client.ts";
import { type StoreProblem, translated } from "./problems.ts";

export type Client = PrismaClient;
/** A client, or a transaction of one: whatever statements can be given to. */
export type Statements = Omit<Client, "$connect" | "$disconnect" | "$on" | "$transaction" | "$extends" | "$use">;

/**
 * Two connections to one SQLite file. Prisma's adapter lets statements outside a transaction slip into one that is open on
 * the same connection, where they would be rolled back with it; so reading has a connection of its own, and writing goes
 * through `write`, one transaction after the other. In WAL mode readers never wait for the writer.
 */
export interface Connections {
  readonly reader: Client;
  /** Runs `work` in a transaction that is on the disk when the promise resolves. @throws StoreBusy, StoreFull */
  write<T>(work: (statements: Statements) => Promise<T>): Promise<T>;
  close(): Promise<void>;
}

/**
 * Another process may hold the lock: a backup, a second server. Waiting inside SQLite blocks the event loop, so we wait there
 * only briefly, and then try the whole transaction anew a few times before the sender is told to come back.
 */
const lockWaitMilliseconds = 50;
const triesAgainAfterMilliseconds = [20, 50, 100, 200, 400, 800] as const;

export async function connect(databaseUrl: string): Promise<Connections> {
  const writer = new PrismaClient({
    adapter: new PrismaBetterSqlite3({ url: databaseUrl, timeout: lockWaitMilliseconds }),
  });
  const reader = new PrismaClient({
    adapter: new PrismaBetterSqlite3({ url: databaseUrl, timeout: lockWaitMilliseconds }),
  });
  await writer.$queryRawUnsafe("PRAGMA journal_mode = WAL");
  // WAL reopens as NORMAL, which can lose the last commits when the power goes: an answer must outlive that.
  await writer.$executeRawUnsafe("PRAGMA synchronous = FULL");
  await writer.$executeRawUnsafe("PRAGMA foreign_keys = ON");
  await reader.$executeRawUnsafe("PRAGMA query_only = ON");

  let last: Promise<unknown> = Promise.resolve();
  return {
    reader,
    write(work) {
      const mine = last.then(() => transact(writer, work));
      last = mine.catch(() => undefined); // the next one's turn comes however this one ended; its caller hears of it
      return mine;
    },
    async close() {
      await last;
      await Promise.all([writer.$disconnect(), reader.$disconnect()]);
    },
  };
}

const transactionLimits = { maxWait: 10_000, timeout: 60_000 };

/** `work` may run several times: each time in a transaction of its own, of which only the last one is kept. */
async function transact<T>(writer: Client, work: (statements: Statements) => Promise<T>): Promise<T> {
  for (let tries = 0; ; tries += 1) {
    try {
      return await writer.$transaction(work, transactionLimits);
    } catch (error) {
      const problem = translated(error);
      if (problem !== error) await leaveOpenTransaction(writer, problem as StoreProblem);
      const wait = triesAgainAfterMilliseconds[tries];
      if (!(problem instanceof StoreBusy) || wait === undefined) throw problem;
      await sleep(wait);
    }
  }
}

/** A COMMIT that fails (full disk, foreign lock) can leave the connection inside its transaction; the next would fail there. */
async function leaveOpenTransaction(writer: Client, problem: StoreProblem): Promise<void> {
  try {
    await writer.$executeRawUnsafe("ROLLBACK");
  } catch (error) {
    // Usually there is none open any more: SQLite has rolled back itself.
    if (!String(error).includes("no transaction is active")) problem.message += `; and rolling back failed: ${error}`;
  }
}
