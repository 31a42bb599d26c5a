import { createRequire } from "node:module";
import { Worker } from "node:worker_threads";

/**
 * A thread for work on a database file that would hold up the event loop.
 * @param program JavaScript, with `openDatabase(options)` and `parentPort` in scope
 */
export function startDatabaseThread(databaseFile: string, program: string): Worker {
  const library = createRequire(import.meta.url).resolve("better-sqlite3");
  return new Worker(`${prelude}${program}`, { eval: true, workerData: { library, databaseFile } });
}

const prelude = `
  const { parentPort, workerData } = require("node:worker_threads");
  const openDatabase = (options) => new (require(workerData.library))(workerData.databaseFile, options);
`;
