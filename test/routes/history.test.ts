import { brotliDecompressSync } from "node:zlib";
import Database from "better-sqlite3";
import { describe, expect, it } from "vitest";
import { octetsOfRollup } from "../../server/adapters/store/rollupRows.ts";
import type { HistoryView } from "../../server/contract/api.ts";
import { planHistory } from "../../server/domain/history/historyPlan.ts";

import { emptyRollup, type Rollup } from "../../server/domain/history/rollup.ts";
import { days, hours, type Instant, instantOf, minutes } from "../../server/domain/instant.ts";
import { rollupsOfLevel, simulateYear, yearEnd, yearStart, yearZone } from "../domain/history/simulatedYear.ts";
import { plantRollups } from "../support/plantedRollups.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const today = { from: "2026-01-15T00:00:00+01:00", to: "2026-01-16T00:00:00+01:00" };
const wholeYear = { from: "2026-01-01T00:00:00+01:00", to: "2027-01-01T00:00:00+01:00" };
type Query = Readonly<Record<string, string | number>>;

const historyOf = (server: TestServer, feeder: string, query: Query, headers: Record<string, string> = {}) =>
  server.app.inject({
    url: `/api/v1/feeders/${feeder}/history?${new URLSearchParams(query as Record<string, string>)}`,
    headers: { ...server.keeper, ...headers },
  });

async function viewOf(server: TestServer, feeder: string, query: Query): Promise<HistoryView> {
  const answer = await historyOf(server, feeder, query);
  expect([answer.statusCode, answer.statusCode === 200 ? "" : answer.body]).toEqual([200, ""]);
  return answer.json();
}

const sum = (values: readonly (number | null)[] | undefined): number =>
  (values ?? []).reduce((total: number, value) => total + (value ?? 0), 0);

const yearQuarters = simulateYear(3);
const yearLevels = rollupsOfLevel(yearQuarters);

async function openYear(options: Parameters<typeof openTestServer>[0] = {}) {
  const server = await openTestServer(options);
  const { feeder, key } = await server.addFeeder({ name: "Rowan", portionGrams: 2 });
  await plantRollups(server.connections, feeder.id, yearLevels);
  return { server, feeder: feeder.id, key };
}

