/**
 * `npm run bench`: how fast reports come in, beside what the machine allows at the best.
 *
 * Goal: events a second, p50 and p99 of the answer, and memory, for reports of 1, 100 and 1,000 events. Method: the built
 * server in a process of its own on a fresh database, sixteen feeders that each send one report after the other over a kept
 * connection, for a few seconds, after as many to warm up: a server runs for weeks. The ceilings are measured in the same run on the same machine: better-sqlite3 alone
 * writing the same rows into the same table, one transaction a report, and fastify alone taking the same bodies. Then how
 * long a pause takes from the keeper's tap to a feeder's live socket, beside an empty request to fastify alone under the same
 * load. Medians of five. Loopback only, bounded in time.
 */
import { execFile } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { promisify } from "node:util";
import Database from "better-sqlite3";
import { migrate } from "../../server/adapters/store/migrate.ts";
import { formatTable, measureLoad, type ReportSender } from "./load.ts";
import type { PauseProbe } from "./pauseProbe.ts";
import {
  type AddedFeeder,
  killStarted,
  residentMegabytes,
  signInAndAdd,
  startProcess,
  startServer,
  stop,
} from "./server.ts";

const root = join(import.meta.dirname, "../..");
const secondsEach = Number(process.env.BENCH_SECONDS ?? 4);
const runs = Number(process.env.BENCH_RUNS ?? 5);
const feeders = 16;
const warmUpSeconds = Number(process.env.BENCH_WARM_UP ?? 8);
const pauseSeconds = 3;
const probeStarts = 1; // second
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

/** @returns milliseconds, in order of size */
async function probeTimes(program: "pauseProbe.ts" | "emptyProbe.ts", probe: object): Promise<number[]> {
  const args = ["--import", "tsx", join(import.meta.dirname, program), JSON.stringify(probe)];
  const { stdout } = await promisify(execFile)(process.execPath, args, { cwd: root });
  return JSON.parse(stdout) as number[];
}

interface SizeRun {
  readonly reportsPerSecond: number;
  readonly p50: number;
  readonly p99: number;
  readonly megabytes: number;
  readonly pauseP50: number;
  readonly pauseP99: number;
  readonly database: number; // events a second
  readonly fastify: number;
  readonly emptyP99: number; // ms, of an empty request to fastify alone under the same load
}

let bootsUsed = 0;

/** Each with a new start of each feeder, or its events would be repeats. */
function senders(keys: readonly string[], size: number): ReportSender[] {
  bootsUsed += 1;
  return keys.map((key, index) => ({ key, bodies: reports(`b-${bootsUsed}-${index}`, size) }));
}

async function fastifyCeiling(size: number): Promise<Pick<SizeRun, "fastify" | "emptyP99">> {
  const { child, said } = await startProcess(join(import.meta.dirname, "bareFastify.ts"), { PORT: "0" }, /READY \S+\s/);
  const address = said.match(/READY (\S+)/)?.[1] as string;
  const keys = Array<string>(feeders).fill("pw_bare");
  const url = `${address}/api/v1/report`;
  await measureLoad(url, senders(keys, size), warmUpSeconds);
  const { reportsPerSecond } = await measureLoad(url, senders(keys, size), secondsEach);
  const [empty] = await Promise.all([
    probeTimes("emptyProbe.ts", { url, seconds: pauseSeconds }),
    measureLoad(url, senders(keys, size), pauseSeconds + probeStarts),
  ]);
  await stop(child);
  return { fastify: reportsPerSecond * size, emptyP99: quantileOf(empty, 0.99) };
}

async function measureSize(size: number): Promise<SizeRun> {
  const folder = mkdtempSync(join(tmpdir(), "pieward-bench-"));
  try {
    const database = databaseCeiling(folder, size);
    const bare = await fastifyCeiling(size);
    const served = await startServer(join(folder, "data"));
    const { address } = served;
    const { cookie, added } = await signInAndAdd(served, feeders + 1);
    const [paused, ...reporting] = added;
    const keys = reporting.map(({ key }) => key);
    const load = (seconds: number) => measureLoad(`${address}/api/v1/report`, senders(keys, size), seconds);
    await load(warmUpSeconds);
    const { reportsPerSecond, p50, p99 } = await load(secondsEach);
    const probe: PauseProbe = { address, cookie, feeder: paused as AddedFeeder, seconds: pauseSeconds };
    const [pauses] = await Promise.all([probeTimes("pauseProbe.ts", probe), load(pauseSeconds + probeStarts)]);
    const megabytes = residentMegabytes(served.child.pid as number);
    await stop(served.child);
    const [pauseP50, pauseP99] = [quantileOf(pauses, 0.5), quantileOf(pauses, 0.99)];
    return { reportsPerSecond, p50, p99, megabytes, pauseP50, pauseP99, database, ...bare };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

const quantileOf = (sorted: readonly number[], share: number): number =>
  sorted[Math.floor(sorted.length * share)] ?? Number.NaN;

/** Each figure's own median, so that one slow moment of the machine spoils no other figure. */
function mediansOf(all: readonly SizeRun[]): SizeRun {
  const median = (name: keyof SizeRun) =>
    all.map((run) => run[name]).sort((a, b) => a - b)[Math.floor(all.length / 2)] as number;
  return {
    reportsPerSecond: median("reportsPerSecond"),
    p50: median("p50"),
    p99: median("p99"),
    megabytes: median("megabytes"),
    pauseP50: median("pauseP50"),
    pauseP99: median("pauseP99"),
    database: median("database"),
    fastify: median("fastify"),
    emptyP99: median("emptyP99"),
  };
}

const whole = (value: number) => Math.round(value).toLocaleString("en");

function rowOf(size: number, run: SizeRun): string[] {
  const events = run.reportsPerSecond * size;
  return [
    String(size),
    whole(run.reportsPerSecond),
    whole(events),
    run.p50.toFixed(1),
    run.p99.toFixed(1),
    run.megabytes.toFixed(0),
    run.pauseP50.toFixed(1),
    run.pauseP99.toFixed(1),
    run.emptyP99.toFixed(1),
    whole(run.database),
    (events / run.database).toFixed(2),
    whole(run.fastify),
    (events / run.fastify).toFixed(2),
  ];
}

const columns = [
  "events/report",
  "reports/s",
  "events/s",
  "p50 ms",
  "p99 ms",
  "MB",
  "pause p50 ms",
  "pause p99 ms",
  "empty p99 ms",
  "database alone",
  "ratio",
  "fastify alone",
  "ratio",
];

async function main(): Promise<void> {
  const rows: string[][] = [];
  try {
    for (const size of sizes) {
      const all: SizeRun[] = [];
      for (let run = 0; run < runs; run += 1) all.push(await measureSize(size));
      rows.push(rowOf(size, mediansOf(all)));
    }
    const how = `${feeders} feeders at once, ${secondsEach} s each after ${warmUpSeconds} s of warm-up, medians of ${runs} runs, node ${process.version}`;
    process.stdout.write(`${formatTable(columns, rows)}\n${how}\n`);
  } finally {
    killStarted();
  }
}

await main();
