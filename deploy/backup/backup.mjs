#!/usr/bin/env node
/**
 * Copies a running server's data folder: the database page by page while it is written to, then a check of the copy, then the
 * keys. A plain file copy of a live SQLite database can be inconsistent; this one is not.
 *
 *   node deploy/backup/backup.mjs --data /var/lib/pieward --to /mnt/backups/pieward --keep 14
 *
 * Exit code 0: a checked backup is at the path that it prints. 1: no backup was made, and nothing older was removed.
 */
import {
  chmodSync,
  closeSync,
  constants,
  copyFileSync,
  existsSync,
  fsyncSync,
  linkSync,
  mkdirSync,
  openSync,
  readdirSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
} from "node:fs";
import { basename, join, resolve } from "node:path";
import { parseArgs } from "node:util";
import Database from "better-sqlite3";

process.umask(0o077); // a backup has keys, and the places of the yards

const ours = /^pieward-\d{4}-\d\d-\d\dT\d\d-\d\d-\d\dZ$/;
const pagesAtOnce = 200; // small steps, so that the server can write in between

async function backUp({ data, database, to, keep, now }) {
  mkdirSync(to, { recursive: true, mode: 0o700 });
  const name = `pieward-${now.toISOString().slice(0, 19).replaceAll(":", "-")}Z`;
  const done = join(to, name);
  // Another name until it is complete: an interrupted backup must not look like a good one.
  const partial = `${done}.partial`;
  if (existsSync(done)) throw new Error(`${done} exists already`);
  mkdirSync(partial, { mode: 0o700 });
  try {
    const copy = join(partial, "pieward.db");
    await copyDatabase(database, copy);
    check(copy);
    const keys = join(data, "keys.json");
    // Without the keys every phone would have to be added again: a backup without them is useless.
    if (!existsSync(keys)) throw new Error(`${keys} is missing`);
    copyFileSync(keys, join(partial, "keys.json"), constants.COPYFILE_EXCL);
    // After the database: a picture whose row is in the copy is there, unless it was deleted meanwhile.
    copyPictures(join(data, "pictures"), join(partial, "pictures"), newestPictures(to));
    for (const file of readdirSync(partial)) flush(join(partial, file));
    flush(partial);
    renameSync(partial, done);
    flush(to);
  } catch (error) {
    rmSync(partial, { recursive: true, force: true });
    throw error;
  }
  removeInterrupted(to, now);
  return { done, removed: removeOld(to, keep), noted: noteForServer(data, done, now) };
}

/** The pictures of the newest backup; null: there are none. */
function newestPictures(to) {
  const newest = readdirSync(to)
    .filter((name) => ours.test(name))
    .sort()
    .at(-1);
  return newest === undefined ? null : join(to, newest, "pictures");
}

/**
 * A picture's file never changes, so one that the backup before has is linked to it and takes no more space.
 * @param from a folder for each yard; there is none before the first picture
 */
function copyPictures(from, to, before) {
  if (!existsSync(from)) return;
  mkdirSync(to, { mode: 0o700 });
  for (const yard of readdirSync(from)) {
    mkdirSync(join(to, yard), { mode: 0o700 });
    for (const name of readdirSync(join(from, yard))) {
      if (!name.endsWith(".jpg")) continue; // not whole yet
      const earlier = before === null ? null : join(before, yard, name);
      copyPicture(join(from, yard, name), join(to, yard, name), earlier);
    }
    flush(join(to, yard));
  }
}

function copyPicture(from, to, earlier) {
  try {
    if (earlier !== null && statSync(earlier).size === statSync(from).size) return linkSync(earlier, to);
  } catch {
    // There is no earlier one, or its disk knows no links: it is copied.
  }
  try {
    copyFileSync(from, to, constants.COPYFILE_EXCL);
  } catch (error) {
    if (error.code === "ENOENT") return; // deleted meanwhile
    throw error;
  }
  chmodSync(to, 0o600);
  flush(to);
}

/** Removes what interrupted backups have left. A younger one may be under way. */
function removeInterrupted(to, now) {
  const yesterday = `pieward-${new Date(now.getTime() - 86_400_000).toISOString().slice(0, 19).replaceAll(":", "-")}Z`;
  const left = readdirSync(to).filter((name) => {
    const begun = name.slice(0, -".partial".length);
    return name.endsWith(".partial") && ours.test(begun) && begun < yesterday;
  });
  for (const name of left) rmSync(join(to, name), { recursive: true, force: true });
}

/**
 * Stores the path for the server, which names the newest backup when its database is damaged. @returns why that failed, or null
 */
function noteForServer(data, path, now) {
  const file = join(data, "last-backup.json");
  try {
    writeFileSync(`${file}.new`, JSON.stringify({ path, madeAt: now.toISOString() }), { mode: 0o600, flush: true });
    renameSync(`${file}.new`, file);
    return null;
  } catch (error) {
    return `The path could not be stored for the server, so it can't name this backup when it is needed: ${error.message}`;
  }
}

async function copyDatabase(from, to) {
  const live = new Database(from, { readonly: true, fileMustExist: true, timeout: 10_000 });
  try {
    await live.backup(to, { progress: () => pagesAtOnce });
  } finally {
    live.close();
  }
}

function check(file) {
  const copy = new Database(file);
  try {
    const problems = copy.pragma("integrity_check").map((row) => row.integrity_check);
    if (problems.length !== 1 || problems[0] !== "ok")
      throw new Error(`the copy is damaged: ${problems.slice(0, 5).join("; ")}`);
    const orphans = copy.pragma("foreign_key_check");
    if (orphans.length > 0) throw new Error(`the copy has ${orphans.length} rows that refer to missing rows`);
    // One file, without a write-ahead log that a person could forget to copy too.
    copy.pragma("journal_mode = DELETE");
  } finally {
    copy.close();
  }
}

/** Only after a good backup, and only files with our names. */
function removeOld(to, keep) {
  const old = readdirSync(to)
    .filter((name) => ours.test(name))
    .sort()
    .slice(0, -keep);
  for (const name of old) rmSync(join(to, name), { recursive: true });
  return old;
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
  const { values } = parseArgs({ args, options: { data: text, database: text, to: text, keep: text } });
  const data = resolve(values.data ?? env.DATA_DIR ?? "./data");
  const database = values.database ?? env.DATABASE_URL?.replace(/^file:/, "") ?? join(data, "pieward.db");
  const keep = Number(values.keep ?? 14);
  if (!values.to) throw new Error("--to: enter where the backups go; best on another disk");
  if (!Number.isInteger(keep) || keep < 1)
    throw new Error(`--keep: must be a whole number from 1, got "${values.keep}"`);
  return { data, database: resolve(database), to: resolve(values.to), keep, now: new Date() };
}

try {
  const { done, removed, noted } = await backUp(readArguments(process.argv.slice(2), process.env));
  console.log(`Backed up and checked: ${done}`);
  if (noted !== null) console.error(noted);
  if (removed.length > 0) console.log(`Removed: ${removed.map((name) => basename(name)).join(", ")}`);
} catch (error) {
  console.error(`No backup: ${error instanceof Error ? error.message : String(error)}`);
  process.exitCode = 1;
}
