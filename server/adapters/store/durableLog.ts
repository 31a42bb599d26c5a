import { open } from "node:fs/promises";
import type { Worker } from "node:worker_threads";
import type Database from "better-sqlite3";
import { startDatabaseThread } from "./databaseThread.ts";
import { pageSize } from "./migrate.ts";

/**
 * Makes SQLite's write-ahead log durable without holding up the event loop, so that a pause never waits for the disk of a report.
 *
 * A commit over the connection `direct` only appends to the log (`synchronous=NORMAL`, https://www.sqlite.org/pragma.html#pragma_synchronous).
 * Whoever calls something stored waits for `synced`, while a thread of the system's pool writes the log out: what SQLite does with
 * `synchronous=FULL` inside of each commit. One such write serves all commits before it. Others can read a commit some milliseconds
 * before it is on the disk; nobody is told that it is stored.
 *
 * Checkpoints (https://www.sqlite.org/wal.html#ckpt), which wait for the disk several times, run in a thread of their own.
 */
export interface DurableLog {
  /** Resolves once all that was committed before this call is on the disk. @throws what the disk says */
  synced(): Promise<void>;
  /** A commit has appended about so many octets. */
  grew(octets: number): void;
  /** No checkpoint is running. */
  idle(): Promise<void>;
  close(): Promise<void>;
}

/** How the log reaches the disk; a test hands in a disk that fails. */
export interface LogDisk {
  sync(): Promise<void>;
  checkpoint(): Promise<void>;
  close(): Promise<void>;
}

/** As SQLite's own: a thousand pages (https://www.sqlite.org/pragma.html#pragma_wal_autocheckpoint). */
const checkpointAfterOctets = 1_000 * pageSize;
/** A commit without a log line still changes heads, indexes and a root or two. Measured by pagesWritten.test.ts. */
const octetsEachCommit = 4 * pageSize;
/** Should the checkpoints of the other thread not keep up, the writer makes one itself. */
export const checkpointByWriterAfterPages = 8_000;

export function createDurableLog(direct: Database.Database, disk: LogDisk): DurableLog {
  let octets = 0;
  let checkpoint: Promise<void> | null = null;
  const synced = groupSyncs(
    () => disk.sync(),
    () => checkpointWhole(direct),
  );
  return {
    synced,
    grew(added) {
      octets += octetsEachCommit + added;
      if (octets < checkpointAfterOctets || checkpoint !== null) return;
      octets = 0;
      checkpoint = disk
        .checkpoint()
        .catch((error: unknown) => process.emitWarning(`a checkpoint failed and is made again later: ${error}`))
        .finally(() => {
          checkpoint = null;
        });
    },
    idle: () => checkpoint ?? Promise.resolve(),
    async close() {
      await Promise.allSettled([checkpoint, synced()]);
      await disk.close();
    },
  };
}

/**
 * All that wait while the disk is writing share its next turn. After a failure Linux may count the pages as written that it couldn't write,
 * so that a second try would succeed for nothing (https://wiki.postgresql.org/wiki/Fsync_Errors): then only a checkpoint of the whole log,
 * which writes everything elsewhere and syncs that, makes good.
 */
export function groupSyncs(sync: () => Promise<void>, makeGood: () => void): () => Promise<void> {
  let running: Promise<void> = Promise.resolve();
  let waiting: Promise<void> | null = null;
  let hasFailed = false;
  const start = async () => {
    waiting = null;
    if (hasFailed) {
      makeGood();
      hasFailed = false;
      return;
    }
    try {
      await sync();
    } catch (error) {
      hasFailed = true;
      throw error;
    }
  };
  return () => {
    if (waiting === null) {
      waiting = running.then(start);
      running = waiting.catch(() => undefined); // each that waits gets the error; the next turn comes all the same
    }
    return waiting;
  };
}

function checkpointWhole(direct: Database.Database): void {
  const [{ busy }] = direct.pragma("wal_checkpoint(TRUNCATE)") as [{ busy: number }];
  if (busy !== 0)
    throw new Error("SQLITE_BUSY: the log could not be written to the database after the disk had failed");
}

/** The log of this database file, which must have been written to: only then it exists. It is never replaced while it is in use. */
export function openLogDisk(databaseFile: string): LogDisk {
  const file = open(`${databaseFile}-wal`, "r+");
  file.catch(() => undefined); // whoever syncs gets the error
  const checkpointer = createCheckpointer(databaseFile);
  return {
    sync: async () => (await file).datasync(),
    checkpoint: checkpointer.run,
    async close() {
      await checkpointer.close();
      await (await file).close();
    },
  };
}

/** One checkpoint at a time. The thread is started with the first one, and again where it has ended. */
function createCheckpointer(databaseFile: string) {
  let worker: Worker | null = null;
  let answer: (error: unknown) => void = () => undefined;
  const start = () => {
    worker = startDatabaseThread(databaseFile, program);
    worker.on("message", (error) => answer(error));
    worker.on("error", (error) => answer(error));
    worker.on("exit", () => {
      worker = null;
      answer(new Error("the thread for checkpoints has ended"));
    });
    return worker;
  };
  return {
    run: () =>
      new Promise<void>((resolve, reject) => {
        const thread = worker ?? start();
        thread.ref(); // the process waits for it only while it works
        answer = (error) => {
          thread.unref();
          if (error === null) resolve();
          else reject(error);
        };
        thread.postMessage("checkpoint");
      }),
    close: () =>
      new Promise<void>((resolve) => {
        if (worker === null) return resolve();
        worker.ref();
        answer = () => resolve();
        worker.postMessage("close");
      }),
  };
}

const program = `
  const database = openDatabase({ timeout: 0 });
  parentPort.on("message", (wanted) => {
    if (wanted === "close") {
      database.close();
      parentPort.close();
      return;
    }
    try {
      database.pragma("wal_checkpoint(PASSIVE)");
      parentPort.postMessage(null);
    } catch (error) {
      parentPort.postMessage(String(error));
    }
  });
`;
