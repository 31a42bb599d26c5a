import { spawnSync } from "node:child_process";
import {
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { findRestoreAdvice } from "../../server/adapters/restoreAdvice.ts";

let folder: string;
let data: string;
let to: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "pieward-backup-"));
  data = mkdtempSync(join(folder, "data-"));
  to = join(folder, "backups");
  writeFileSync(join(data, "keys.json"), "{}", { mode: 0o600 });
});
afterEach(() => rmSync(folder, { recursive: true }));

/** A database as a running server has it: in WAL mode, with commits that are only in the write-ahead log so far. */
function openLive() {
  const live = new Database(join(data, "pieward.db"));
  live.pragma("journal_mode = WAL");
  live.pragma("wal_autocheckpoint = 0");
  live.exec("CREATE TABLE IF NOT EXISTS event (seq INTEGER PRIMARY KEY, body TEXT)");
  return live;
}

const backUp = (...more: string[]) =>
  spawnSync(process.execPath, ["deploy/backup/backup.mjs", "--data", data, "--to", to, ...more], { encoding: "utf8" });
const backups = () => readdirSync(to).sort();

describe("a backup", () => {
  it("has what the running server has committed, also what is only in its write-ahead log", () => {
    const live = openLive();
    const insert = live.prepare("INSERT INTO event VALUES (?, ?)");
    for (let seq = 1; seq <= 5_000; seq++) insert.run(seq, "x".repeat(200));
    const { status, stdout, stderr } = backUp();
    expect(stderr).toBe("");
    expect(status).toBe(0);
    insert.run(5_001, "after"); // the server was never locked out
    live.close();

    const [name] = backups();
    expect(stdout).toContain(name);
    const copy = new Database(join(to, name ?? "", "pieward.db"), { readonly: true });
    expect(copy.prepare("SELECT count(*), max(seq) FROM event").raw().get()).toEqual([5_000, 5_000]);
    copy.close();
    expect(readdirSync(join(to, name ?? "")).sort()).toEqual(["keys.json", "pieward.db"]);
    expect(statSync(join(to, name ?? "")).mode & 0o077).toBe(0);
  });

  it("fails, and removes no older one, when the database is damaged", () => {
    const live = openLive();
    live.exec("CREATE INDEX by_body ON event (body)");
    const insert = live.prepare("INSERT INTO event VALUES (?, ?)");
    for (let seq = 1; seq <= 3_000; seq++) insert.run(seq, `${seq} ${"x".repeat(100)}`);
    live.pragma("wal_checkpoint(TRUNCATE)");
    live.close();
    expect(backUp().status).toBe(0);
    const good = backups();

    const file = join(data, "pieward.db");
    const bytes = readFileSync(file);
    bytes.fill(0xa5, Math.floor(bytes.length / 2), Math.floor(bytes.length / 2) + 3 * 4_096);
    writeFileSync(file, bytes);
    const { status, stderr } = backUp("--keep", "1");
    expect(status).toBe(1);
    expect(stderr).toMatch(/^No backup: /);
    expect(backups()).toEqual(good);
  });

  it("keeps the newest and changes no files of others", () => {
    openLive().close();
    expect(backUp().status).toBe(0);
    const [newest] = backups();
    for (const name of ["pieward-2026-01-01T02-30-00Z", "pieward-2026-01-02T02-30-00Z", "holiday pictures"]) {
      writeFileSync(join(to, name), "");
    }
    rmSync(join(to, newest ?? ""), { recursive: true });
    expect(backUp("--keep", "2").status).toBe(0);
    expect(backups().slice(0, 2)).toEqual(["holiday pictures", "pieward-2026-01-02T02-30-00Z"]);
    expect(backups().length).toBe(3);
  });

  it("fails without the keys, with a message", () => {
    openLive().close();
    rmSync(join(data, "keys.json"));
    const { status, stderr } = backUp();
    expect(status).toBe(1);
    expect(stderr).toMatch(/^No backup: .*keys\.json is missing/);
    expect(backups()).toEqual([]);
  });

  it("has the pictures, each once on the disk, and gives them back; what came later is kept beside", () => {
    openLive().close();
    const yard = join(data, "pictures", "alder");
    mkdirSync(yard, { recursive: true });
    writeFileSync(join(yard, "a1.full.jpg"), "a jay", { mode: 0o644 });
    writeFileSync(join(yard, "a2.full.jpg.new"), "half");
    expect(backUp().status).toBe(0);
    const first = join(to, backups()[0] ?? "");
    const older = join(to, "pieward-2026-01-01T02-30-00Z");
    renameSync(first, older);
    expect(backUp().status).toBe(0);
    const second = join(to, backups().at(-1) ?? "");
    expect(readdirSync(join(second, "pictures", "alder"))).toEqual(["a1.full.jpg"]);
    const [one, other] = [older, second].map((each) => statSync(join(each, "pictures", "alder", "a1.full.jpg")));
    expect([one?.ino, (other?.mode ?? 0) & 0o777]).toEqual([other?.ino, 0o600]);

    rmSync(older, { recursive: true });
    rmSync(join(yard, "a1.full.jpg"));
    writeFileSync(join(yard, "b1.full.jpg"), "later");
    const restored = spawnSync(process.execPath, ["deploy/backup/restore.mjs", "--data", data, "--from", second]);
    expect(restored.status).toBe(0);
    expect(readdirSync(yard)).toEqual(["a1.full.jpg"]);
    expect(readFileSync(join(yard, "a1.full.jpg"), "utf8")).toBe("a jay");
    const aside = readdirSync(data).find((name) => name.startsWith("damaged-")) ?? "";
    expect(readdirSync(join(data, aside, "pictures", "alder")).sort()).toEqual(["a2.full.jpg.new", "b1.full.jpg"]);
  });

  it("is readable by its owner only, each file of it, whatever the shell's umask", () => {
    openLive().close();
    const umask = process.umask(0);
    try {
      expect(backUp().status).toBe(0);
    } finally {
      process.umask(umask);
    }
    const [name = ""] = backups();
    for (const file of readdirSync(join(to, name))) expect(statSync(join(to, name, file)).mode & 0o077).toBe(0);
    expect(statSync(join(data, "last-backup.json")).mode & 0o077).toBe(0);
  });

  it("is restored by the command that the server names, and the earlier data is not deleted", () => {
    const live = openLive();
    live.exec("INSERT INTO event VALUES (1, 'kept')");
    live.close();
    expect(backUp().status).toBe(0);
    const from = join(to, backups()[0] ?? "");
    const file = join(data, "pieward.db");
    expect(findRestoreAdvice(data, file)).toMatchObject({
      backup: { path: from },
      command: `node deploy/backup/restore.mjs --data ${data} --from ${from}`,
    });
    for (const name of ["pieward.db", "pieward.db-wal", "pieward.db.commits"])
      writeFileSync(join(data, name), "damaged");
    const put = spawnSync(process.execPath, ["deploy/backup/restore.mjs", "--data", data, "--from", from], {
      encoding: "utf8",
    });
    expect(put.stderr).toBe("");
    expect(put.status).toBe(0);
    const copy = new Database(file, { readonly: true });
    expect(copy.prepare("SELECT body FROM event").pluck().all()).toEqual(["kept"]);
    copy.close();
    const aside = readdirSync(data).find((name) => name.startsWith("damaged-")) ?? "";
    const parts = ["keys.json", "pieward.db", "pieward.db-wal", "pieward.db.commits"];
    expect(readdirSync(join(data, aside))).toEqual(expect.arrayContaining(parts));
    expect(statSync(file).mode & 0o077).toBe(0);
  });

  it("is not restored under a running server, nor where it is damaged itself", () => {
    openLive().close();
    expect(backUp().status).toBe(0);
    const from = join(to, backups()[0] ?? "");
    const put = () =>
      spawnSync(process.execPath, ["deploy/backup/restore.mjs", "--data", data, "--from", from], { encoding: "utf8" });
    const before = readFileSync(join(data, "pieward.db"));
    const lock = new Database(join(data, "pieward.db.lock"));
    lock.exec("BEGIN EXCLUSIVE");
    expect(put().stderr).toContain("the server is running");
    lock.close();
    writeFileSync(join(from, "pieward.db"), "x".repeat(9_000));
    expect(put().stderr).toMatch(/^Not restored: /);
    expect(readFileSync(join(data, "pieward.db")).equals(before)).toBe(true);
  });

  it("reports what is wrong instead of making an empty one", () => {
    const missing = backUp();
    expect(missing.status).toBe(1);
    expect(backups()).toEqual([]);
    expect(backUp("--keep", "0").stderr).toContain("--keep");
    const nowhere = spawnSync(process.execPath, ["deploy/backup/backup.mjs", "--data", data], { encoding: "utf8" });
    expect(nowhere.stderr).toContain("--to");
  });
});
