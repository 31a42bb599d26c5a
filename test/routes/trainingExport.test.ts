import { describe, expect, it } from "vitest";
import type { ReportView } from "../../server/contract/reportView.ts";
import type { BenchState } from "../../server/domain/benchRun/benchRun.ts";
import { after, before, days, hours, type Instant, instantOf, later } from "../../server/domain/instant.ts";
import { csvLine, exportColumns, exportTableNames, jsonLine } from "../../server/domain/training/exportColumns.ts";
import { eventRows } from "../../server/flows/eventRows.ts";
import type { FeederRow, RecordStore } from "../../server/ports.ts";
import { requestAs } from "../support/people.ts";
import { programmeChangeExample } from "../support/programmeChangeExample.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";
import { unzipped } from "../support/unzipped.ts";

const file = async (server: TestServer, table: string, format = "csv") =>
  requestAs(
    server,
    "GET",
    `/api/v1/yards/${server.yard}/training/export?table=${table}&format=${format}`,
    server.keeper,
  );

/** A day with two bouts, one with a press that is paid and one that isn't. */
async function openWithDay() {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder();
  const started = {
    ...programmeChangeExample,
    content: { kind: "stageStarted", stage: "pressForFood", changesPlans: false },
  };
  await requestAs(server, "POST", `/api/v1/yards/${server.yard}/training/changes`, server.keeper, started);
  await requestAs(server, "POST", `/api/v1/yards/${server.yard}/notes`, server.keeper, {
    id: "note-0001",
    text: '=SUM(A1), "two jays"\nand a magpie',
    capsOnDish: 3,
  });
  server.clock.advance(hours(24));
  const events = [
    { seq: 1, uptimeMs: 0, kind: "visit" },
    { seq: 2, uptimeMs: 4_000, kind: "press" },
    { seq: 3, uptimeMs: 5_200, kind: "portion", cause: "press", paysFor: 2, motorMs: 900, chuteCount: 2 },
    { seq: 4, uptimeMs: 900_000, kind: "visit" },
    { seq: 5, uptimeMs: 905_000, kind: "press" },
  ];
  await server.report(key, { boot: "b-1", sentUptimeMs: 3_600_000, events });
  return { server, feeder: feeder.id };
}

it("streams a year of events a day at a time, whose memory doesn't grow with them", async () => {
  const server = await openTestServer();
  const { feeder } = await server.addFeeder();
  const row = await server.store.yards.feeder(feeder.id);
  if (row === null) throw new Error("expected the feeder");
  let [most, reads, probes] = [0, 0, 0];
  const begin = before(server.clock.now(), days(400));
  const records: RecordStore = {
    ...server.store.records,
    async events(id, from, to) {
      reads += 1;
      if (id !== feeder.id || to <= begin) return [];
      if (to - from > hours(25)) probes += 1;
      const start = later(from, begin);
      const found = Array.from({ length: 24 }, (_, hour) => after(start, hours(hour)))
        .filter((recordedAt) => recordedAt < to)
        .map((recordedAt) => ({ seq: 1, boot: `b-${recordedAt}`, kind: "visit", recordedAt, body: "{}" }));
      most = Math.max(most, found.length);
      return found;
    },
  };
  const ports = { clock: server.clock, store: { ...server.store, records } };
  let rows = 0;
  let last = "";
  for await (const [at] of eventRows(ports, [row], [], 3_653)) {
    rows += 1;
    expect(String(at) >= last).toBe(true);
    last = String(at);
  }
  expect(most).toBe(24);
  expect(rows).toBeGreaterThanOrEqual(399 * 24);
  expect(probes).toBe(1); // a fortnight is read once, before the first event is known; then each day alone
  expect(reads).toBeLessThan(400 + 14 + 3_253 / 14 + 2);
});

