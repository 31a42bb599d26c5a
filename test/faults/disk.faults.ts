import { cpSync, mkdirSync, mkdtempSync, readdirSync, rmSync, statSync, truncateSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { afterAll, beforeAll, describe, expect, inject, it, onTestFinished } from "vitest";
import { quickCheck } from "../../server/adapters/store/quickCheck.ts";
import { runBuiltServer } from "../support/builtServer.ts";
import { overwriteTablePage } from "../support/damage.ts";
import { listenAddress, presses, report, request, startSignedInServer, stopServer } from "../support/signedInServer.ts";
import { mayMount, mountSmallDisk } from "../support/smallDisk.ts";
import { plantLaterVersion } from "./plantedVersion.ts";

/**
 * What disks do to files, with the built server: full, locked, read-only, a damaged page, a cut file, a lost log, and a kill in
 * the middle of a copy. What was acknowledged is there afterwards, or its loss is reported.
 */

let scratch: string;
let usedFolder: string;
let feederKey: string;

beforeAll(async () => {
  scratch = mkdtempSync(join(tmpdir(), "pieward-disk-"));
  usedFolder = join(scratch, "used");
  const first = await startSignedInServer(usedFolder);
  ({ feederKey } = first);
  for (let from = 1; from < 6_000; from += 1_000) {
    expect((await report(first.home, feederKey, presses(from, 1_000))).status).toBe(200);
  }
  await stopServer(first.server);
});
afterAll(() => rmSync(scratch, { recursive: true, force: true }));

const database = (folder: string) => join(folder, "pieward.db");

function copyOf(folder: string, to = mkdtempSync(join(scratch, "case-"))): string {
  cpSync(folder, to, { recursive: true });
  return to;
}

async function refusal(dataDir: string): Promise<string> {
  const server = runBuiltServer(dataDir);
  expect(await server.exited).toEqual({ code: 1, signal: null });
  expect(server.stderr()).not.toMatch(/^\s+at /m);
  return server.stderr();
}

function smallDisk(kibibytes: number) {
  const disk = mountSmallDisk(mkdtempSync(join(scratch, "mount-")), kibibytes);
  onTestFinished(() => disk.unmount());
  return disk;
}

// Without the right to mount these can't run; a warning reports that.
describe.skipIf(!mayMount)("a disk of its own (needs the right to mount)", () => {
  it.each([4, 60, 200, 300])(
    "that is full at the first start (%i KiB) is reported in one sentence, and the next start works",
    async (kibibytes) => {
      const disk = smallDisk(kibibytes);
      const folder = join(disk.folder, "data");
      expect(await refusal(folder)).toMatch(/its disk is full or failing|no space left/i);
      expect(readdirSync(disk.folder).flatMap((name) => (name === "data" ? readdirSync(folder) : []))).not.toContain(
        "keys.json",
      );
      const withSpace = copyOf(disk.folder);
      const server = runBuiltServer(join(withSpace, "data"));
      await server.waitForOutput(/first-sign-in#/);
    },
  );

  it("that becomes full: the server refuses what it can't store, loses nothing acknowledged, and continues once there is space", async () => {
    const disk = smallDisk(12_000);
    const folder = copyOf(usedFolder, join(disk.folder, "data"));
    writeFileSync(join(disk.folder, "ballast"), Buffer.alloc(8_500_000));
    const server = runBuiltServer(folder);
    const home = await listenAddress(server);
    let next = 6_001;
    const statuses = new Set<number>();
    for (let tries = 0; tries < 100 && !statuses.has(507); tries += 1) {
      const { status } = await report(home, feederKey, presses(next, 1_000));
      statuses.add(status);
      if (status === 200) next += 1_000;
    }
    expect([...statuses].sort()).toEqual([200, 507]); // the case is reached
    expect((await request(home, "GET", "/api/v1/health")).status).toBe(200); // it can still read
    rmSync(join(disk.folder, "ballast"));
    expect((await report(home, feederKey, presses(next, 1_000))).status).toBe(200);
    await stopServer(server, "SIGKILL");
    const again = await listenAddress(runBuiltServer(folder));
    const repeated = await report(again, feederKey, presses(next - 1_000, 2_000));
    expect(await repeated.json()).toMatchObject({ duplicates: 2_000 });
  });

  it("that is read-only ends the start with one sentence, and nothing is missing once it can be written to", async () => {
    const disk = smallDisk(24_000);
    const folder = copyOf(usedFolder, join(disk.folder, "data"));
    const server = runBuiltServer(folder);
    const home = await listenAddress(server);
    expect((await report(home, feederKey, presses(6_001, 10))).status).toBe(200);
    await stopServer(server);
    disk.remount("ro");
    expect(await refusal(folder)).toMatch(/read-?only|may not write|can't be opened for writing/i);
    disk.remount("rw");
    const again = await listenAddress(runBuiltServer(folder));
    expect(await (await report(again, feederKey, presses(6_001, 10))).json()).toMatchObject({ duplicates: 10 });
  });
});

it("warns where disks can't be mounted, so that the tests above don't count as passed", () => {
  if (!mayMount) console.warn("full and read-only disks were not tested: mounting needs root");
  expect(typeof mayMount).toBe("boolean");
});

describe("a lock of another program", () => {
  it("answers 503 with Retry-After, and stores the same report once it is free", async () => {
    const folder = copyOf(usedFolder);
    const home = await listenAddress(runBuiltServer(folder));
    const other = new Database(database(folder));
    onTestFinished(() => void other.close());
    other.exec("BEGIN IMMEDIATE");
    const refused = await report(home, feederKey, presses(6_001, 10));
    expect([refused.status, refused.headers.get("retry-after")]).toEqual([503, "5"]);
    other.exec("ROLLBACK");
    expect(await (await report(home, feederKey, presses(6_001, 10))).json()).toMatchObject({ duplicates: 0 });
  });
});

describe("a damaged page", () => {
  it.each(["LogLine", "Feeder", "FeederHead", "Snapshot", "Keeper", "Session", "_prisma_migrations"])(
    "of %s is reported at the start, and no report is answered as stored",
    async (table) => {
      const folder = copyOf(usedFolder);
      overwriteTablePage(database(folder), table);
      const server = runBuiltServer(folder);
      const outcome = await Promise.race([listenAddress(server).catch(() => null), server.exited.then(() => null)]);
      if (outcome !== null) {
        expect((await request(outcome, "GET", "/api/v1/health")).status).toBe(503);
        expect((await report(outcome, feederKey, presses(6_001, 10))).status).toBe(507);
      }
      expect(server.stderr()).toContain("damaged");
      expect(server.stderr()).toContain("deploy/backup/restore.mjs");
      expect(server.stderr()).not.toMatch(/^\s+at /m);
    },
  );

  it("is found by the nightly check of a database that is in use, within its time limit", async () => {
    const folder = copyOf(usedFolder);
    const check = quickCheck(join(import.meta.dirname, "../../dist/server/checkDatabase.js"), database(folder));
    expect(await check(60_000)).toEqual([]);
    expect(await check(1)).toBeNull();
    overwriteTablePage(database(folder), "LogLine");
    const problems = await check(60_000);
    expect(problems?.length).toBeGreaterThan(0);
  });
});

describe("a database that was cut", () => {
  it.each([0.1, 0.5, 0.9])(
    "to %f of its length is reported at the start, and no report is answered as stored",
    async (share) => {
      const folder = copyOf(usedFolder);
      const size = statSync(database(folder)).size;
      truncateSync(database(folder), Math.floor((size * share) / 4_096) * 4_096);
      const server = runBuiltServer(folder);
      const home = await listenAddress(server).catch(() => null);
      if (home !== null) expect((await report(home, feederKey, presses(6_001, 10))).status).toBe(507);
      expect(server.stderr()).toContain("damaged");
    },
  );
});

describe("a log that is gone", () => {
  it("is reported also where only its end was cut off", async () => {
    const folder = copyOf(usedFolder);
    const first = runBuiltServer(folder);
    const home = await listenAddress(first);
    for (let from = 6_001; from < 8_000; from += 100) {
      expect((await report(home, feederKey, presses(from, 100))).status).toBe(200);
    }
    await stopServer(first, "SIGKILL");
    const log = `${database(folder)}-wal`;
    truncateSync(log, Math.floor(statSync(log).size / 2));
    const second = runBuiltServer(folder);
    await listenAddress(second);
    expect(second.stderr()).toMatch(/newest data .* is missing \(found .*, \d+ changes?\)/);
  });

  it("is reported also where an older copy of the database was restored", async () => {
    const folder = copyOf(usedFolder);
    const first = runBuiltServer(folder);
    const home = await listenAddress(first);
    for (let from = 6_001; from < 8_000; from += 100) {
      expect((await report(home, feederKey, presses(from, 100))).status).toBe(200);
    }
    await stopServer(first);
    cpSync(database(usedFolder), database(folder));
    const second = runBuiltServer(folder);
    await listenAddress(second);
    expect(second.stderr()).toMatch(/newest data .* is missing \(found .*, \d+ changes?\)/);
  });
});

describe("a kill during the copy before a migration", () => {
  it("leaves no partial copy under the name of a whole one, in 30 kills", async () => {
    const folder = join(scratch, "older");
    mkdirSync(folder);
    const file = database(folder);
    cpSync(inject("migratedDatabase"), file);
    const older = new Database(file);
    older.pragma("journal_mode = WAL");
    older.exec(`CREATE TABLE "Ballast" (body BLOB)`);
    const insert = older.prepare(`INSERT INTO "Ballast" VALUES (randomblob(1000000))`);
    for (let megabyte = 0; megabyte < 150; megabyte += 1) insert.run();
    older.close();
    const later = plantLaterVersion(); // to which the database lacks a migration
    let partial = 0;
    for (let kill = 0; kill < 30; kill += 1) {
      const server = runBuiltServer(folder, {}, [], later);
      const begun = () => readdirSync(folder).some((name) => name.includes(".before-"));
      for (let waited = 0; waited < 1_000 && !begun(); waited += 1) await new Promise((go) => setTimeout(go, 5));
      await new Promise((go) => setTimeout(go, kill * 12));
      await stopServer(server, "SIGKILL");
      const copies = readdirSync(folder).filter((name) => name.includes(".before-"));
      partial += copies.filter((name) => name.endsWith(".partial")).length;
      for (const name of copies.filter((each) => !/\.partial(-journal)?$/.test(each))) {
        const copy = new Database(join(folder, name), { readonly: true });
        expect([name, copy.pragma("integrity_check", { simple: true })]).toEqual([name, "ok"]);
        expect(copy.prepare(`SELECT count(*) FROM "Ballast"`).pluck().get()).toBe(150);
        copy.close();
        rmSync(join(folder, name));
      }
    }
    expect(partial, "the kills must fall into the copy").toBeGreaterThan(3);
  });
});
