#!/usr/bin/env node
/**
 * Replaces a server's data by a backup. The server must be stopped. The present data is moved to another folder, never deleted.
 *
 *   node deploy/backup/restore.mjs --data /var/lib/pieward --from /mnt/backups/pieward/pieward-2026-01-15T02-30-00Z
 *
 * `--from` is a backup's folder, or the single file that the server wrote beside its database before a migration.
 * Exit code 0: the backup is in place. 1: nothing was changed, unless the message differs.
 */
import {
  chmodSync,
  chownSync,
  closeSync,
  copyFileSync,
  existsSync,
  fsyncSync,
  mkdirSync,
  openSync,
  readdirSync,
  renameSync,
  rmSync,
  statSync,
} from "node:fs";
import { basename, dirname, join, resolve } from "node:path";
import { parseArgs } from "node:util";
import Database from "better-sqlite3";

process.umask(0o077);

function restore({ data, database, from, now }) {
  const isFolder = statSync(from).isDirectory();
  const source = isFolder ? join(from, "pieward.db") : from;
  const keys = isFolder ? join(from, "keys.json") : null;
  if (!existsSync(source)) throw new Error(`${source} is missing`);
  if (keys !== null && !existsSync(keys)) throw new Error(`${keys} is missing: the backup is incomplete`);
  mkdirSync(data, { recursive: true, mode: 0o700 });
  const lock = hold(database);
  try {
    // Everything that can fail comes before the first change: the copy is made and checked beside the present database.
    const restored = `${database}.restored`;
    rmSync(restored, { force: true });
    copyFileSync(source, restored);
    check(restored);
    const owner = statSync(data);
    own(restored, owner);
    if (keys !== null) {
      copyFileSync(keys, join(data, "keys.json.restored"));
      own(join(data, "keys.json.restored"), owner);
    }
    // A backup's folder has the pictures of its rows, or none; a single file has nothing to say of them.
    const pictures = isFolder ? copyPictures(join(from, "pictures"), join(data, "pictures.restored"), owner) : null;
    const aside = join(data, `damaged-${now.toISOString().slice(0, 19).replaceAll(":", "-")}Z`);
    mkdirSync(aside, { mode: 0o700 });
    own(aside, owner, 0o700);
    // The write-ahead log and the number of commits belong to the database that is moved away.
    for (const part of ["-wal", "-shm", ".commits", ""]) moveInto(aside, `${database}${part}`);
    renameSync(restored, database);
    if (keys !== null) {
      moveInto(aside, join(data, "keys.json"));
      renameSync(join(data, "keys.json.restored"), join(data, "keys.json"));
    }
    if (pictures !== null) {
      moveInto(aside, join(data, "pictures"));
      if (existsSync(pictures)) renameSync(pictures, join(data, "pictures"));
    }
    flush(dirname(database));
    flush(data);
    return aside;
  } finally {
    lock.close();
  }
}

/** The server's own lock: it can't start while this runs, and this can't while it runs. */
function hold(database) {
  const lock = new Database(`${database}.lock`, { timeout: 0 });
  try {
    lock.exec("BEGIN EXCLUSIVE");
    return lock;
  } catch (error) {
    lock.close();
    throw error.code?.startsWith("SQLITE_BUSY") ? new Error("the server is running: stop it first") : error;
  }
}

function check(file) {
  const copy = new Database(file);
  try {
    const problems = copy.pragma("integrity_check(5)").map((row) => row.integrity_check);
    if (problems[0] !== "ok") throw new Error(`the backup is damaged: ${problems.join("; ")}`);
  } catch (error) {
    rmSync(file, { force: true });
    throw error;
  } finally {
    copy.close();
  }
  flush(file);
}

/** @returns the folder with the copy, which is missing where there is nothing to copy */
function copyPictures(from, to, owner) {
  rmSync(to, { recursive: true, force: true });
  if (!existsSync(from)) return to;
  mkdirSync(to, { mode: 0o700 });
  own(to, owner, 0o700);
  for (const yard of readdirSync(from)) {
    mkdirSync(join(to, yard), { mode: 0o700 });
    own(join(to, yard), owner, 0o700);
    for (const name of readdirSync(join(from, yard))) {
      copyFileSync(join(from, yard, name), join(to, yard, name));
      own(join(to, yard, name), owner);
      flush(join(to, yard, name));
    }
  }
  return to;
}

/** For root, where the server has a user of its own. */
function own(path, { uid, gid }, mode = 0o600) {
  chmodSync(path, mode);
  if (process.getuid?.() === 0) chownSync(path, uid, gid);
}

function moveInto(folder, path) {
  if (existsSync(path)) renameSync(path, join(folder, basename(path)));
}

function flush(path) {
  const file = openSync(path, "r");
  try {
    fsyncSync(file);
  } finally {
    closeSync(file);
  }
}

function readArguments(args, env) {
  const text = { type: "string" };
  const { values } = parseArgs({ args, options: { data: text, database: text, from: text } });
  const data = resolve(values.data ?? env.DATA_DIR ?? "./data");
  const database = values.database ?? env.DATABASE_URL?.replace(/^file:/, "") ?? join(data, "pieward.db");
  if (!values.from) throw new Error("--from: enter which backup");
  if (!existsSync(values.from)) throw new Error(`--from: there is nothing at ${values.from}`);
  return { data, database: resolve(database), from: resolve(values.from), now: new Date() };
}

try {
  const aside = restore(readArguments(process.argv.slice(2), process.env));
  console.log(`Restored. The earlier data is in ${aside}. Start the server now.`);
} catch (error) {
  console.error(`Not restored: ${error instanceof Error ? error.message : String(error)}`);
  process.exitCode = 1;
}
