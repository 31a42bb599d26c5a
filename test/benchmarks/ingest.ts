/**
 * `npm run bench`: how fast reports come in, beside what the machine allows at the best.
 *
 * Goal: events a second, p50 and p99 of the answer, and memory, for reports of 1, 100 and 1,000 events. Method: the built
 * server in a process of its own on a fresh database, sixteen feeders that each send one report after the other over a kept
 * connection, for a few seconds. The ceilings are measured in the same run on the same machine: better-sqlite3 alone
 * writing the same rows into the same table, one transaction a report, and fastify alone taking the same bodies. Then how
 * long a pause takes from the keeper's tap to a feeder's live socket. Loopback only, bounded in time.
 */
import { type ChildProcess, spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import WebSocket from "ws";
import { migrate } from "../../server/adapters/store/migrate.ts";
import { formatTable, measureLoad, type ReportSender } from "./load.ts";

const root = join(import.meta.dirname, "../..");
const secondsEach = Number(process.env.BENCH_SECONDS ?? 4);
const feeders = 16;
const pauseSeconds = 3;
const pausesMax = 200;
const sizes = [1, 100, 1_000] as const;

/** Many kinds and fields as a real feeder sends them: 120 to 170 octets an event. */
const event = (seq: number) =>
  seq % 2 === 0
    ? { seq, uptimeMs: seq, kind: "deposit", metal: true, signal: 0.82, chute: true }
    : {
        seq,
        uptimeMs: seq,
        kind: "portion",
        cause: "deposit",
        paysFor: seq - 1,
        motorMs: 900,
        meanMilliamps: 240,
        peakMilliamps: 610,
        chuteCount: 3,
      };
const reading = { hopperGrams: 812.4, airCelsius: -6.2, insideCelsius: -2.1, humidityPercent: 88, paused: false };

function* reports(boot: string, size: number): Generator<string> {
  for (let seq = 1; ; seq += size) {
    const events = Array.from({ length: size }, (_, index) => event(seq + index));
    yield JSON.stringify({ boot, sentUptimeMs: seq + size, readings: reading, events });
  }
}

/** better-sqlite3 alone: a row for each event, with what has to be known of it, synchronous=FULL, one transaction a report. */
function databaseCeiling(folder: string, size: number): number {
  const file = join(folder, `ceiling-${size}.db`);
  migrate(file, join(root, "prisma/sqlite/migrations"), "bench");
  const database = new Database(file);
  database.pragma("synchronous = FULL");
  database.exec(
    `CREATE TABLE "Event" ("feeder" INTEGER, "boot" TEXT, "seq" INTEGER, "kind" TEXT, "receivedAt" INTEGER, "recordedAt" INTEGER,
       "body" TEXT, PRIMARY KEY ("feeder", "boot", "seq")) WITHOUT ROWID`,
  );
  const insert = database.prepare(`INSERT INTO "Event" VALUES (?, ?, ?, ?, ?, ?, ?)`);
  const begin = Date.now();
  const write = database.transaction((from: number, feeder: number) => {
    for (let seq = from; seq < from + size; seq += 1) {
      const one = event(seq);
      insert.run(feeder, "b-1", seq, one.kind, begin + from + size, begin + seq, JSON.stringify(one));
    }
  });
  const start = performance.now();
  let seq = 1;
  while (performance.now() - start < secondsEach * 500) {
    for (let feeder = 0; feeder < feeders; feeder += 1) write(seq, feeder);
    seq += size;
  }
  const rate = ((seq - 1) * feeders) / ((performance.now() - start) / 1_000);
  database.close();
  return rate;
}

const started: ChildProcess[] = [];

/** @returns the address that the process prints. */
function start(file: string, env: Record<string, string>): Promise<{ child: ChildProcess; said: string }> {
  const args = file.endsWith(".ts") ? ["--import", "tsx", file] : [file];
  const child = spawn(process.execPath, args, {
    cwd: root,
    env: { ...process.env, ...env },
    stdio: ["ignore", "pipe", "inherit"],
  });
  started.push(child);
  return new Promise((resolve, reject) => {
    let said = "";
    child.stdout?.on("data", (chunk) => {
      said += chunk;
      if (/first-sign-in#\S+\s|READY/.test(said)) resolve({ child, said });
    });
    child.on("exit", (code) => reject(new Error(`${file} ended with ${code}: ${said}`)));
  });
}

function stop(child: ChildProcess): Promise<void> {
  child.removeAllListeners("exit");
  return new Promise((resolve) => {
    child.on("exit", () => resolve());
    child.kill("SIGTERM");
  });
}

/** From the keeper's tap to the feeder's socket, over and over, a pause and a resume in turn. */
async function pauseTimes(address: string, cookie: string, feeder: Added): Promise<number[]> {
  const socket = new WebSocket(`${address.replace("http", "ws")}/api/v1/link`, {
    headers: { authorization: `Bearer ${feeder.key}` },
  });
  await once(socket, "open");
  const times: number[] = [];
  const end = performance.now() + pauseSeconds * 1_000;
  for (let index = 0; index < pausesMax && performance.now() < end; index += 1) {
    const arrives = once(socket, "message");
    const asked = performance.now();
    const body = JSON.stringify({ id: `bench-${index}-order`, kind: index % 2 === 0 ? "pause" : "resume" });
    const headers = { "content-type": "application/json", "x-pieward": "1", cookie };
    const answer = fetch(`${address}/api/v1/feeders/${feeder.id}/orders`, { method: "POST", headers, body });
    await arrives;
    times.push(performance.now() - asked);
    if (!(await answer).ok) throw new Error(`the order answered ${(await answer).status}`);
  }
  socket.close();
  return times.sort((a, b) => a - b);
}

interface Added {
  readonly id: string;
  readonly key: string;
}

async function signInAndAdd(address: string, token: string): Promise<{ cookie: string; added: Added[] }> {
  const post = async (path: string, body: object, cookie = "") => {
    const headers = { "content-type": "application/json", "x-pieward": "1", cookie };
    const answer = await fetch(`${address}${path}`, { method: "POST", headers, body: JSON.stringify(body) });
    if (!answer.ok) throw new Error(`${path} answered ${answer.status}: ${await answer.text()}`);
    return answer;
  };
  const claimed = await post("/api/v1/first-sign-in", { token, name: "Bench", passphrase: "only for measuring" });
  const cookie = claimed.headers.get("set-cookie")?.split(";")[0] ?? "";
  const home = (await (await fetch(`${address}/api/v1/home`, { headers: { cookie } })).json()) as {
    yards: { id: string }[];
  };
  const added: Added[] = [];
  for (let index = 0; index <= feeders; index += 1) {
    const one = await post("/api/v1/feeders", { yard: home.yards[0]?.id, name: `Bench ${index}` }, cookie);
    const { key, feeder } = (await one.json()) as { key: string; feeder: { id: string } };
    added.push({ id: feeder.id, key });
  }
  return { cookie, added };
}

const residentMegabytes = (pid: number): number => {
  const pages = Number(readFileSync(`/proc/${pid}/statm`, "utf8").split(" ")[1]);
  return (pages * 4_096) / 1_048_576;
};

async function main(): Promise<void> {
  const folder = mkdtempSync(join(tmpdir(), "pieward-bench-"));
  const rows: string[][] = [];
  try {
    for (const size of sizes) {
      const ceiling = databaseCeiling(folder, size);

      const bare = await start(join(import.meta.dirname, "bareFastify.ts"), { PORT: "0" });
      const bareAddress = bare.said.match(/READY (\S+)/)?.[1] as string;
      let runs = 0;
      const senders = (keys: readonly string[]): ReportSender[] => {
        runs += 1; // each with a new start of each feeder, or its events would be repeats
        return keys.map((key, index) => ({ key, bodies: reports(`b-${runs}-${index}`, size) }));
      };
      const bareRun = await measureLoad(
        `${bareAddress}/api/v1/report`,
        senders(Array(feeders).fill("pw_bare")),
        secondsEach,
      );
      await stop(bare.child);

      const env = {
        PORT: "0",
        HOST: "127.0.0.1",
        DATA_DIR: join(folder, `data-${size}`),
        LOG_LEVEL: "warn",
        REPORTS_PER_MINUTE: "1000000",
      };
      const ours = await start(join(root, "dist/server/main.js"), env);
      const [, address, token] = ours.said.match(/(http:\/\/\S+)\/first-sign-in#(\S+)/) as unknown as [
        string,
        string,
        string,
      ];
      const { cookie, added } = await signInAndAdd(address, token);
      const [paused, ...reporting] = added;
      const load = (seconds: number) =>
        measureLoad(`${address}/api/v1/report`, senders(reporting.map(({ key }) => key)), seconds);
      const run = await load(secondsEach);
      const [pauses] = await Promise.all([pauseTimes(address, cookie, paused as Added), load(pauseSeconds)]);
      const memory = residentMegabytes(ours.child.pid as number);
      await stop(ours.child);

      const [events, bareEvents] = [run.reportsPerSecond * size, bareRun.reportsPerSecond * size];
      const whole = (value: number) => Math.round(value).toLocaleString("en");
      rows.push([
        String(size),
        whole(run.reportsPerSecond),
        whole(events),
        run.p50.toFixed(1),
        run.p99.toFixed(1),
        memory.toFixed(0),
        (pauses[Math.floor(pauses.length * 0.5)] as number).toFixed(1),
        (pauses[Math.floor(pauses.length * 0.99)] as number).toFixed(1),
        whole(ceiling),
        (events / ceiling).toFixed(2),
        whole(bareEvents),
        (events / bareEvents).toFixed(2),
      ]);
    }
    process.stdout.write(
      `${formatTable(
        [
          "events/report",
          "reports/s",
          "events/s",
          "p50 ms",
          "p99 ms",
          "MB",
          "pause p50 ms",
          "pause p99 ms",
          "database alone",
          "ratio",
          "fastify alone",
          "ratio",
        ],
        rows,
      )}\n${feeders} feeders at once, ${secondsEach} s each, node ${process.version}, synchronous=FULL\n`,
    );
  } finally {
    for (const child of started) if (child.exitCode === null) child.kill("SIGKILL");
    rmSync(folder, { recursive: true, force: true });
  }
}

await main();
