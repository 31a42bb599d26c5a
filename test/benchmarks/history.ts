/**
 * `npm run bench:history`: what a chart waits for, and how large its answer is.
 *
 * Goal: a year in at most 50 ms and 100 kB. Method: the built server in a process of its own, one feeder with a simulated year of
 * roll-ups (35,040 quarters of an hour with 1 % of gaps, their hours; the days of ten years) in its database. Then one request after the other
 * over a kept connection, without compression and with it, and with the tag of an answer that hasn't changed. The server's processor time
 * counts beside the clock's, since a busy machine changes it less. Loopback only.
 * HISTORY_REQUESTS=… of each kind.
 */
import { type ChildProcess, spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { Agent, type IncomingMessage, request } from "node:http";
import { loadavg, tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { rollupMerger } from "../../server/adapters/store/rollupRows.ts";
import type { HistoryLevel } from "../../server/domain/history/historyPlan.ts";
import { dayOf } from "../../server/domain/history/rollupSpans.ts";
import { after, days, type Instant, isoOf } from "../../server/domain/instant.ts";
import {
  rollupsOfLevel,
  type SimulatedQuarter,
  simulateYear,
  yearEnd,
  yearZone,
} from "../domain/history/simulatedYear.ts";
import { formatTable } from "./load.ts";

const requestsEach = Number(process.env.HISTORY_REQUESTS ?? 200);
const yearsOfDays = 10;

/** As seen from the end of the year. */
const spans = [
  ["a day", 1, 400],
  ["a week", 7, 400],
  ["a month", 30, 400],
  ["a year", 365, 400],
  ["a year", 365, 500],
  ["250 days, the most rows", 250, 500],
  ["ten years", 3_652, 500],
] as const;

function startServer(dataDir: string): Promise<{ child: ChildProcess; address: string; token: string }> {
  const child = spawn(process.execPath, ["dist/server/main.js"], {
    cwd: join(import.meta.dirname, "../.."),
    env: { ...process.env, DATA_DIR: dataDir, HOST: "127.0.0.1", PORT: "0", LOG_LEVEL: "error" },
    stdio: ["ignore", "pipe", "inherit"],
  });
  return new Promise((resolve, reject) => {
    let output = "";
    child.stdout?.on("data", (chunk) => {
      output += chunk;
      const [, address] = /listens at (http\S+)/.exec(output) ?? [];
      const [, token] = /first-sign-in#(\S+)\s/.exec(output) ?? [];
      if (address !== undefined && token !== undefined) resolve({ child, address, token });
    });
    child.on("exit", (code) => reject(new Error(`the server ended with ${code}: ${output}`)));
  });
}

async function addFeeder(
  address: string,
  token: string,
): Promise<{ readonly cookie: string; readonly feeder: string }> {
  const post = async (path: string, body: object, cookie = "") => {
    const headers = { "content-type": "application/json", "x-pieward": "1", cookie };
    const answer = await fetch(`${address}${path}`, { method: "POST", headers, body: JSON.stringify(body) });
    if (!answer.ok) throw new Error(`${path} answered ${answer.status}: ${await answer.text()}`);
    return answer;
  };
  const account = { token, name: "Ada", passphrase: "birds before breakfast", zone: yearZone };
  const signedIn = await post("/api/v1/first-sign-in", account);
  const cookie = String(signedIn.headers.get("set-cookie")).split(";")[0] as string;
  const home = await (await fetch(`${address}/api/v1/home`, { headers: { cookie } })).json();
  const added = await post("/api/v1/feeders", { yard: home.yards[0].id, name: "Rowan" }, cookie);
  return { cookie, feeder: (await added.json()).feeder.id };
}

/** @returns how many rows of each level */
function storeRollups(file: string, feeder: string): Record<HistoryLevel, number> {
  const { quarter, hour, day } = rollupsOfLevel(simulateYear(11));
  const levels = {
    quarter,
    hour,
    day: Array.from({ length: yearsOfDays }, (_, years) => daysBefore(day, years)).flat(),
  };
  const database = new Database(file);
  const merge = rollupMerger(database);
  const no = database.prepare<[string], number>(`SELECT "no" FROM "Feeder" WHERE "id" = ?`).pluck().get(feeder) ?? 0;
  database.transaction(() => {
    for (const [level, rollups] of Object.entries(levels)) {
      for (const { from, rollup } of rollups) merge(no, { level: level as HistoryLevel, from, rollup });
    }
  })();
  database.close();
  return { quarter: quarter.length, hour: hour.length, day: levels.day.length };
}

const daysBefore = (year: readonly SimulatedQuarter[], years: number): readonly SimulatedQuarter[] =>
  year.map(({ from, rollup }) => ({ from: dayOf(after(from, days(-365 * years + 0.5)), yearZone).from, rollup }));

/** Of the process, in milliseconds: proc(5), where a tick is 10 ms. */
function processorTime(pid: number): number {
  const fields = readFileSync(`/proc/${pid}/stat`, "utf8").split(") ")[1]?.split(" ") ?? [];
  return 10 * (Number(fields[11]) + Number(fields[12]));
}

const agent = new Agent({ keepAlive: true, maxSockets: 1 });

interface Answer {
  readonly milliseconds: number;
  readonly octets: number;
  readonly status: number;
  readonly tag: string;
}

function get(url: string, headers: Record<string, string>): Promise<Answer> {
  const begin = performance.now();
  return new Promise((resolve, reject) => {
    const finish = (answer: IncomingMessage) => {
      let octets = 0;
      answer.on("data", (chunk: Buffer) => {
        octets += chunk.length;
      });
      answer.on("end", () => {
        const { statusCode: status = 0, headers: answered } = answer;
        resolve({ milliseconds: performance.now() - begin, octets, status, tag: String(answered.etag) });
      });
    };
    request(url, { agent, headers }, finish).on("error", reject).end();
  });
}

/** The median and the 99th percentile, and the octets of the last answer. */
async function measure(url: string, headers: Record<string, string>, expected: number) {
  const answers: Answer[] = [];
  for (let count = 0; count < requestsEach; count += 1) {
    const answer = await get(url, headers);
    if (answer.status !== expected) throw new Error(`expected ${expected} from ${url}, got ${answer.status}`);
    answers.push(answer);
  }
  const times = answers.map(({ milliseconds }) => milliseconds).sort((a, b) => a - b);
  const share = (part: number) => (times[Math.floor(part * times.length)] ?? 0).toFixed(1);
  return {
    times: `${share(0.5)}, ${share(0.99)}`,
    octets: answers.at(-1)?.octets ?? 0,
    tag: answers.at(-1)?.tag ?? "",
  };
}

async function main(dataDir: string): Promise<void> {
  const { child, address, token } = await startServer(dataDir);
  try {
    const { cookie, feeder } = await addFeeder(address, token);
    const rows = storeRollups(join(dataDir, "pieward.db"), feeder);
    const load = () =>
      loadavg()
        .map((value) => value.toFixed(1))
        .join(", ");
    console.log(`${rows.quarter} quarters, ${rows.hour} hours, ${rows.day} days; load ${load()} at the begin`);
    const table: string[][] = [];
    for (const [name, dayCount, points] of spans) {
      const query = {
        from: isoOf(after(yearEnd, days(-dayCount)) as Instant),
        to: isoOf(yearEnd),
        points: String(points),
      };
      const url = `${address}/api/v1/feeders/${feeder}/history?${new URLSearchParams(query)}`;
      await measure(url, { cookie }, 200); // until the code is compiled
      const before = processorTime(child.pid ?? 0);
      const plain = await measure(url, { cookie }, 200);
      const processor = (processorTime(child.pid ?? 0) - before) / requestsEach;
      const compressed = await measure(url, { cookie, "accept-encoding": "br" }, 200);
      const unchanged = await measure(url, { cookie, "if-none-match": plain.tag }, 304);
      table.push([
        ...[name, String(points), plain.times, processor.toFixed(1), String(plain.octets)],
        ...[compressed.times, String(compressed.octets), unchanged.times],
      ]);
    }
    const heads = ["span", "points", "ms p50, p99", "processor ms", "octets", "brotli: ms", "octets", "304: ms"];
    console.log(formatTable(heads, table));
    console.log(`load ${load()} at the end`);
  } finally {
    child.removeAllListeners("exit");
    agent.destroy();
    child.kill("SIGTERM");
    await once(child, "exit");
  }
}

const folder = mkdtempSync(join(tmpdir(), "pieward-history-"));
try {
  await main(folder);
} finally {
  rmSync(folder, { recursive: true, force: true });
}
