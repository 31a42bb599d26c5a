import { StoreBusy, StoreDamaged, StoreFull, StoreReadOnly } from "../../ports.ts";

export type StoreProblem = StoreBusy | StoreFull | StoreReadOnly | StoreDamaged;

/** An error of the database as one that flows know. Any other error is returned unchanged. */
export function translateStoreError(error: unknown): unknown {
  if (error instanceof StoreDamaged) return error;
  const text = allErrorText(error, 0);
  // https://www.sqlite.org/rescode.html: `SQLITE_CORRUPT` and `SQLITE_NOTADB`, and their texts, which Prisma passes on.
  if (/SQLITE_CORRUPT|SQLITE_NOTADB|database disk image is malformed|file is not a database/.test(text)) {
    return new StoreDamaged("the database is damaged", { cause: error });
  }
  if (/SQLITE_READONLY|attempt to write a readonly database|EROFS/.test(text)) {
    return new StoreReadOnly("the database can't be written to", { cause: error });
  }
  if (/SQLITE_FULL|database or disk is full|SQLITE_IOERR|ENOSPC|EIO/.test(text)) {
    return new StoreFull("the database can't be written: the disk is full or failing", { cause: error });
  }
  if (/SQLITE_BUSY|SQLITE_LOCKED|SocketTimeout|database is locked|database table is locked/.test(text)) {
    return new StoreBusy("the database is locked by another process", { cause: error });
  }
  return error;
}

/** Prisma wraps the driver's error in layers that differ by operation; the driver's text is in one of them. */
function allErrorText(error: unknown, depth: number): string {
  if (typeof error === "string") return error;
  if (typeof error !== "object" || error === null || depth > 5) return "";
  const parts = ["message", "code", "originalCode", "originalMessage", "kind", "cause", "meta", "driverAdapterError"];
  return parts.map((part) => allErrorText((error as Record<string, unknown>)[part], depth + 1)).join(" ");
}