describe("the history's route", () => {
  it("answers any span of a year with all that was counted, each once, and at most so many buckets", async () => {
    const { server, feeder } = await openYear();
    const totalOf = (count: (rollup: Rollup) => number) =>
      yearQuarters.reduce((total, { rollup }) => total + count(rollup), 0);
    for (const points of [2, 7, 400, 500]) {
      const { columns, lengthMinutes, from, to, damaged } = await viewOf(server, feeder, { ...wholeYear, points });
      expect(lengthMinutes.length).toBeLessThanOrEqual(points);
      expect(sum(lengthMinutes)).toBe((Date.parse(to) - Date.parse(from)) / 60_000);
      expect([points, sum(columns.visits)]).toEqual([points, totalOf(({ counts }) => counts.visits)]);
      expect([points, sum(columns.deposits)]).toEqual([points, totalOf(({ counts }) => counts.deposits)]);
      expect(damaged).toBe(0);
    }
    const shown = { quarter: 0, hour: 0, day: 0 };
    for (let from = yearStart; from < yearEnd; from = (from + days(7)) as Instant) {
      for (const [span, points] of [
        [hours(6), 24],
        [days(2), 50],
        [days(40), 40],
      ] as const) {
        const to = Math.min(yearEnd, from + span) as Instant;
        const view = await viewOf(server, feeder, { from: iso(from), to: iso(to), points, columns: "visits" });
        const [first, last] = [Date.parse(view.from), Date.parse(view.to)];
        const within = yearQuarters.filter((quarter) => quarter.from >= first && quarter.from < last);
        expect(sum(view.columns.visits)).toBe(within.reduce((total, { rollup }) => total + rollup.counts.visits, 0));
        shown[view.level] += 1;
      }
    }
    expect(Math.min(...Object.values(shown))).toBeGreaterThan(10);
  }, 60_000);

  it("has a year of all columns in less than 100 kB", async () => {
    const { server, feeder } = await openYear();
    for (const points of [400, 500]) {
      const { body } = await historyOf(server, feeder, { ...wholeYear, points });
      const { columns } = JSON.parse(body) as HistoryView;
      expect(Object.keys(columns).length).toBeGreaterThan(25);
      expect(columns.visits?.length).toBeGreaterThan(points / 2);
      expect(Buffer.byteLength(body)).toBeLessThan(100_000);
    }
  });

  it("shows its zone, the buckets that begin with its days, the wanted columns, and alarms by their titles", async () => {
    const { server, feeder } = await openYear();
    const from = "2026-01-15T06:30:00Z";
    const query = { from, to: "2026-01-15T09:00:00Z", points: 4, columns: "supplyVoltsMean,visits,visits" };
    const view = await viewOf(server, feeder, query);
    expect(view).toMatchObject({ feeder, zone: yearZone, level: "hour", from: "2026-01-15T06:00:00.000Z" });
    expect([view.to, view.lengthMinutes]).toEqual(["2026-01-15T09:00:00.000Z", [60, 60, 60]]);
    expect(Object.keys(view.columns)).toEqual(["visits", "supplyVoltsMean"]);
    const { standingAlarms } = await viewOf(server, feeder, { ...wholeYear, points: 53, columns: "visits" });
    expect(standingAlarms).toEqual([
      {
        fault: "supplyWeak",
        title: expect.stringMatching(/supply/i),
        runs: expect.arrayContaining([[0, expect.any(Number)]]),
      },
    ]);
  });

  it("answers without data, and far from any", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    for (const [from, to] of [
      ["2026-01-15T00:00:00Z", "2026-01-16T00:00:00Z"],
      ["0000-01-01T00:00:00Z", "0009-12-31T00:00:00Z"],
      ["9999-12-31T23:59:59.998Z", "9999-12-31T23:59:59.999Z"],
      ["2016-01-01T00:00:00Z", "2026-01-01T00:00:00Z"],
    ] as const) {
      const view = await viewOf(server, feeder.id, { from, to });
      expect([view.columns, view.standingAlarms, view.damaged]).toEqual([{}, [], 0]);
      expect(view.lengthMinutes.length).toBeGreaterThan(0);
    }
  });

  it("is for the people of the feeder's yard", async () => {
    const { server, feeder } = await openYear();
    expect((await historyOf(server, feeder, today, { cookie: "" })).statusCode).toBe(401);
    const none = await historyOf(server, "no-feeder", today);
    expect([none.statusCode, none.json().detail]).toEqual([404, "There is no such feeder."]);
  });
});

const iso = (at: Instant): string => new Date(at).toISOString();

/** As the feeder sends them in its n-th minute. */
async function reportVisits(server: TestServer, key: string, minute: number, count: number): Promise<void> {
  const uptimeMs = minute * 60_000 + 30_000;
  const events = Array.from({ length: count }, (_, index) => ({
    seq: minute * 10 + index + 1,
    uptimeMs: uptimeMs - 20_000,
    kind: "visit",
  }));
  const { status } = await server.report(key, {
    boot: "b-1",
    sentUptimeMs: uptimeMs,
    readings: { airCelsius: 3 },
    events,
  });
  expect(status).toBe(200);
}

