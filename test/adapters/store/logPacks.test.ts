import { statSync } from "node:fs";
import Database from "better-sqlite3";
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { FeederMemory } from "../../../server/adapters/store/feederMemory.ts";
import { createFeederRows } from "../../../server/adapters/store/feederRows.ts";
import { logWriter } from "../../../server/adapters/store/logRows.ts";
import { after, type Instant, isoOf, minutes, type Span } from "../../../server/domain/instant.ts";
import { feederLog } from "../../../server/flows/feederLog.ts";
import { addFeeder } from "../../../server/flows/feeders.ts";
import { createIngest } from "../../../server/flows/ingest.ts";
import { applyKeeperAction } from "../../../server/flows/keeperActions.ts";
import { packLogs } from "../../../server/flows/logPacking.ts";
import { runPeriodicChecks } from "../../../server/flows/periodicCheck.ts";
import { rebuildState } from "../../../server/flows/pure/rebuildState.ts";
import type { LogLine } from "../../../server/ports.ts";
import { replayLog } from "../../replay/replayLog.ts";
import { openTestServer, type TestServer } from "../../support/testServer.ts";

/** What happens to a feeder; each waits some minutes first. */
type Happening = { readonly waitMinutes: number } & (
  | { readonly kind: "report"; readonly boot: number; readonly events: number; readonly lateMinutes: number }
  | { readonly kind: "repeat"; readonly back: number }
  | { readonly kind: "restart"; readonly boot: number }
  | { readonly kind: "cleaned" | "check" | "pack" }
);

const waitMinutes = fc.oneof(fc.integer({ min: 1, max: 90 }), fc.integer({ min: 100, max: 1_500 }));
const boot = fc.integer({ min: 0, max: 2 });
const report = fc.record({
  kind: fc.constant("report" as const),
  ...{ waitMinutes, boot, events: fc.integer({ min: 0, max: 4 }), lateMinutes: fc.integer({ min: 0, max: 3_000 }) },
});
const happening: fc.Arbitrary<Happening> = fc.oneof(
  { weight: 6, arbitrary: report },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant("repeat" as const), waitMinutes, back: fc.nat(40) }) },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant("restart" as const), waitMinutes, boot }) },
  {
    weight: 4,
    arbitrary: fc.record({ kind: fc.constantFrom("cleaned" as const, "check" as const, "pack" as const), waitMinutes }),
  },
);

interface Yard {
  readonly server: TestServer;
  readonly feeder: string;
  readonly no: number;
  readonly answers: unknown[];
}

/** A new feeder on this server with that history. @param packs whether its log is packed where the history says so */
async function play(server: TestServer, history: readonly Happening[], packs: boolean): Promise<Yard> {
  const feeder = await newFeeder(server);
  const ingest = createIngest(server.ports);
  const boots = [0, 1, 2].map(() => ({ startedAt: server.clock.now(), seq: 0 }));
  const answers: unknown[] = [];
  const sent: object[] = [];
  for (const one of history) {
    const now = server.clock.advance(minutes(one.waitMinutes) as Span);
    if (one.kind === "report") {
      const posted = nextReport(boots[one.boot] as Boot, one, now);
      sent.push(posted);
      answers.push(await ingest.take(feeder, posted));
    } else if (one.kind === "repeat") {
      if (sent.length > 0) answers.push(await ingest.take(feeder, sent[one.back % sent.length]));
    } else if (one.kind === "restart") boots[one.boot] = { startedAt: now, seq: 0 };
    else if (one.kind === "cleaned") await clean(server, feeder);
    else if (one.kind === "check") await runPeriodicChecks(server.ports);
    else if (packs) while (await server.store.packs.packNext(now));
  }
  const { no } = server.connections.feeders().head(feeder);
  return { server, feeder, no, answers };
}

async function newFeeder({ ports, yard }: TestServer): Promise<string> {
  const added = await addFeeder(ports, yard, { name: "Rowan" }, "Ada");
  return added?.feeder.id ?? expect.fail("the yard is stored");
}

interface Boot {
  readonly startedAt: Instant;
  seq: number;
}

