/**
 * `npm run bench:year`: a feeder's year in the database, packed and thinned day by day.
 *
 * Goal: at most 12 MB a feeder-year with its roll-ups, each transaction shorter than 10 ms, so that a report waits no longer for one.
 * Method: a report a minute with noisy readings and 150 events a day are written as lines of the log, a day at a time, with the roll-ups that
 * the server's own steps make of them; after each day the
 * log is packed, thinned after 60 days, and the file gives back what is free, as the server does it. Times by the clock; pages as the
 * write-ahead log counts them. `bench:year 30` takes that many days.
 */
import { mkdtempSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createLogPacking } from "../../server/adapters/store/logPacks.ts";
import { logWriter } from "../../server/adapters/store/logRows.ts";
import { migrate } from "../../server/adapters/store/migrate.ts";
import { type Connections, connect } from "../../server/adapters/store/openStore.ts";
import { createStore } from "../../server/adapters/store/prismaStore.ts";
import { quarterSaver } from "../../server/adapters/store/rollupRows.ts";
import type { QuarterRollup } from "../../server/domain/history/quarterChanges.ts";
import { before, days, type Instant, instantOf } from "../../server/domain/instant.ts";
import { prepareNewFeeder } from "../../server/flows/feeders.ts";
import { rebuildState } from "../../server/flows/pure/rebuildState.ts";
import type { LogLine, LogPacking } from "../../server/ports.ts";
import { seededRandom } from "../../server/practice/random.ts";

const start = instantOf("2026-01-01T00:00:00Z");
const zone = "Europe/Stockholm";
const dayMs = 86_400_000;
const [minuteMs, eventsADay, keepRawDays] = [60_000, 150, 60];

/** The lines of one day: at light times a press, a deposit or a portion. */
function* dayOfLines(day: number, random: () => number): Generator<LogLine> {
  for (let minute = 0; minute < 1_440; minute += 1) {
    const at = (start + day * dayMs + minute * minuteMs + Math.floor(random() * 900)) as Instant;
    const step = day * 1_440 + minute + 1;
    const isLight = minute > 480 && minute < 1_020;
    const isEvent = isLight && random() < eventsADay / 540;
    const uptimeMs = (day % 9) * dayMs + minute * minuteMs;
    const boot = `b-${Math.floor(day / 9)}`;
    const seq = (day % 9) * 1_440 + minute + 1;
    const kind = ["visit", "press", "deposit", "portion"][Math.floor(random() * 4)] as string;
    const event = {
      seq,
      uptimeMs: uptimeMs - Math.floor(random() * 50_000),
      kind,
      ...(kind === "visit" ? { seconds: 3 + (seq % 20) } : {}),
    };
    const moment = (at - (uptimeMs - event.uptimeMs)) as Instant;
    const content = {
      kind: "report" as const,
      ...{
        boot,
        sentUptimeMs: uptimeMs,
        seqs: isEvent ? `${seq}` : "",
        bootedAt: (at - uptimeMs) as Instant,
        recalled: [],
      },
      eventSpan: isEvent ? { first: moment, last: moment } : null,
      readings: JSON.stringify(readings(day, minute, seq, random)),
      events: isEvent ? JSON.stringify([event]) : "[]",
    };
    yield { step, at, content };
  }
}

function readings(day: number, minute: number, seq: number, random: () => number) {
  const noise = (spread: number) => (random() + random() - 1) * spread;
  const rounded = (value: number, digits: number) => Number(value.toFixed(digits));
  const warmth = 6 - 12 * Math.cos((day / 365) * 2 * Math.PI) + 4 * Math.sin((minute / 1_440 - 0.3) * 2 * Math.PI);
  return {
    hopperGrams: rounded(1_800 - ((day * 1_440 + minute) % 14_400) / 10 + noise(3), 1),
    airCelsius: rounded(warmth + noise(0.2), 2),
    insideCelsius: rounded(warmth + 2 + noise(0.2), 2),
    lidCelsius: rounded(warmth - 1 + noise(0.4), 2),
    humidityPercent: rounded(80 + noise(6), 1),
    supplyVolts: rounded(5.02 + noise(0.03), 3),
    batteryVolts: rounded(3.92 + noise(0.02), 3),
    batteryCelsius: rounded(warmth + 1 + noise(0.2), 2),
    chargeMilliamps: rounded(Math.max(0, 180 * Math.sin((minute / 1_440 - 0.25) * 2 * Math.PI)) + noise(8), 0),
    signalDbm: Math.round(-67 + noise(5)),
    spooled: 0,
    counts: {
      button: Math.floor(seq / 3),
      detector: Math.floor(seq / 4),
      chute: Math.floor(seq / 5),
      perch: Math.floor(seq / 2),
    },
    paused: false,
  };
}

async function addFeeder(store: ReturnType<typeof createStore>): Promise<void> {
  const yard = { id: "alder-croft", name: "Alder Croft", zone, place: null };
  const row = {
    ...yard,
    digestTime: "07:30",
    digestWanted: true,
    practice: false,
    escalateMinutes: 15,
    diseaseNotice: null,
    stillsKeptDays: 30,
  };
  await store.keepers.openFirstSignIn("first", start);
  await store.keepers.useFirstSignIn("first", { id: "ada", name: "Ada", passphraseHash: "" }, start);
  await store.yards.addYard(row, "ada", start);
  await store.yards.addFeeder(prepareNewFeeder(row, { name: "Rowan" }, "Ada", start).stored, start);
}