describe("a history of today", () => {
  it("has each event from its report on, once, while quarters are open, while they are stored, and after a restart", async () => {
    let server = await openTestServer();
    const { feeder, key } = await server.addFeeder();
    const seen = { open: 0, stored: 0, both: 0 };
    let visits = 0;
    for (let minute = 0; minute < 100; minute += 1) {
      await reportVisits(server, key, minute, minute % 3);
      visits += minute % 3;
      if (minute === 70) server = await server.restart();
      for (const points of [96, 24, 2]) {
        const { columns, damaged } = await viewOf(server, feeder.id, { ...today, points, columns: "visits" });
        expect([minute, points, sum(columns.visits), damaged]).toEqual([minute, points, visits, 0]);
      }
      const open = (await server.store.yards.feeder(feeder.id))?.rollups.open.length ?? 0;
      const stored = server.connections.direct.prepare(`SELECT COUNT(*) FROM "Rollup"`).pluck().get() as number;
      seen[open > 0 && stored > 0 ? "both" : open > 0 ? "open" : "stored"] += 1;
      server.clock.advance(minutes(1));
    }
    expect([seen.open > 5, seen.both > 50]).toEqual([true, true]);
  }, 60_000);
});

describe("a request for a history that can't be answered", () => {
  const refusals: readonly (readonly [change: Query, field: string, problem: RegExp])[] = [
    [{ from: "yesterday" }, "from", /must be a moment such as 2026-11-25T00:00:00Z/],
    [{ from: "2026-02-30T00:00:00Z" }, "from", /must be a moment/],
    [{ from: "2026-01-15" }, "from", /must be a moment/],
    [{ to: "" }, "to", /must be a moment/],
    [{ to: "2026-01-16T00:00:00 01:00" }, "to", /\+ is written as %2B/],
    [{ to: today.from }, "to", /must be later than from/],
    [{ to: "2026-01-14T23:00:00+01:00" }, "to", /must be later than from/],
    [{ from: "2016-01-14T23:00:00Z" }, "to", /must be at most 10 years after from/],
    [{ points: 1 }, "points", /must be a whole number from 2 to 500/],
    [{ points: 501 }, "points", /must be a whole number from 2 to 500/],
    [{ points: 2.5 }, "points", /must be a whole number from 2 to 500/],
    [{ points: "many" }, "points", /must be a whole number from 2 to 500/],
    [{ points: "" }, "points", /must be a whole number from 2 to 500/],
    [{ columns: "visits,landings" }, "columns", /there is no column "landings"/],
    [{ columns: "" }, "columns", /there is no column ""/],
    [{ columns: "visits,".repeat(200) }, "columns", /at most 1000 characters/],
    [{ zone: "UTC" }, "zone", /is not known here/],
  ];

  it("is refused with the field and what is wrong with it", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    for (const [change, field, problem] of refusals) {
      const answer = await historyOf(server, feeder.id, { ...today, ...change });
      expect([change, answer.statusCode, answer.headers["cache-control"]]).toEqual([change, 400, "no-store"]);
      expect([change, answer.json().errors]).toEqual([change, [{ field, problem: expect.stringMatching(problem) }]]);
    }
    const { from, to } = today;
    for (const [query, missing] of [
      [{ to }, "from"],
      [{ from }, "to"],
    ] as const) {
      const answer = await historyOf(server, feeder.id, query as Query);
      expect(answer.json().errors).toEqual([{ field: missing, problem: expect.stringMatching(/must be a moment/) }]);
    }
    const twice = await server.app.inject({
      url: `/api/v1/feeders/${feeder.id}/history?${new URLSearchParams(today)}&points=5&points=6`,
      headers: server.keeper,
    });
    expect(twice.json().errors).toEqual([{ field: "points", problem: expect.stringMatching(/whole number/) }]);
  });
});

/** Counts how often roll-ups are read. */
async function openCounting() {
  let reads = 0;
  const opened = await openYear({
    around: (connections) => ({
      ...connections,
      rollups: () => {
        reads += 1;
        return connections.rollups();
      },
    }),
  });
  return { ...opened, reads: () => reads };
}

