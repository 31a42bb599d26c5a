import { setPriority } from "node:os";
import { parentPort, workerData } from "node:worker_threads";
import type { ComparisonWork } from "./adapters/comparisonThread.ts";
import { openRecordedLog } from "./adapters/store/recordedLog.ts";
import { compareSettings } from "./flows/compareSettings.ts";

/** The program of a thread: one comparison of settings over one feeder's log. */

// On Linux a nice value is each thread's own (setpriority(2), "C library/kernel differences"); elsewhere it would slow the server down.
if (process.platform === "linux") setPriority(10);

const { databaseFile, request } = workerData as ComparisonWork;
try {
  const log = openRecordedLog(databaseFile);
  parentPort?.postMessage(await compareSettings(log, request));
  log.close();
} catch (error) {
  // An error of SQLite loses its text on the way to another thread.
  throw new Error(`a feeder's log could not be replayed: ${error instanceof Error ? error.message : error}`, {
    cause: error,
  });
}
