import { setPriority } from "node:os";
import { parentPort, workerData } from "node:worker_threads";
import type { ComparisonWork } from "./adapters/comparisonThread.ts";
import { openRecordedLog } from "./adapters/store/recordedLog.ts";
import { compareSettings } from "./flows/compareSettings.ts";

/** The program of a thread: one comparison of settings over one feeder's log. */

// On Linux a nice value is each thread's own (setpriority(2), "C library/kernel differences"); elsewhere it would slow the server down.
if (process.platform === "linux") setPriority(10);

const { databaseFile, request } = workerData as ComparisonWork;
const log = openRecordedLog(databaseFile);
try {
  parentPort?.postMessage(await compareSettings(log, request));
} finally {
  log.close();
}