describe("the entity tag of a history", () => {
  const tagOf = (answer: { headers: Record<string, unknown> }) => String(answer.headers.etag);
  const week = { from: "2026-01-09T00:00:00+01:00", to: "2026-01-16T00:00:00+01:00" };

  it("gives 304 without a body, and without reading again while nothing has changed", async () => {
    const { server, feeder, reads } = await openCounting();
    const first = await historyOf(server, feeder, week);
    expect([first.statusCode, reads()]).toEqual([200, 1]);
    expect(tagOf(first)).toMatch(/^"[\w-]{20,}"$/); // strong
    expect(first.headers).toMatchObject({ "cache-control": "private, no-cache", vary: "accept-encoding" });
    for (const known of [tagOf(first), `W/${tagOf(first)}`, `"other", ${tagOf(first)}`]) {
      const again = await historyOf(server, feeder, week, { "if-none-match": known });
      expect([known, again.statusCode, again.body, tagOf(again), reads()]).toEqual([known, 304, "", tagOf(first), 1]);
      expect(again.headers).toMatchObject({ "cache-control": "private, no-cache", vary: "accept-encoding" });
    }
    const other = await historyOf(server, feeder, week, { "if-none-match": '"other"' });
    expect([other.statusCode, other.body, reads()]).toEqual([200, first.body, 2]);
  });

  it("is another one for another span, number of points, columns or compression", async () => {
    const { server, feeder } = await openYear();
    const tags = await Promise.all(
      [week, today, { ...week, points: 20 }, { ...week, columns: "visits" }].map(async (query) =>
        tagOf(await historyOf(server, feeder, query)),
      ),
    );
    const compressed = await historyOf(server, feeder, week, { "accept-encoding": "br" });
    expect(compressed.headers).toMatchObject({ "content-encoding": "br", vary: "accept-encoding" });
    const plain = await historyOf(server, feeder, week);
    expect(brotliDecompressSync(compressed.rawPayload).toString()).toBe(plain.body);
    expect(new Set([...tags, tagOf(compressed)]).size).toBe(5);
    const known = { "accept-encoding": "br", "if-none-match": tagOf(compressed) };
    expect((await historyOf(server, feeder, week, known)).statusCode).toBe(304);
  });

  it("stays the same in another order of the columns, and while only the time passes by", async () => {
    const { server, feeder, reads } = await openCounting();
    const past = { from: "2026-01-10T00:00:00+01:00", to: "2026-01-11T00:00:00+01:00" };
    const first = await historyOf(server, feeder, { ...past, columns: "visits,presses" });
    const known = { "if-none-match": tagOf(first) };
    const again = await historyOf(server, feeder, { ...past, columns: "presses,visits" }, known);
    expect([again.statusCode, reads()]).toEqual([304, 1]);
    server.clock.advance(hours(5));
    const later = await historyOf(server, feeder, { ...past, columns: "presses,visits" }, known);
    expect([later.statusCode, reads()]).toEqual([304, 2]);
  });

  it("changes with each report that changes the answer, and is never the same for two answers", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder();
    const query = { ...today, points: 24, columns: "visits,reportedShare" };
    const yesterday = await historyOf(server, feeder.id, { from: "2026-01-14T00:00:00Z", to: "2026-01-14T12:00:00Z" });
    const bodies = new Map<string, string>();
    let last = "";
    for (let minute = 0; minute < 25; minute += 0.5) {
      await reportVisits(server, key, minute, 1);
      const answer = await historyOf(server, feeder.id, query, { "if-none-match": last });
      expect([minute, answer.statusCode]).toEqual([minute, 200]);
      last = tagOf(answer);
      expect([minute, bodies.has(last)]).toEqual([minute, false]);
      bodies.set(last, answer.body);
      expect((await historyOf(server, feeder.id, query, { "if-none-match": last })).statusCode).toBe(304);
      server.clock.advance(minutes(0.5));
    }
    expect(new Set(bodies.values()).size).toBe(50);
    // Without a report only the share of the current hour changes.
    server.clock.advance(minutes(20));
    const silent = await historyOf(server, feeder.id, query, { "if-none-match": last });
    expect([silent.statusCode, bodies.has(tagOf(silent))]).toEqual([200, false]);
    const past = { from: "2026-01-14T00:00:00Z", to: "2026-01-14T12:00:00Z" };
    const unchanged = await historyOf(server, feeder.id, past, { "if-none-match": tagOf(yesterday) });
    expect(unchanged.statusCode).toBe(304);
  });

  it("is the same after a restart, where the answer is", async () => {
    const { server, feeder } = await openYear();
    const tag = tagOf(await historyOf(server, feeder, week));
    const next = await server.restart();
    const answer = await historyOf(next, feeder, week, { "if-none-match": tag });
    expect(answer.statusCode).toBe(304);
  });
});

