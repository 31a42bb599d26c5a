import {
  chmodSync,
  cpSync,
  existsSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from "vitest";
import { type RunningServer, runBuiltServer, spawnBuiltServer } from "../support/builtServer.ts";
import { overwriteTablePage } from "../support/damage.ts";
import { type PushService, startPushService } from "../support/pushService.ts";
import { listenAddress, presses, report, request, startSignedInServer, stopServer } from "../support/signedInServer.ts";

/** Damage to the files of a data folder is reported in plain sentences, and nothing is stored where it would be lost. */

let scratch: string;
let stopped: string; // a data folder after a clean stop
let killed: string; // such a folder after a kill -9: its last commits are only in the write-ahead log
let cookie: string;
let feederKey: string;
let push: PushService;
let variables: Record<string, string>;
let phone: ReturnType<PushService["subscribe"]>;

beforeAll(async () => {
  scratch = mkdtempSync(join(tmpdir(), "pieward-files-"));
  push = await startPushService();
  phone = push.subscribe({ label: "Pocket" });
  writeFileSync(join(scratch, "ca.pem"), push.ca);
  variables = { ALLOW_PRIVATE_PUSH_ENDPOINTS: "true", NODE_EXTRA_CA_CERTS: join(scratch, "ca.pem") };
  stopped = join(scratch, "stopped");
  killed = join(scratch, "killed");
  const first = await startSignedInServer(stopped, variables, { phone });
  ({ cookie, feederKey } = first);
  await stopServer(first.server);
  cpSync(stopped, killed, { recursive: true });
  const second = spawnBuiltServer(killed, variables);
  const home = await listenAddress(second);
  expect((await report(home, feederKey, presses(1, 2_000))).status).toBe(200);
  expect((await report(home, feederKey, presses(2_001, 50))).status).toBe(200);
  await stopServer(second, "SIGKILL");
});
afterAll(async () => {
  await push.close();
  rmSync(scratch, { recursive: true, force: true });
});

const database = (folder: string) => join(folder, "pieward.db");
const modeOf = (path: string) => (statSync(path).mode & 0o777).toString(8);

function copyOf(folder: string): string {
  const copy = mkdtempSync(join(scratch, "case-"));
  cpSync(folder, copy, { recursive: true });
  return copy;
}

async function failedStartText(dataDir: string, args: readonly string[] = []): Promise<string> {
  const server = runBuiltServer(dataDir, variables, args);
  expect(await server.exited).toEqual({ code: 1, signal: null });
  expect(server.stderr()).not.toMatch(/^\s+at /m);
  return server.stderr();
}

const start = (dataDir: string, args: readonly string[] = []): RunningServer =>
  runBuiltServer(dataDir, variables, args);

describe("a damaged database", { timeout: 30_000 }, () => {
  it("is reported at the start, by the health check, on the first page and by push, and stores nothing", async () => {
    const folder = copyOf(killed);
    overwriteTablePage(database(folder), "LogLine");
    const arrives = push.nextMessage(phone);
    const server = start(folder);
    const home = await listenAddress(server);
    const { payload, urgency } = await arrives;
    expect(urgency).toBe("high");
    expect(payload.notification.title).toBe("Pieward's database is damaged");
    expect(payload.notification.body).toMatch(/Nothing is stored .*no alarm/s);
    expect(payload.notification.body).toContain("No tested backup found");
    expect(server.stderr()).toContain("database is damaged");

    expect((await request(home, "GET", "/api/v1/health")).status).toBe(503);
    const answer = await report(home, feederKey, presses(2_051, 1));
    expect(answer.status).toBe(507);
    expect(await answer.json()).toMatchObject({ detail: expect.stringContaining("database is damaged") });
    const shown = await request(home, "GET", "/api/v1/home", undefined, { cookie });
    expect(shown.status).toBe(200);
    expect(await shown.json()).toMatchObject({ storageProblem: expect.stringContaining("database is damaged") });
  });

  it("that is no database any more stops the start with advice to restore, and is pushed once", async () => {
    const folder = copyOf(stopped);
    const backup = join(folder, "..", "pieward-2026-11-01T02-30-00Z");
    writeFileSync(join(folder, "last-backup.json"), JSON.stringify({ path: backup, madeAt: "2026-11-01T02:30:00Z" }));
    cpSync(stopped, backup, { recursive: true });
    writeFileSync(database(folder), "not a database. ".repeat(1_000));
    const before = push.acceptedCount.length;
    const printed = await failedStartText(folder);
    expect(printed).toContain("The database is damaged");
    expect(printed).toContain(`node deploy/backup/restore.mjs --data ${folder} --from ${backup}`);
    await failedStartText(folder);
    const pushed = push.acceptedCount.slice(before);
    expect(pushed.map(({ payload }) => payload.notification.title)).toEqual(["Pieward's database is damaged"]);
    expect(pushed[0]?.payload.notification.body).toContain(backup);
  });

  it.each(["absent", "empty"])("that is %s beside keys doesn't start as a new server", async (how) => {
    const folder = copyOf(stopped);
    rmSync(database(folder));
    if (how === "empty") writeFileSync(database(folder), "");
    const printed = await failedStartText(folder);
    expect(printed).toContain(`${database(folder)} is ${how === "empty" ? "empty" : "missing"}`);
    expect(printed).toContain("--new-database");
    expect(existsSync(database(folder))).toBe(how === "empty");
  });
});

describe("a lost log of the database", { timeout: 30_000 }, () => {
  it("is detected at the start and reported by push and on the first page", async () => {
    const folder = copyOf(killed);
    expect(statSync(`${database(folder)}-wal`).size).toBeGreaterThan(0);
    rmSync(`${database(folder)}-wal`);
    rmSync(`${database(folder)}-shm`);
    const arrives = push.nextMessage(phone);
    const server = start(folder);
    const home = await listenAddress(server);
    expect((await arrives).payload.notification.title).toBe("Pieward has lost what it stored last");
    expect(server.stderr()).toMatch(/newest data of the server is missing .*\d+ changes?/);
    const shown = await request(home, "GET", "/api/v1/home", undefined, { cookie });
    expect(await shown.json()).toMatchObject({
      storageProblem: expect.stringMatching(/newest data of the server is missing .*\d+ changes?/),
    });
    expect((await report(home, feederKey, presses(2_051, 1))).status).toBe(200);
  });

  it("is not reported after a kill -9 that lost nothing", async () => {
    const server = start(copyOf(killed));
    const home = await listenAddress(server);
    const again = await report(home, feederKey, presses(2_001, 50));
    expect(await again.json()).toMatchObject({ duplicates: 50 });
    const shown = await request(home, "GET", "/api/v1/home", undefined, { cookie });
    expect(await shown.json()).toMatchObject({ storageProblem: null });
    expect(server.stderr()).toBe("");
  });
});

describe("the keys", { timeout: 30_000 }, () => {
  it("that are missing beside a used database stop the start, unless new ones are requested", async () => {
    const folder = copyOf(stopped);
    rmSync(join(folder, "keys.json"));
    const printed = await failedStartText(folder);
    expect(printed).toContain(`${join(folder, "keys.json")} is missing`);
    expect(printed).toContain("--new-keys");
    expect(existsSync(join(folder, "keys.json"))).toBe(false);
    const server = start(folder, ["--new-keys"]);
    await listenAddress(server);
    expect(existsSync(join(folder, "keys.json"))).toBe(true);
  });

  it("that don't belong together are reported in a plain sentence", async () => {
    const [one, other] = [copyOf(stopped), join(scratch, "other-keys.json")];
    const file = join(one, "keys.json");
    const keys = JSON.parse(readFileSync(file, "utf8"));
    keys.vapid.publicKey = `${keys.vapid.publicKey.slice(0, 40)}${keys.vapid.publicKey[40] === "A" ? "B" : "A"}${keys.vapid.publicKey.slice(41)}`;
    writeFileSync(other, JSON.stringify(keys));
    cpSync(other, file);
    expect(await failedStartText(one)).toContain(`${file} is damaged`);
  });
});

describe("the data folder", { timeout: 30_000 }, () => {
  it("is used by one server at a time, also after that one was killed", async () => {
    const folder = copyOf(stopped);
    const first = start(folder);
    await listenAddress(first);
    expect(await failedStartText(folder)).toContain("another Pieward");
    await stopServer(first, "SIGKILL");
    await listenAddress(start(folder));
  });

  it("is readable by its owner alone, with all that lies in it", async () => {
    const folder = copyOf(killed);
    chmodSync(folder, 0o755);
    for (const name of readdirSync(folder)) chmodSync(join(folder, name), 0o644);
    const server = start(folder);
    const home = await listenAddress(server);
    await report(home, feederKey, presses(2_051, 1));
    onTestFinished(() => stopServer(server));
    const modes = readdirSync(folder).map((name) => `${name} ${modeOf(join(folder, name))}`);
    expect(modes.filter((line) => !line.endsWith(" 600"))).toEqual([]);
    expect(modes.length).toBeGreaterThan(3);
    expect(modeOf(folder)).toBe("700");
  });
});