/** As if the feeder had reported: its lines, its roll-ups, and a snapshot beyond them. */
function dayWriter({ direct, transact, log }: Connections) {
  const write = logWriter(direct);
  const saveQuarters = quarterSaver(direct);
  const save = (closed: readonly QuarterRollup[]) => saveQuarters(1, closed, { before: zone, now: zone });
  let stepped = rebuildState(null, log().lines(1, -1, 0, 1));
  const moveHead = direct.prepare(`UPDATE "FeederHead" SET "revision" = ? WHERE "feederNo" = 1`);
  const moveSnapshot = direct.prepare(`UPDATE "Snapshot" SET "step" = ? WHERE "feederNo" = 1`);
  return (lines: Iterable<LogLine>) =>
    transact(async () => {
      let last = 0;
      for (const line of lines) {
        write(1, line);
        stepped = rebuildState(stepped, [line], save);
        last = line.step;
      }
      moveHead.run(last);
      moveSnapshot.run(last);
    });
}

interface Measure {
  readonly steps: number[];
  readonly transactions: number[];
  readonly pages: number[];
}

/** Takes all steps that are due, and measures each with its transactions and the pages that these write. */
async function measured(
  packing: LogPacking,
  connections: Connections,
  name: keyof LogPacking,
  now: Instant,
  into: Measure,
) {
  for (;;) {
    connections.direct.pragma("wal_checkpoint(TRUNCATE)");
    const begin = performance.now();
    const wasDone = await packing[name](now);
    if (!wasDone) return;
    into.steps.push(performance.now() - begin);
    const [{ log }] = connections.direct.pragma("wal_checkpoint(PASSIVE)") as [{ log: number }];
    into.pages.push(log);
  }
}

const sum = (values: readonly number[]) => values.reduce((a, b) => a + b, 0);
const share = (values: readonly number[], part: number) =>
  [...values].sort((a, b) => a - b)[Math.min(values.length - 1, Math.floor(values.length * part))] ?? 0;

async function main(file: string, dayCount: number): Promise<void> {
  migrate(file, join(import.meta.dirname, "../../prisma/sqlite/migrations"), "bench");
  const connections = await connect(`file:${file}`, rebuildState);
  const store = createStore(connections);
  await addFeeder(store);
  const measures = { packNext: emptyMeasure(), thinNext: emptyMeasure(), shrink: emptyMeasure() };
  let current = measures.packNext;
  const transact: Connections["transact"] = async (work) => {
    const begin = performance.now();
    const result = await connections.transact(work);
    if (result !== false) current.transactions.push(performance.now() - begin);
    return result;
  };
  const packing = createLogPacking({ ...connections, transact });
  const writeDay = dayWriter(connections);
  const { uniform } = seededRandom(11);
  for (let day = 0; day < dayCount; day += 1) {
    await writeDay(dayOfLines(day, uniform));
    const now = (start + (day + 1) * dayMs) as Instant;
    for (const name of ["packNext", "thinNext", "shrink"] as const) {
      current = measures[name];
      await measured(packing, connections, name, name === "thinNext" ? before(now, days(keepRawDays)) : now, current);
    }
    if (day === 1) report(connections, file, "before the first pack, 2 days");
  }
  report(connections, file, `after ${dayCount} days`);
  for (const [name, { steps, transactions, pages }] of Object.entries(measures)) {
    console.log(
      `${name}: ${steps.length} steps of ${share(steps, 0.5).toFixed(1)} ms (p99 ${share(steps, 0.99).toFixed(1)}), of which the transaction ` +
        `${share(transactions, 0.5).toFixed(2)} ms (p99 ${share(transactions, 0.99).toFixed(2)}), ${Math.round(sum(pages) / dayCount)} pages a day`,
    );
  }
  await store.close();
}

const emptyMeasure = (): Measure => ({ steps: [], transactions: [], pages: [] });

function report({ direct }: Connections, file: string, when: string): void {
  direct.pragma("wal_checkpoint(TRUNCATE)");
  const packs = direct
    .prepare(
      `SELECT "thinned", COUNT(*) AS n, AVG(LENGTH("lines")) AS l, AVG(LENGTH("readings")) AS r FROM "LogPack" GROUP BY 1`,
    )
    .all() as { thinned: number; n: number; l: number; r: number | null }[];
  const free = direct.pragma("freelist_count", { simple: true });
  console.log(`${when}: ${(statSync(file).size / 1e6).toFixed(2)} MB in the file, ${free} pages free`);
  const rollups = direct.prepare(`SELECT COUNT(*) AS n, AVG(LENGTH("rollup")) AS l FROM "Rollup"`).get() as {
    n: number;
    l: number;
  };
  console.log(`  ${rollups.n} roll-ups of ${Math.round(rollups.l ?? 0)} octets each`);
  for (const { thinned, n, l, r } of packs)
    console.log(
      `  ${n} packs ${thinned ? "thinned" : "whole"}: ${Math.round(l)} octets of lines, ${Math.round(r ?? 0)} of readings each`,
    );
}

const folder = mkdtempSync(join(tmpdir(), "pieward-year-"));
try {
  await main(join(folder, "pieward.db"), Number(process.argv[2] ?? 365));
} finally {
  rmSync(folder, { recursive: true, force: true });
}