function nextReport(of: Boot, { boot, events, lateMinutes }: Extract<Happening, { kind: "report" }>, now: Instant) {
  const sentUptimeMs = now - of.startedAt;
  const uptimeMs = Math.max(0, sentUptimeMs - minutes(lateMinutes));
  const kinds = ["visit", "press", "deposit", "portion"];
  return {
    boot: `b-${boot}`,
    sentUptimeMs,
    readings: { airCelsius: (now / 60_000) % 17, batteryVolts: 3.9 },
    events: Array.from({ length: events }, (_, n) => {
      of.seq += 1;
      return { seq: of.seq, uptimeMs: uptimeMs + n, kind: kinds[(of.seq + n) % 4], note: `"${of.seq}"` };
    }),
  };
}

const clean = (server: TestServer, feeder: string) =>
  applyKeeperAction(server.ports, feeder, "Ada", (_, at) => ({ kind: "cleaned", at, by: "Ada" }));

/** All that can be read of a log, with a state that no memory had. */
async function everything({ server, feeder, no, answers }: Yard) {
  const log = server.connections.log();
  const { revision, state } = await row(server, feeder);
  const database = new Database(server.databaseFile, { readonly: true });
  const rebuilt = createFeederRows(database, new FeederMemory(), rebuildState).one(feeder)?.state;
  database.close();
  expect(rebuilt).toEqual(state);
  const now = server.clock.now();
  const spans = [0, 1, 2, 3, 5, 8].map((ago) => [before(now, ago + 2), before(now, ago)] as const);
  const text: string[] = [];
  for await (const line of feederLog(server.store.records, await row(server, feeder)))
    text.push(line.replace(feeder, "rowan"));
  return {
    answers,
    state,
    text,
    lines: [log.lines(no, -1, revision, 1e6), log.lines(no, 7, 31, 1e6), log.lines(no, 3, revision, 5)],
    events: spans.map(([from, to]) => log.events(no, from, to)),
    readings: spans.map(([from, to]) => log.readings(no, from, to)),
    boots: ["b-0", "b-1", "b-2", "b", "b-0#2", "%"].map((label) => log.boots(no, label)),
    bodies: ["b-0", "b-1", "b-0#2", "b-1#2"].map((numbered) => [...log.bodies(no, numbered, [1, 2, 3, 7, 11, 400])]),
  };
}
const before = (now: Instant, days: number) => after(now, minutes(-1_440 * days) as Span);
const row = async (server: TestServer, feeder: string) =>
  (await server.store.yards.feeder(feeder)) ?? expect.fail("the feeder is stored");

const packsOn = (server: TestServer) =>
  server.connections.direct.prepare(`SELECT COUNT(*) FROM "LogPack"`).pluck().get() as number;

describe("a packed log", () => {
  it("answers every question as before, whatever happened and whenever it was packed", async () => {
    const [first, second] = [await openTestServer(), await openTestServer()];
    const property = fc.asyncProperty(fc.array(happening, { minLength: 30, maxLength: 70 }), async (history) => {
      const [plain, packed] = [await play(first, history, false), await play(second, history, true)];
      expect(await everything(packed)).toEqual(await everything(plain));
    });
    await fc.assert(property, { numRuns: 6 });
    expect(packsOn(first)).toBe(0);
    expect(packsOn(second), "the histories must have days to pack").toBeGreaterThan(30);
  }, 60_000);

  it("leaves the lines from the older snapshot on, so that rebuilding needs no pack", async () => {
    const server = await openTestServer();
    const { feeder } = await play(server, week, true);
    server.clock.advance(minutes(1_440 * 30) as Span);
    while (await server.store.packs.packNext(server.clock.now()));
    const [kept, live] = ["SELECT MIN(step) FROM Snapshot", "SELECT MIN(step) FROM LogLine"].map(
      (sql) => server.connections.direct.prepare(sql).pluck().get() as number,
    );
    expect(packsOn(server)).toBeGreaterThan(3);
    expect(live).toBeLessThanOrEqual(kept as number);
    const { state } = await row(server, feeder);
    server.connections.direct.exec(`DELETE FROM "LogPack"`);
    const reopened = await server.restart();
    expect((await row(reopened, feeder)).state).toEqual(state);
    expect((await reopened.store.yards.damagedFeeders()).length).toBe(0);
  });
});

