import { spawn } from "node:child_process";
import { once } from "node:events";
import { dirname } from "node:path";
import Database from "better-sqlite3";
import { describe, expect, it } from "vitest";
import { minutes } from "../../server/domain/instant.ts";
import { projectFolder } from "../support/imports.ts";
import { requestAs } from "../support/people.ts";
import { storedRollups } from "../support/rollups.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** The command as `npm run keeper --` runs it, on the database of a server that is open meanwhile. */
async function keeperCommand(database: string, ...args: string[]) {
  const child = spawn(process.execPath, ["--import", "tsx", "server/keeper.ts", ...args], {
    cwd: projectFolder,
    env: {
      ...process.env,
      DATABASE_URL: `file:${database}`,
      DATA_DIR: dirname(database),
      PUBLIC_URL: "https://alder.example",
    },
  });
  let [out, err] = ["", ""];
  child.stdout.on("data", (text) => {
    out += text;
  });
  child.stderr.on("data", (text) => {
    err += text;
  });
  const [code] = await once(child, "close");
  return { code, out, err };
}

const better = "seven quiet winters outside";
const reset = (server: TestServer, token: string) =>
  requestAs(server, "POST", "/api/v1/reset", {}, { token, passphrase: better });

describe("npm run keeper -- reset NAME", () => {
  it("prints a link while the server runs, which sets a new passphrase once", async () => {
    const server = await openTestServer();
    const { code, out, err } = await keeperCommand(server.databaseFile, "reset", "keeper");
    expect([code, err]).toEqual([0, ""]);
    const token = /https:\/\/alder\.example\/reset#([\w-]{43})\n/.exec(out)?.[1] ?? "";
    expect(out).toContain("for Keeper");
    expect((await reset(server, token)).statusCode).toBe(200);
    expect((await reset(server, token)).statusCode).toBe(401);
    const signIn = { name: "Keeper", passphrase: better };
    expect((await requestAs(server, "POST", "/api/v1/session", {}, signIn)).statusCode).toBe(200);
  }, 60_000);

  it("lists the accounts where nobody has the name, and makes no database where there is none", async () => {
    const server = await openTestServer();
    const [unknown, without, absent] = await Promise.all([
      keeperCommand(server.databaseFile, "reset", "Cilla"),
      keeperCommand(server.databaseFile),
      keeperCommand(`${server.databaseFile}.none`, "reset", "Keeper"),
    ]);
    expect([unknown.code, unknown.err]).toEqual([1, "Nobody here has the name Cilla. There are: Keeper.\n"]);
    expect([without.code, without.err]).toEqual([2, expect.stringContaining("Usage: npm run keeper -- reset NAME")]);
    expect([absent.code, absent.err]).toEqual([1, expect.stringContaining("There is no database at")]);
  }, 60_000);
});

describe("npm run keeper -- rebuild-history [FEEDER]", () => {
  it("makes damaged rows again from the log, of one feeder or of all, and says how many they were", async () => {
    const server = await openTestServer();
    const rowan = await server.addFeeder({ name: "Rowan" });
    server.clock.advance(minutes(1));
    const larch = await server.addFeeder({ name: "Larch" });
    for (let seq = 1; seq <= 20; seq += 1) {
      const sentUptimeMs = server.clock.advance(minutes(5));
      const events = [{ seq, uptimeMs: sentUptimeMs - 1_000, kind: "press" }];
      for (const { key } of [rowan, larch]) await server.report(key, { boot: "b-1", sentUptimeMs, events });
    }
    const feeders = [rowan.feeder.id, larch.feeder.id];
    const whole = feeders.map((id) => storedRollups(server, id));
    expect(whole[0]?.length).toBeGreaterThan(5);
    server.connections.direct.exec(`UPDATE "Rollup" SET "rollup" = x'00' WHERE "span" = 0`);
    const one = await keeperCommand(server.databaseFile, "rebuild-history", "Rowan");
    expect([one.code, one.err]).toEqual([0, ""]);
    expect(one.out).toMatch(/^Rowan \(rowan-\w+\): \d+ rows made again, [1-9]\d* changed\.\n$/);
    expect(storedRollups(server, feeders[0] as string)).toEqual(whole[0]);
    expect(storedRollups(server, feeders[1] as string)).not.toEqual(whole[1]);
    const all = await keeperCommand(server.databaseFile, "rebuild-history");
    expect(all.out).toMatch(/^Rowan .* 0 changed\.\nLarch .* [1-9]\d* changed\.\n$/);
    expect(storedRollups(server, feeders[1] as string)).toEqual(whole[1]);
  }, 60_000);

  it("refuses while a server runs on the folder, and names a feeder that isn't there", async () => {
    const server = await openTestServer();
    const unknown = await keeperCommand(server.databaseFile, "rebuild-history", "Alder");
    expect([unknown.code, unknown.err]).toEqual([1, "There is no feeder with the name or id Alder.\n"]);
    const lock = new Database(`${server.databaseFile}.lock`);
    lock.exec("BEGIN EXCLUSIVE");
    const refused = await keeperCommand(server.databaseFile, "rebuild-history");
    lock.close();
    expect([refused.code, refused.out]).toEqual([1, ""]);
    expect(refused.err).toContain("is used by another Pieward that is running. Stop that one");
  }, 60_000);
});
