import { startDatabaseThread } from "./databaseThread.ts";

/**
 * Rewrites the whole database file without the remains in free parts of its pages: `secure_delete` alone leaves some where pages were
 * split or joined (found by reading a file's bytes). In a thread of its own, so that the server can answer meanwhile. Needs disk space
 * for a second copy.
 * @throws Error where it can't be written; the database is as it was then
 */
export function rewriteFile(databaseFile: string): Promise<void> {
  return new Promise((resolve, reject) => {
    const worker = startDatabaseThread(databaseFile, program);
    worker.once("error", reject);
    worker.once("exit", (code) => (code === 0 ? resolve() : reject(new Error(`rewriting ended with ${code}`))));
  });
}

const program = `
  const database = openDatabase({ timeout: 5000 });
  try {
    database.exec("VACUUM");
  } finally {
    database.close();
  }
`;
