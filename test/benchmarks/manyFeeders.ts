/**
 * `npm run bench:feeders`: how soon a server with a thousand feeders answers after a start, and how much memory a hundred feeders take.
 *
 * Method: the built server on a fresh database. A thousand feeders report some times each; then it is stopped, once in an orderly way and
 * once killed, and started again: the time from the start of the process to the first page, to the home screen with all feeders, and to
 * the answer of a report. Then a fresh server with a hundred feeders that each report every second (a keeper's report once a minute), for
 * half a minute. Loopback only, bounded in time.
 */
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { formatTable } from "./load.ts";
import {
  type AddedFeeder,
  killStarted,
  residentMegabytes,
  type Served,
  signInAndAdd,
  startServer,
  stop,
} from "./server.ts";

const feedersAtStart = Number(process.env.BENCH_FEEDERS ?? 1_000);
const reportsEach = 20; // fewer than between two snapshots, so that a killed server has them to take again
const feedersInMemory = 100;
const memorySeconds = 30;

async function report(address: string, { key }: AddedFeeder, seq: number): Promise<void> {
  const uptimeMs = seq * 60_000;
  const answer = await fetch(`${address}/api/v1/report`, {
    method: "POST",
    headers: { authorization: `Bearer ${key}`, "content-type": "application/json" },
    body: JSON.stringify({
      boot: "b-1",
      sentUptimeMs: uptimeMs + 1_000,
      readings: { hopperGrams: 800 - seq, airCelsius: -6.2, insideCelsius: -2.1, supplyVolts: 12.4, paused: false },
      events: [
        { seq: 2 * seq - 1, uptimeMs, kind: "visit" },
        { seq: 2 * seq, uptimeMs, kind: "portion", cause: "timer", motorMs: 900, meanMilliamps: 240, chuteCount: 3 },
      ],
    }),
  });
  if (!answer.ok) throw new Error(`the report answered ${answer.status}: ${await answer.text()}`);
}

async function reportAll(address: string, feeders: readonly AddedFeeder[], seq: number): Promise<void> {
  for (let from = 0; from < feeders.length; from += 16)
    await Promise.all(feeders.slice(from, from + 16).map((feeder) => report(address, feeder, seq)));
}

interface StartTimes {
  readonly page: number; // milliseconds since the process was started
  readonly report: number;
  readonly home: number;
}

async function timeStart(
  data: string,
  cookie: string,
  feeder: AddedFeeder,
  seq: number,
): Promise<[StartTimes, Served]> {
  const began = performance.now();
  const since = () => performance.now() - began;
  const served = await startServer(data, false);
  await (await fetch(served.address)).text();
  const page = since();
  await report(served.address, feeder, seq);
  const reported = since();
  const home = await fetch(`${served.address}/api/v1/home`, { headers: { cookie } });
  await home.text();
  if (!home.ok) throw new Error(`the home screen answered ${home.status}`);
  return [{ page, report: reported, home: since() }, served];
}

async function measureStarts(folder: string): Promise<string[][]> {
  const data = join(folder, "start");
  const first = await startServer(data);
  const { cookie, added } = await signInAndAdd(first, feedersAtStart);
  for (let seq = 1; seq <= reportsEach; seq += 1) await reportAll(first.address, added, seq);
  const one = added[0] as AddedFeeder;
  await stop(first.child);
  const [orderly, second] = await timeStart(data, cookie, one, reportsEach + 1);
  for (let seq = reportsEach + 2; seq <= 2 * reportsEach; seq += 1) await reportAll(second.address, added, seq);
  await stop(second.child, "SIGKILL");
  const [killed, third] = await timeStart(data, cookie, one, 2 * reportsEach + 1);
  await stop(third.child);
  const row = (how: string, { page, report: reported, home }: StartTimes) => [
    how,
    ...[page, reported, home].map((ms) => ms.toFixed(0)),
  ];
  return [row("after an orderly end", orderly), row("after a kill", killed)];
}

async function measureMemory(folder: string): Promise<number[]> {
  const served = await startServer(join(folder, "memory"));
  const { added } = await signInAndAdd(served, feedersInMemory);
  const megabytes: number[] = [];
  for (let second = 1; second <= memorySeconds; second += 1) {
    await Promise.all([reportAll(served.address, added, second), sleep(1_000)]);
    megabytes.push(residentMegabytes(served.child.pid as number));
  }
  await stop(served.child);
  return megabytes;
}

async function main(): Promise<void> {
  const folder = mkdtempSync(join(tmpdir(), "pieward-bench-"));
  try {
    const starts = await measureStarts(folder);
    const head = [`start with ${feedersAtStart} feeders`, "first page ms", "first report ms", "home screen ms"];
    const megabytes = await measureMemory(folder);
    const most = Math.max(...megabytes).toFixed(0);
    process.stdout.write(
      `${formatTable(head, starts)}\n${feedersInMemory} feeders, a report a second each, ${memorySeconds} s: ${megabytes.at(-1)?.toFixed(0)} MB at the end, ${most} MB at most\n`,
    );
  } finally {
    killStarted();
    rmSync(folder, { recursive: true, force: true });
  }
}

await main();