const reportEach = { kind: "report", lateMinutes: 0 } as const;
/** Eight days, each with reports with and without events, a check and an action. */
const week: readonly Happening[] = Array.from({ length: 8 }, (_, day): Happening[] => [
  { ...reportEach, waitMinutes: 60, boot: day % 2, events: 3 },
  { ...reportEach, waitMinutes: 60, boot: day % 2, events: 0 },
  { ...reportEach, waitMinutes: 60, boot: day % 2, events: 2 },
  { kind: "check", waitMinutes: 600 },
  { kind: "cleaned", waitMinutes: 660 },
]).flat();

async function packedWeek() {
  const server = await openTestServer();
  const yard = await play(server, week, false);
  while (await server.store.packs.packNext(server.clock.now()));
  expect(packsOn(server)).toBeGreaterThan(3);
  return yard;
}

describe("a thinned log", () => {
  it("has all events and all that keepers did, and no readings, reports without events or checks", async () => {
    const yard = await packedWeek();
    const { server, feeder, no } = yard;
    const [whole, { revision }] = [await everything(yard), await row(server, feeder)];
    const until = before(server.clock.now(), 4);
    while (await server.store.packs.thinNext(until));

    const thinned = await everything(yard);
    expect(thinned).toMatchObject({
      events: whole.events,
      boots: whole.boots,
      bodies: whole.bodies,
      state: whole.state,
    });
    const lines = server.connections.log().lines(no, -1, revision, 1e6);
    const old = lines.filter(({ step }) => step <= lastThinned(server));
    expect(old.filter(({ content }) => content.kind === "entry").length).toBeGreaterThan(2);
    expect(old.filter(({ content }) => content.kind === "check")).toEqual([]);
    const reports = old.flatMap(({ content }) => (content.kind === "report" ? [content] : []));
    expect(reports.length).toBeGreaterThan(4);
    expect(reports.every(({ events, readings }) => events !== "[]" && readings === null)).toBe(true);
    expect(thinned.text.filter((line) => line.includes(`"readings":{}`))).toHaveLength(reports.length);
    const lastAt = isoOf(old.at(-1)?.at as Instant).slice(0, 10);
    expect(thinned.text[2]).toContain(`"missing":{"what":"readings","until":"${lastAt}`);
    expect(whole.text.filter((line) => line.includes("missing"))).toEqual([]);
    const wholeLines = whole.lines[0]?.filter(({ step }) => step > lastThinned(server));
    expect(lines.filter(({ step }) => step > lastThinned(server))).toEqual(wholeLines);
    expect(replayLog(thinned.text.join("")).replay.stateOf("rowan")?.cleanedAt).toEqual(whole.state.cleanedAt);
  });

  it("is thinned no earlier than its last line is so old", async () => {
    const { server } = await packedWeek();
    const [first] = server.connections.direct.prepare(`SELECT "lastAt" FROM "LogPack" ORDER BY 1`).pluck().all() as [
      Instant,
    ];
    expect(await server.store.packs.thinNext(first)).toBe(false);
    expect(await server.store.packs.thinNext((first + 1) as Instant)).toBe(true);
    expect(await server.store.packs.thinNext((first + 1) as Instant)).toBe(false);
  });
});

const lastThinned = ({ connections }: TestServer) =>
  connections.direct.prepare(`SELECT MAX("lastStep") FROM "LogPack" WHERE "thinned"`).pluck().get() as number;

