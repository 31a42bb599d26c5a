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
 * What the server holds in memory while it gets far more than it can handle. It runs as `npm start` runs it. The service unit
 * ends it at 512 MB; it must stay well below.
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
  const [memoryOption = "", , ...options] = scripts.start.split(" ");
  const env = {
    ...Object.fromEntries([memoryOption.split("=")]),
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

async function signIn({ url, token }: Started) {
  const json = { "content-type": "application/json", "x-pieward": "1" };
  const signedIn = await fetch(`${url}/api/v1/first-sign-in`, {
    method: "POST",
    headers: json,
    body: JSON.stringify({ token, name: "Ada", passphrase: "corvids carry corks to Larch" }),
  });
  const cookie = String(signedIn.headers.get("set-cookie")).split(";")[0] as string;
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
  for (let number = 1; performance.now() < end; number += 1) {
    const from = performance.now();
    const body = JSON.stringify({ boot: "b-rowan", sentUptimeMs: 1000 * number, readings: { paused: false } });
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
  let output = "";
  child.stdout.on("data", (text) => {
    output += text;
  });
  await new Promise((resolve) => child.once("close", resolve));
  return JSON.parse(output) as Steady;
}

const json = { "content-type": "application/json" };

describe("the server under too much load", () => {
  it(`holds at most ${mostMebibytes} MiB and goes on answering a feeder`, { timeout: 600_000 }, async () => {
    const server = await start();
    const { url, pid } = server;
    const { cookie, addFeeder } = await signIn(server);
    const rowan = await addFeeder("Rowan");
    const many = await Promise.all(Array.from({ length: 8 }, (_, index) => addFeeder(`Larch ${index}`)));
    const full = fullReport("b-flood", 1);
    const forged = signReport("pw_forged", rowan.id, full);
    const of = <T>(all: readonly T[], number: number) => all[number % all.length] as T;

    const floods: Record<string, ConnectionFlood> = {
      fullReports: {
        name: "fullReports",
        connections: 128,
        once: (agent, number) => {
          const { key } = of(many, number);
          const headers = { ...json, authorization: `Bearer ${key}` };
          return sendRequest(url, agent, { path: "/api/v1/report", headers, body: fullReport("b-full", number) });
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
        once: (agent, number) =>
          sendSlowly(url, agent, { authorization: `Bearer ${of(many, number).key}` }, full, 3_000),
      },
      pages: {
        name: "pages",
        connections: 96,
        once: (agent, number) => {
          const path = of(["/api/v1/home", `/api/v1/feeders/${rowan.id}`, "/api/docs", "/api/docs/json"], number);
          return sendRequest(url, agent, { method: "GET", path, headers: { cookie, "accept-encoding": "br, gzip" } });
        },
      },
      signIns: {
        name: "signIns",
        connections: 32,
        once: (agent, number) =>
          sendRequest(url, agent, {
            path: "/api/v1/session",
            headers: json,
            body: JSON.stringify({ name: `Bo ${number}`, passphrase: "a guess that is wrong" }),
          }),
      },
      fuzz: {
        name: "fuzz",
        connections: 96,
        once: (agent, number) => {
          const path = of(
            ["/api/v1/feeders", "/api/v1/first-sign-in", "/api/v1/join", "/api/v1/report", "/nowhere"],
            number,
          );
          const body = of(
            ["[".repeat(60_000), `{"a":${"[1e5,".repeat(10_000)}`, "\u0000\u{1F426}".repeat(10_000), "{}"],
            number >> 2,
          );
          const headers = { ...json, cookie, "x-pieward": "1", authorization: `Bearer ${of(many, number).key}` };
          return sendRequest(url, agent, { path, headers, body });
        },
      },
    };

    const figures: Record<string, unknown> = { atStart: memoryUse(pid).now };
    for (const [name, one] of Object.entries(floods)) {
      const counts = await runFloods([one], each);
      figures[name] = { ...counts[name], ...memoryUse(pid) };
    }

    // A feeder reports meanwhile, from a process of its own: this one is busy.
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
