import { spawnSync } from "node:child_process";
import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { afterEach, beforeEach, describe, expect, it } from "vitest";

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

/** A database as a running server leaves it: in WAL mode, with commits that are only in the log so far. */
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
  it("holds what the running server has committed, also what is only in its log", () => {
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

  it("is refused, and takes no older one away, when the database is damaged", () => {
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

  it("keeps the newest and touches nothing that isn't its own", () => {
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

  it("says what is wrong instead of making an empty one", () => {
    const missing = backUp();
    expect(missing.status).toBe(1);
    expect(backups()).toEqual([]);
    expect(backUp("--keep", "0").stderr).toContain("--keep");
    const nowhere = spawnSync(process.execPath, ["deploy/backup/backup.mjs", "--data", data], { encoding: "utf8" });
    expect(nowhere.stderr).toContain("--to");
  });
});