describe("a damaged pack", () => {
  it("is named with its feeder by whoever reads it, and stops nothing else", async () => {
    const { server, feeder, no } = await packedWeek();
    const { direct } = server.connections;
    const [{ step, at, lines }] = direct
      .prepare(
        `SELECT "firstStep" AS step, "lastEventAt" AS at, "lines" FROM "LogPack" WHERE "firstStep" > 0 ORDER BY 1`,
      )
      .all() as [{ step: number; at: Instant; lines: Buffer }];
    lines[lines.length >> 1] = (lines[lines.length >> 1] as number) ^ 4;
    direct.prepare(`UPDATE "LogPack" SET "lines" = ? WHERE "firstStep" = ?`).run(lines, step);

    const problem = `feeder ${feeder} is damaged: its lines from step ${step} on`;
    const log = server.connections.log();
    expect(() => log.events(no, at, (at + 1) as Instant)).toThrow(problem);
    expect((await server.store.records.lines(feeder, -1, 1e6, 1e6)).at(-1)?.step).toBe(step - 1);
    await expect(server.store.records.lines(feeder, step - 1, 1e6, 1e6)).rejects.toThrow(problem);
    // The downloaded log says which day it lacks, has all others, and can be replayed.
    const text: string[] = [];
    for await (const line of feederLog(server.store.records, await row(server, feeder))) text.push(line);
    const missing = text.findIndex((line) => line.includes(`"missing":{"what":"all"`));
    expect(text[missing]).toContain(isoOf(at).slice(0, 10));
    expect([missing > 2, missing < text.length - 10]).toEqual([true, true]);
    expect(replayLog(text.join("")).replay.stateOf(feeder)).not.toBeNull();
    expect(server.store.condition.damage()).toBeNull();
    expect(log.events(no, before(server.clock.now(), 2), server.clock.now()).length).toBeGreaterThan(0);
    expect(log.bodies(no, "b-1", [1, 2]).size).toBe(0);

    // A digest leaves that day out of what it compares, and has the others.
    const spans = [
      { from: at, to: (at + 1) as Instant },
      { from: before(server.clock.now(), 2), to: server.clock.now() },
    ];
    const [damaged, recent] = await server.store.digests.dayCounts(feeder, spans);
    expect(damaged).toBeNull();
    expect(recent).not.toBeNull();

    // The next report, thinning of all others, and the periodic check go on.
    const answer = await createIngest(server.ports).take(feeder, { boot: "b-7", sentUptimeMs: 1_000, events: [] });
    expect(answer.kind).toBe("answered");
    while (await server.store.packs.thinNext(server.clock.now()));
    expect(direct.prepare(`SELECT COUNT(*) FROM "LogPack" WHERE NOT "thinned"`).pluck().get()).toBe(0);
    await runPeriodicChecks(server.ports);
  });
});

describe("the database's file", () => {
  it("is smaller once 31,000 lines are packed", async () => {
    const server = await openTestServer();
    const { direct, transact } = server.connections;
    const feeder = await newFeeder(server);
    const { no } = server.connections.feeders().head(feeder);
    await transact(async () => {
      const write = logWriter(direct);
      for (let step = 1; step <= 31_000; step += 1) write(no, plainLine(step, server.clock.now()));
      direct.prepare(`UPDATE "FeederHead" SET "revision" = 31000 WHERE "feederNo" = ?`).run(no);
      direct.prepare(`UPDATE "Snapshot" SET "step" = 31000 WHERE "feederNo" = ?`).run(no);
    });
    const size = () => {
      direct.pragma("wal_checkpoint(TRUNCATE)");
      return statSync(server.databaseFile).size;
    };
    const before = size();
    for (let minute = 0; minute < 30; minute += 1) {
      server.clock.advance(minutes(1_440 * 4) as Span);
      await packLogs(server.ports, minutes(1_440 * 100) as Span);
    }
    expect(server.connections.log().lines(no, 30_990, 31_000, 100)).toHaveLength(10);
    expect(size()).toBeLessThan(before / 4);
  }, 60_000);
});

const plainLine = (step: number, start: Instant): LogLine => ({
  step,
  at: after(start, minutes(step) as Span),
  content: {
    kind: "report",
    ...{
      boot: "b-1",
      sentUptimeMs: step * 60_000,
      seqs: "",
      bootedAt: start,
      eventSpan: null,
      recalled: [],
      events: "[]",
    },
    readings: JSON.stringify({ airCelsius: (step * 7) % 23, humidityPercent: (step * 31) % 97, batteryVolts: 3.9 }),
  },
});