it("has each note once where more have the same moment than are read at a time, as the season report has", async () => {
  const server = await openTestServer();
  await requestAs(server, "POST", `/api/v1/yards/${server.yard}/training/changes`, server.keeper, {
    ...programmeChangeExample,
    content: { kind: "stageStarted", stage: "pressForFood", changesPlans: false },
  });
  server.clock.advance(hours(1));
  const about = { feeder: null, stage: null, changedAt: null, still: null, capsOnDish: null };
  const row = { yard: server.yard, at: server.clock.now(), by: "Ada", ...about };
  const texts = Array.from({ length: 250 }, (_, index) => `note ${String(index).padStart(3, "0")}`);
  for (const text of texts) await server.store.training.addNote({ ...row, id: text.replace(" ", "-"), text });
  server.clock.advance(hours(1));
  const lines = (await file(server, "notes", "jsonl")).body.trimEnd().split("\n");
  expect(lines.map((line) => JSON.parse(line).text).sort()).toEqual(texts);
  const url = `/api/v1/yards/${server.yard}/training/report`;
  const { pages } = (await requestAs(server, "GET", url, server.keeper)).json() as ReportView;
  expect(pages.flatMap(({ notes }) => notes.map(({ text }) => text)).sort()).toEqual(texts);
});

describe("the export of a training record", () => {
  it("has a table of days, promises, bouts, stages, changes and notes, each with its columns", async () => {
    const { server, feeder } = await openWithDay();
    for (const table of exportTableNames) {
      const [head] = (await file(server, table)).body.split("\r\n");
      expect([table, head]).toEqual([table, exportColumns[table].join(",")]);
    }
    const events = (await file(server, "events", "jsonl")).body
      .trimEnd()
      .split("\n")
      .map((line) => JSON.parse(line));
    expect(events.map(({ kind }) => kind)).toEqual(["visit", "press", "portion", "visit", "press"]);
    expect(events[1]).toMatchObject({
      ...{ at: "2026-01-16T08:00:04.000Z", date: "2026-01-16", feeder, boot: "b-1", seq: 2, earns: null },
      ...{ paid_by: "b-1 3", latency_ms: 1_200 },
    });
    expect(events[2]).toMatchObject({ act: "press", pieces: 2, grams: null, paid_by: null });
    expect(JSON.parse(events[2].reported)).toMatchObject({ uptimeMs: 5_200, paysFor: 2, motorMs: 900 });
    expect(events[4]).toMatchObject({ paid_by: null, latency_ms: null });
    const bouts = (await file(server, "bouts")).body.trimEnd().split("\r\n").slice(1);
    expect(bouts).toEqual([
      `${feeder},2026-01-16T08:00:00.000Z,2026-01-16T08:00:04.000Z,1,1,0`,
      `${feeder},2026-01-16T08:15:00.000Z,2026-01-16T08:15:05.000Z,1,1,0`,
    ]);
    const promises = (await file(server, "promises")).body.trimEnd().split("\r\n").slice(1);
    expect(promises).toEqual([
      `${feeder},2026-01-16T08:00:04.000Z,press,paid,1200,`,
      `${feeder},2026-01-16T08:15:05.000Z,press,noPortion,,`,
    ]);
    const days = (await file(server, "days", "jsonl")).body
      .trimEnd()
      .split("\n")
      .map((line) => JSON.parse(line));
    expect(days.at(-1)).toMatchObject({
      ...{ date: "2026-01-16", stage: "pressForFood", trials: 2, successes: 2, acts: 2 },
      ...{ promised: 2, paid: 1, latency_p50_ms: 1_200, rejected_deposits: 0 },
    });
    expect((await file(server, "stages")).body).toContain("pressForFood,Press for food,2026-01-15T09:00:00.000Z,,");
    expect((await file(server, "changes")).body).toContain("Started: Press for food,they come every morning,");
  });

  it("leaves out a feeder that is on the bench or put away, as the page does, and what a bench run let fall", async () => {
    const { server, feeder } = await openWithDay();
    const place = (placement: string) =>
      requestAs(server, "PATCH", `/api/v1/feeders/${feeder}`, server.keeper, { placement });
    const tables = ["events", "promises", "bouts", "days"] as const;
    for (const table of tables) expect((await file(server, table, "jsonl")).body, table).not.toBe("");
    for (const placement of ["onBench", "putAway"]) {
      expect((await place(placement)).statusCode).toBe(200);
      for (const table of tables) expect((await file(server, table, "jsonl")).body, table).toBe("");
    }
    await place("inGarden");
    const row = (await server.store.yards.feeder(feeder)) as FeederRow;
    const [startedAt, endedAt] = ["2026-01-16T08:10:00Z", "2026-01-16T08:20:00Z"].map(instantOf) as [Instant, Instant];
    const bench = { current: null, past: [{ startedAt, ended: { at: endedAt, by: "done" } }] } as unknown as BenchState;
    const rows = [{ ...row, state: { ...row.state, bench } }];
    const kinds: unknown[] = [];
    for await (const event of eventRows(server.ports, rows, [], 10)) kinds.push(event[5]);
    expect(kinds).toEqual(["visit", "press", "portion"]);
  });

  it("quotes text by RFC 4180, and keeps a spreadsheet from taking it for a formula", async () => {
    const { server } = await openWithDay();
    expect((await file(server, "notes")).body).toContain(
      `,Keeper,"'=SUM(A1), ""two jays""\nand a magpie",,,,,3,,note-0001,\r\n`,
    );
    const [line] = (await file(server, "notes", "jsonl")).body.split("\n");
    expect(JSON.parse(line as string)).toMatchObject({
      text: '=SUM(A1), "two jays"\nand a magpie',
      feeder: null,
      caps_on_dish: 3,
    });
    expect(csvLine(["a", null, -1.5])).toBe("a,,-1.5\r\n"); // a number is no text
    expect(jsonLine("notes", ["x", "y"])).toBe(
      '{"at":"x","by":"y","text":null,"feeder":null,"stage":null,"boot":null,"seq":null,"caps_on_dish":null,"changed_at":null,"id":null,"still":null}\n',
    );
  });

  it("comes with a dictionary that has each column's unit, and the licence that was stated", async () => {
    const { server } = await openWithDay();
    const url = `/api/v1/yards/${server.yard}/training/export/dictionary?licence=CC-BY-4.0`;
    const { licence, tables } = (await requestAs(server, "GET", url, server.keeper)).json();
    expect(licence).toBe("CC-BY-4.0");
    for (const table of exportTableNames) {
      const described = tables[table] as { readonly name: string; readonly unit?: string; readonly meaning?: string }[];
      expect(described.map(({ name }) => name)).toEqual([...exportColumns[table]]);
      for (const { unit, meaning } of described) {
        expect(unit).toBeTypeOf("string");
        expect(meaning).toMatch(/\S/);
      }
    }
  });

  it("comes as one archive: the dictionary, and each table as it comes alone", async () => {
    const { server } = await openWithDay();
    const url = `/api/v1/yards/${server.yard}/training/export/archive?licence=CC-BY-4.0`;
    const answer = await requestAs(server, "GET", url, server.keeper);
    expect(answer.headers).toMatchObject({
      "content-type": "application/zip",
      "content-disposition": 'attachment; filename="training-record.zip"',
    });
    const files = await unzipped(answer.rawPayload);
    const tables = exportTableNames.flatMap((table) => ["csv", "jsonl"].map((format) => ({ table, format })));
    expect([...files.keys()]).toEqual(["dictionary.json", ...tables.map(({ table, format }) => `${table}.${format}`)]);
    expect(JSON.parse(String(files.get("dictionary.json")))).toMatchObject({ licence: "CC-BY-4.0" });
    for (const { table, format } of tables)
      expect(String(files.get(`${table}.${format}`))).toBe((await file(server, table, format)).body);
  });

  it("refuses a table that there is none of, by its name", async () => {
    const { server } = await openWithDay();
    const answer = await file(server, "birds");
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors[0]).toMatchObject({ field: "table" });
  });
});