describe("roll-ups that can't be read", () => {
  it("are left out, and the answer says how many", async () => {
    const { server, feeder } = await openYear();
    const before = await viewOf(server, feeder, today);
    const { direct } = server.connections;
    const rows = direct
      .prepare<[number, number], { from: Instant }>(
        `SELECT "from" FROM "Rollup" WHERE "span" = 0 AND "from" >= ? AND "from" < ? ORDER BY "from"`,
      )
      .all(instantOf(today.from), instantOf(today.to));
    const planted: readonly (string | Buffer | number)[] = ["f;;x y", Buffer.from([0xff, 0x00]), 3.5];
    const at = [40, 44, 52];
    for (const [index, text] of planted.entries()) {
      direct
        .prepare(`UPDATE "Rollup" SET "rollup" = ? WHERE "span" = 0 AND "from" = ?`)
        .run(text, rows[at[index] ?? 0]?.from);
    }
    server.clock.advance(minutes(1));
    const view = await viewOf(server, feeder, today);
    expect(view.damaged).toBe(3);
    const left = (index: number) => (at.includes(index) ? null : before.columns.visits?.[index]);
    expect(view.columns.visits).toEqual(before.columns.visits?.map((_, index) => left(index)));
    expect(sum(before.columns.visits) - sum(view.columns.visits)).toBeGreaterThan(0);
  });
});

describe("what a chart shows beside the history", () => {
  it("is a refill in its bucket and the limits of the cold, where the columns call for them", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder({ name: "Rowan", battery: "lithiumIon" });
    const url = `/api/v1/feeders/${feeder.id}/refills`;
    for (const [id, grams] of [
      ["refill-01", 200],
      ["refill-02", 150],
    ] as const) {
      const body = { id, what: { kind: "added", grams } };
      expect((await server.app.inject({ method: "POST", url, headers: server.keeper, body })).statusCode).toBe(200);
    }
    const now = server.clock.now();
    const query = { from: iso((now - days(3)) as Instant), to: iso((now + hours(1)) as Instant), points: 5 };
    const whole = await viewOf(server, feeder.id, query);
    const today = whole.lengthMinutes.length - 1;
    expect(whole.refills).toEqual([{ bucket: today, grams: 350 }]);
    expect(whole.limits?.battery).toMatchObject({ kind: "lithiumIon", chargesAboveCelsius: 0 });
    const few = await viewOf(server, feeder.id, { ...query, columns: "visits" });
    expect([few.refills, few.limits]).toEqual([undefined, undefined]);
  });
});

describe("the store's history", () => {
  it("is of one moment with the feeder's row, also where another process writes between the two reads", async () => {
    const { server, feeder } = await openYear();
    const span = { from: instantOf(today.from), to: instantOf(today.to), points: 96, zone: yearZone };
    const other = new Database(server.databaseFile);
    const found = await server.store.history.rollups(feeder, ({ revision }) => {
      other.prepare(`UPDATE "FeederHead" SET "revision" = ? WHERE "feederNo" <> 0`).run(revision + 1);
      other
        .prepare(`INSERT OR REPLACE INTO "Rollup" SELECT "no", 0, ?, ? FROM "Feeder" WHERE "id" = ?`)
        .run(span.from, octetsOfRollup({ ...emptyRollup, counts: { ...emptyRollup.counts, visits: 777 } }), feeder);
      return planHistory(span);
    });
    other.close();
    const visits = found?.rollups.map(({ rollup }) => rollup.counts.visits) ?? [];
    expect([found?.feeder.revision, visits.length, visits.includes(777)]).toEqual([0, 96, false]);
  });
});
