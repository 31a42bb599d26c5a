import { spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import {
  type ConnectionFlood,
  fullReport,
  memoryUse,
  runFloods,
  sendRequest,
  sendSlowly,
  signReport,
} from "./flood.ts";

/**
 * What the server holds in memory while far more comes than it can take. It runs as `npm start` runs it. The unit ends it at
 * 512 MB; it must stay well below.
 */

const mostMebibytes = 350;
const each = Number(process.env.PIEWARD_FLOOD_SECONDS ?? 6) * 1_000;
const project = join(import.meta.dirname, "../..");

interface Started {
  readonly url: string;
  readonly pid: number;
  readonly token: string;
  errors(): string;
}

/** The very command of `npm start`. */
async function start(): Promise<Started> {
  const folder = mkdtempSync(join(tmpdir(), "pieward-flood-"));
  const { scripts } = JSON.parse(readFileSync(join(project, "package.json"), "utf8")) as {
    scripts: { start: string };
  };
  const [arenas = "", , ...options] = scripts.start.split(" ");
  const env = {
    ...Object.fromEntries([arenas.split("=")]),
    PATH: process.env.PATH,
    HOST: "127.0.0.1",
    PORT: "0",
    DATA_DIR: folder,
    REPORTS_PER_MINUTE: "1000000",
  };
  const child = spawn(process.execPath, options, { env, cwd: project });
  let [out, err] = ["", ""];
  child.stderr.on("data", (text) => {
    err += text;
  });
  const ended = new Promise((resolve) => child.once("close", resolve));
  onTestFinished(async () => {
    child.kill("SIGKILL");
    await ended;
    rmSync(folder, { recursive: true, force: true });
  });
  await new Promise<void>((resolve, reject) => {
    child.stdout.on("data", (text) => {
      out += text;
      if (/first-sign-in#\S+\n/.test(out)) resolve();
    });
    void ended.then(() => reject(new Error(`expected a running server, got ${out}${err}`)));
  });
  const url = /listens at (http\S+)\n/.exec(out)?.[1] as string;
  return {
    url,
    pid: child.pid as number,
    token: /first-sign-in#(\S+)\n/.exec(out)?.[1] as string,
    errors: () => out.slice(-4_000) + err.slice(-4_000),
  };
}

async function moveIn({ url, token }: Started) {
  const json = { "content-type": "application/json", "x-pieward": "1" };
  const answer = await fetch(`${url}/api/v1/first-sign-in`, {
    method: "POST",
    headers: json,
    body: JSON.stringify({ token, name: "Ada", passphrase: "corvids carry corks to Larch" }),
  });
  const cookie = String(answer.headers.get("set-cookie")).split(";")[0] as string;
  const home = (await (await fetch(`${url}/api/v1/home`, { headers: { cookie } })).json()) as {
    yards: { id: string }[];
  };
  const yard = home.yards[0]?.id as string;
  const addFeeder = async (name: string) => {
    const body = JSON.stringify({ yard, name });
    const added = await fetch(`${url}/api/v1/feeders`, { method: "POST", headers: { ...json, cookie }, body });
    const { key, feeder } = (await added.json()) as { key: string; feeder: { id: string } };
    return { key, id: feeder.id };
  };
  return { cookie, yard, addFeeder };
}

interface Steady {
  readonly times: number[];
  readonly statuses: Readonly<Record<number, number>>;
}

/** Reports some times a second, as an ordinary feeder would after a short break. */
async function steadyFeeder(url: string, key: string, milliseconds: number): Promise<Steady> {
  const program = `
  const [url, key, milliseconds] = process.argv.slice(1);
  const times = [], statuses = {};
  const end = performance.now() + Number(milliseconds);
  for (let turn = 1; performance.now() < end; turn += 1) {
    const from = performance.now();
    const body = JSON.stringify({ boot: "b-rowan", sentUptimeMs: 1000 * turn, readings: { paused: false } });
    const headers = { authorization: "Bearer " + key, "content-type": "application/json" };
    const status = await fetch(url + "/api/v1/report", { method: "POST", headers, body }).then(
      (answer) => answer.text().then(() => answer.status),
      () => 0,
    );
    times.push(performance.now() - from);
    statuses[status] = (statuses[status] ?? 0) + 1;
    await new Promise((resolve) => setTimeout(resolve, 200));
  }
  console.log(JSON.stringify({ times, statuses }));`;
  const child = spawn(process.execPath, ["--input-type=module", "-e", program, url, key, String(milliseconds)]);
  let said = "";
  child.stdout.on("data", (text) => {
    said += text;
  });
  await new Promise((resolve) => child.once("close", resolve));
  return JSON.parse(said) as Steady;
}

const json = { "content-type": "application/json" };

describe("the server under more than it can take", () => {
  it(`holds at most ${mostMebibytes} MiB and goes on answering a feeder`, { timeout: 600_000 }, async () => {
    const server = await start();
    const { url, pid } = server;
    const { cookie, addFeeder } = await moveIn(server);
    const rowan = await addFeeder("Rowan");
    const many = await Promise.all(Array.from({ length: 8 }, (_, index) => addFeeder(`Larch ${index}`)));
    const full = fullReport("b-flood", 1);
    const forged = signReport("pw_forged", rowan.id, full);
    const of = <T>(all: readonly T[], turn: number) => all[turn % all.length] as T;

    const floods: Record<string, ConnectionFlood> = {
      fullReports: {
        name: "fullReports",
        connections: 128,
        once: (agent, turn) => {
          const { key } = of(many, turn);
          const headers = { ...json, authorization: `Bearer ${key}` };
          return sendRequest(url, agent, { path: "/api/v1/report", headers, body: fullReport("b-full", turn) });
        },
      },
      forgedSignatures: {
        name: "forgedSignatures",
        connections: 128,
        once: (agent) =>
          sendRequest(url, agent, { path: "/api/v1/report", headers: { ...json, authorization: forged }, body: full }),
      },
      stalledBodies: {
        name: "stalledBodies",
        connections: 400,
        once: (agent) => sendSlowly(url, agent, { authorization: forged }, full, 3_000),
      },
      stalledKeys: {
        name: "stalledKeys",
        connections: 400,
        once: (agent, turn) => sendSlowly(url, agent, { authorization: `Bearer ${of(many, turn).key}` }, full, 3_000),
      },
      pages: {
        name: "pages",
        connections: 96,
        once: (agent, turn) => {
          const path = of(["/api/v1/home", `/api/v1/feeders/${rowan.id}`, "/api/docs", "/api/docs/json"], turn);
          return sendRequest(url, agent, { method: "GET", path, headers: { cookie, "accept-encoding": "br, gzip" } });
        },
      },
      signIns: {
        name: "signIns",
        connections: 32,
        once: (agent, turn) =>
          sendRequest(url, agent, {
            path: "/api/v1/session",
            headers: json,
            body: JSON.stringify({ name: `Bo ${turn}`, passphrase: "a guess that is wrong" }),
          }),
      },
      fuzz: {
        name: "fuzz",
        connections: 96,
        once: (agent, turn) => {
          const path = of(
            ["/api/v1/feeders", "/api/v1/first-sign-in", "/api/v1/join", "/api/v1/report", "/nowhere"],
            turn,
          );
          const body = of(
            ["[".repeat(60_000), `{"a":${"[1e5,".repeat(10_000)}`, "\u0000\u{1F426}".repeat(10_000), "{}"],
            turn >> 2,
          );
          const headers = { ...json, cookie, "x-pieward": "1", authorization: `Bearer ${of(many, turn).key}` };
          return sendRequest(url, agent, { path, headers, body });
        },
      },
    };

    const figures: Record<string, unknown> = { atStart: memoryUse(pid).now };
    for (const [name, one] of Object.entries(floods)) {
      const counts = await runFloods([one], each);
      figures[name] = { ...counts[name], ...memoryUse(pid) };
    }

    // A feeder goes on in the middle of it all, from a process of its own: this one has its hands full.
    const rowanReports = steadyFeeder(url, rowan.key, 2 * each);
    const together = await runFloods(Object.values(floods), 2 * each);
    const { times, statuses } = await rowanReports;
    times.sort((a, b) => a - b);
    const at = (share: number) => Math.round(times[Math.floor(share * (times.length - 1))] ?? 0);
    figures.together = { ...together, ...memoryUse(pid), rowan: { ...statuses, p50: at(0.5), most: at(1) } };
    console.log(JSON.stringify(figures));
    if (process.env.PIEWARD_FLOOD_LOG) console.log(server.errors());

    expect(memoryUse(pid).most).toBeLessThanOrEqual(mostMebibytes);
    expect(statuses[200] ?? 0).toBeGreaterThan(0.8 * times.length);
    expect(times.length, "in so many seconds").toBeGreaterThan((2 * each) / 2_000);
    expect((await fetch(`${url}/api/v1/health`)).status).toBe(200);
  });
});
