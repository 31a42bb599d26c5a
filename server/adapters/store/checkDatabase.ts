import Database from "better-sqlite3";

/**
 * A separate program: it reads the whole database file and prints what is wrong with it, as JSON. In a process of its own, since
 * the check of a large file takes long, can't be interrupted, and must not end the server whatever it finds.
 * `quick_check` finds pages that contradict each other. It can't find a changed value in a well-formed row.
 */
const [file = ""] = process.argv.slice(2);
const problemsMax = 5;
try {
  process.stdout.write(JSON.stringify(problemsIn(file)));
} catch (error) {
  // Locked, or not readable: that is no damage, and the caller reports that it could not be checked.
  process.stderr.write((error as Error).message);
  process.exitCode = 1;
}

function problemsIn(path: string): string[] {
  let database: Database.Database | null = null;
  try {
    database = new Database(path, { readonly: true, fileMustExist: true, timeout: 5_000 });
    const rows = database.pragma(`quick_check(${problemsMax})`) as { quick_check: string }[];
    return rows.map((row) => row.quick_check).filter((problem) => problem !== "ok");
  } catch (error) {
    const { code = "", message } = error as Error & { code?: string };
    if (/^SQLITE_(CORRUPT|NOTADB)/.test(code)) return [message];
    throw error;
  } finally {
    database?.close();
  }
}
