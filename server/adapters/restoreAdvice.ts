import { readdirSync, readFileSync, statSync } from "node:fs";
import { basename, dirname, join } from "node:path";
import { z } from "zod";
import type { RestoreAdvice } from "../domain/storeDamage.ts";

type Backup = NonNullable<RestoreAdvice["backup"]>;

/** The newest checked copy: a backup of deploy/backup, by its record, or a copy from before a migration. */
export function findRestoreAdvice(dataDir: string, databaseFile: string): RestoreAdvice {
  const elsewhere = databaseFile === join(dataDir, "pieward.db") ? "" : ` --database ${databaseFile}`;
  const found = [...recordedBackups(join(dataDir, "last-backup.json")), ...backupsBeside(databaseFile)];
  const backup = found.sort((one, other) => other.madeAt.localeCompare(one.madeAt))[0] ?? null;
  const from = backup?.path ?? "BACKUP";
  return { backup, command: `node deploy/backup/restore.mjs --data ${dataDir}${elsewhere} --from ${from}` };
}

const recordSchema = z.object({ path: z.string(), madeAt: z.string() });

function recordedBackups(file: string): Backup[] {
  let text: string;
  try {
    text = readFileSync(file, "utf8");
  } catch {
    return []; // no backup was made, or it can't be read: then none is known
  }
  const read = recordSchema.safeParse(jsonOf(text));
  return read.success && !isGone(read.data.path) ? [read.data] : [];
}

function jsonOf(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

function backupsBeside(databaseFile: string): Backup[] {
  const start = `${basename(databaseFile)}.before-`;
  const stamp = /^(\d{4}-\d\d-\d\dT\d\d)-(\d\d)-(\d\d)-(\d{3})Z$/;
  let names: string[];
  try {
    names = readdirSync(dirname(databaseFile));
  } catch {
    return [];
  }
  return names.flatMap((name) => {
    const at = name.startsWith(start) ? stamp.exec(name.slice(start.length)) : null;
    if (at === null) return [];
    const [, hour, minute, second] = at;
    return [{ path: join(dirname(databaseFile), name), madeAt: `${hour}:${minute}:${second}Z` }];
  });
}

/** A folder that this user may not read is no reason to leave the backup out. */
function isGone(path: string): boolean {
  try {
    statSync(path);
    return false;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === "ENOENT";
  }
}
