import { chmodSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { beforeAll, describe, expect, it, type TestContext } from "vitest";
import { builtServer, type RunningServer, spawnBuiltServer } from "./support/builtServer.ts";

// A small board under load is slow; nothing here waits longer than necessary.
const patience = 60_000;

beforeAll(() => expect(existsSync(builtServer), "run `npm run build` first").toBe(true));

/** A folder and servers on it, for one test alone: two of them run at the same time. */
function prepare({ onTestFinished }: TestContext) {
  const scratch = mkdtempSync(join(tmpdir(), "pieward-start-"));
  const dataDir = join(scratch, "data");
  onTestFinished(() => rmSync(scratch, { recursive: true, force: true }));
  const start = (variables: Record<string, string> = {}): RunningServer => {
    const server = spawnBuiltServer(dataDir, variables);
    onTestFinished(async () => {
      server.kill("SIGKILL");
      await server.exited;
    });
    return server;
  };
  /** Starts a server that must not start. @returns what it printed: a sentence and no stack. */
  const refusal = async (variables: Record<string, string> = {}): Promise<string> => {
    const server = start(variables);
    expect(await server.exited).toEqual({ code: 1, signal: null });
    expect(server.stderr()).not.toMatch(/^\s+at /m);
    return server.stderr();
  };
  return { scratch, dataDir, start, refusal };
}

describe("npm start", { timeout: patience }, () => {
  it("prints where it listens and how to become its keeper, keeps its keys, and stops cleanly on SIGTERM", async (test) => {
    const { dataDir, start } = prepare(test);
    const first = start();
    const [, home] = await first.waitForOutput(/Pieward listens at (http:\/\/127\.0\.0\.1:\d+)\n/);
    const [, link] = await first.waitForOutput(/\n {2}(http\S+\/first-sign-in#[\w-]{43})\n/);
    expect(link?.startsWith(`${home}/first-sign-in#`)).toBe(true);
    expect((await fetch(home as string)).status).toBe(200);

    const keys = join(dataDir, "keys.json");
    expect((statSync(keys).mode & 0o777).toString(8)).toBe("600");
    expect((statSync(dataDir).mode & 0o777).toString(8)).toBe("700");
    const made = readFileSync(keys, "utf8");

    first.kill("SIGTERM");
    expect(await first.exited).toEqual({ code: 0, signal: null });
    await expect(fetch(home as string)).rejects.toThrow("fetch failed");

    const second = start();
    await second.waitForOutput(/\/first-sign-in#/);
    expect(readFileSync(keys, "utf8")).toBe(made);
    second.kill("SIGINT");
    expect(await second.exited).toEqual({ code: 0, signal: null });
    expect(second.stderr()).toBe("");
  });

  it("ends promptly although a browser's connection is kept alive", async (test) => {
    const { start } = prepare(test);
    const server = start();
    const [, home] = await server.waitForOutput(/Pieward listens at (http\S+)\n/);
    await fetch(home as string); // the client keeps the connection open
    const requestedAt = performance.now();
    server.kill("SIGTERM");
    expect((await server.exited).code).toBe(0);
    expect(performance.now() - requestedAt).toBeLessThan(10_000); // service managers kill after 10 s at the earliest
  });

  it("restricts keys that others could read", async (test) => {
    const { dataDir, start } = prepare(test);
    const first = start();
    await first.waitForOutput(/\/first-sign-in#/);
    first.kill("SIGTERM");
    await first.exited;
    const keys = join(dataDir, "keys.json");
    chmodSync(keys, 0o644);

    const second = start();
    await second.waitForOutput(/\/first-sign-in#/);
    expect((statSync(keys).mode & 0o777).toString(8)).toBe("600");
    second.kill("SIGTERM");
    await second.exited;
  });
});

describe("npm start, where it can't", { timeout: patience }, () => {
  it("names every wrong variable at once", async (test) => {
    const { dataDir, refusal } = prepare(test);
    const message = await refusal({ PORT: "http", VAPID_SUBJECT: "keeper", TRUST_PROXY: "maybe" });
    expect(message).toMatch(
      /^The configuration needs attention:\n {2}PORT: .+\n {2}VAPID_SUBJECT: .+\n {2}TRUST_PROXY: .+\n$/,
    );
    expect(existsSync(dataDir), "nothing may be made before the configuration is understood").toBe(false);
  });

  it("names the port that is in use, and what to do", async (test) => {
    const { refusal } = prepare(test);
    const other = createServer().listen(0, "127.0.0.1");
    test.onTestFinished(() => void other.close());
    await new Promise((resolve) => other.once("listening", resolve));
    const { port } = other.address() as { port: number };
    expect(await refusal({ PORT: String(port) })).toBe(
      `The port ${port} is in use by another program. Choose another with PORT=…, or stop that program.\n`,
    );
  });

  it("reports that a data folder is a file", async (test) => {
    const { dataDir, refusal } = prepare(test);
    writeFileSync(dataDir, "a file");
    expect(await refusal()).toBe(
      `${dataDir} is not a folder, so nothing can be stored there. Choose another DATA_DIR.\n`,
    );
    expect(readFileSync(dataDir, "utf8")).toBe("a file");
  });

  it("reports that it may not write the data folder", async (test) => {
    const { scratch, refusal } = prepare(test);
    const message = await refusal({ DATA_DIR: unwritable(scratch) });
    expect(message).toMatch(/^Pieward may not write .+ Give it the right to, or choose another DATA_DIR\.\n$/);
  });

  it("reports that the database's folder doesn't exist", async (test) => {
    const { scratch, refusal } = prepare(test);
    expect(await refusal({ DATABASE_URL: `file:${join(scratch, "nowhere", "pies.db")}` })).toContain("DATABASE_URL");
  });

  it("reports that the database is no database, and doesn't change it", async (test) => {
    const { scratch, refusal } = prepare(test);
    const file = join(scratch, "pies.db");
    writeFileSync(file, "no database, but somebody's notes on magpies. ".repeat(100));
    const before = readFileSync(file, "utf8");
    expect(await refusal({ DATABASE_URL: `file:${file}` })).toContain("Restore a backup.");
    expect(readFileSync(file, "utf8")).toBe(before);
  });

  // The next two wait at the same time until the server gives up a lock, some seconds each.
  it.concurrent("reports that another program holds the database", async (test) => {
    const { scratch, refusal } = prepare(test);
    const file = join(scratch, "pies.db");
    const holder = new Database(file);
    test.onTestFinished(() => void holder.close());
    holder.exec("CREATE TABLE Held (id); BEGIN EXCLUSIVE;");
    expect(await refusal({ DATABASE_URL: `file:${file}` })).toBe(
      "The database is locked by another program. Is Pieward running already?\n",
    );
  });

  it.concurrent("reports that another program writes to a database that is up to date", async (test) => {
    const { dataDir, start, refusal } = prepare(test);
    const first = start();
    await first.waitForOutput(/\/first-sign-in#/);
    first.kill("SIGTERM");
    await first.exited;
    const holder = new Database(join(dataDir, "pieward.db"));
    test.onTestFinished(() => void holder.close());
    holder.exec("BEGIN IMMEDIATE;");
    expect(await refusal()).toBe("The database is locked by another program. Is Pieward running already?\n");
  });

  it.for([
    ["half a file", '{"vapid":{"publicKey":"B'],
    ["a file of something else", '{"colour":"black and white"}'],
    ["an empty file", ""],
  ] as const)("never replaces damaged keys: %s", async ([, content], test) => {
    const { dataDir, refusal } = prepare(test);
    mkdirSync(dataDir);
    writeFileSync(join(dataDir, "keys.json"), content);
    const message = await refusal();
    expect(message).toContain(`${join(dataDir, "keys.json")} is damaged`);
    expect(message).toContain("Restore it from a backup");
    expect(readFileSync(join(dataDir, "keys.json"), "utf8")).toBe(content);
  });
});

/** @returns a folder that can't be created, not even by root: it is in the kernel's own tree. */
function unwritable(scratch: string): string {
  if (process.getuid?.() === 0) return "/sys/pieward";
  const closed = join(scratch, "closed");
  mkdirSync(closed, { mode: 0o500 });
  return join(closed, "data");
}
