import { spawn } from "node:child_process";
import { once } from "node:events";
import { dirname } from "node:path";
import { describe, expect, it } from "vitest";
import { projectFolder } from "../support/imports.ts";
import { requestAs } from "../support/people.ts";
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
