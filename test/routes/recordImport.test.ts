import { describe, expect, it } from "vitest";
import type { ImportedRecordView, NotesView } from "../../server/contract/trainingView.ts";
import { days, hours, minutes } from "../../server/domain/instant.ts";
import { removeOldStills } from "../../server/flows/stills.ts";
import { requestAs } from "../support/people.ts";
import { jpegPicture } from "../support/pictures.ts";
import { programmeChangeExample } from "../support/programmeChangeExample.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";
import { unzipped } from "../support/unzipped.ts";

const of = (server: TestServer, path: string) => `/api/v1/yards/${server.yard}/${path}`;
const zipped = async (server: TestServer) =>
  (await requestAs(server, "GET", of(server, "training/export/archive"), server.keeper)).rawPayload;
const imports = (server: TestServer, body: Buffer | string, type = "application/zip") =>
  requestAs(
    server,
    "POST",
    of(server, "training/import"),
    { ...server.keeper, "content-type": type },
    Buffer.from(body),
  );

async function taken(server: TestServer, body: Buffer | string, type?: string): Promise<ImportedRecordView> {
  const answer = await imports(server, body, type);
  expect(answer.statusCode, answer.body).toBe(200);
  return answer.json();
}

/** Ten empty portions for caps: on a live feeder the food is out, and its keeper is told. */
const runOut = (uptimeMs: number) =>
  Array.from({ length: 40 }, (_, index) => [
    { seq: 100 + 2 * index, uptimeMs: uptimeMs + index * 60_000, kind: "deposit", metal: true, earns: true },
    {
      ...{ seq: 101 + 2 * index, uptimeMs: uptimeMs + index * 60_000 + 1_500, kind: "portion", cause: "deposit" },
      ...{ paysFor: 100 + 2 * index, motorMs: 900, meanMilliamps: 300, chuteCount: 0 },
    },
  ]).flat();

/** A feeder with two days of visits, presses and a run-out; a programme of which one change was undone; notes with pictures. */
async function openWithRecord() {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder();
  const change = (id: string, content: object) =>
    requestAs(server, "POST", of(server, "training/changes"), server.keeper, {
      ...programmeChangeExample,
      id,
      content,
    });
  await change("change-0001", { kind: "stageStarted", stage: "pressForFood", changesPlans: false });
  await change("change-0002", { kind: "keptMinChanged", keptMin: 0.8 });
  await requestAs(server, "POST", of(server, "training/changes/change-0002/undo"), server.keeper);
  server.clock.advance(hours(24));
  const morning = [
    { seq: 1, uptimeMs: 0, kind: "visit" },
    { seq: 2, uptimeMs: 4_000, kind: "press" },
    { seq: 3, uptimeMs: 5_200, kind: "portion", cause: "press", paysFor: 2, motorMs: 900, chuteCount: 2 },
    { seq: 4, uptimeMs: 900_000, kind: "visit" },
    { seq: 5, uptimeMs: 905_000, kind: "press" },
    { seq: 6, uptimeMs: 950_000, kind: "refill", grams: 800 },
  ];
  await server.report(key, { boot: "b-1", sentUptimeMs: 3_600_000, events: morning });
  server.clock.advance(hours(3));
  await server.report(key, { boot: "b-1", sentUptimeMs: 14_400_000, events: runOut(4_000_000) });
  server.clock.advance(hours(12));
  const again = [{ seq: 1, uptimeMs: 10_000, kind: "visit" }];
  await server.report(key, { boot: "b-1", sentUptimeMs: 60_000, events: again }); // a new start under the same id
  const still = await requestAs(
    server,
    "POST",
    "/api/v1/stills?boot=b-1&seq=2",
    { authorization: `Bearer ${key}`, "content-type": "image/jpeg" },
    await jpegPicture(120, 90),
  );
  expect(still.statusCode).toBe(200);
  const { stills } = (await requestAs(server, "GET", of(server, "stills"), server.keeper)).json();
  const id = stills[0].id as string;
  const labels = { starred: true, who: "a jay", brought: "a cap" };
  await requestAs(server, "PATCH", of(server, `stills/${id}`), server.keeper, labels);
  const note = { id: "note-0001", text: "two jays", still: id, capsOnDish: 2 };
  await requestAs(server, "POST", of(server, "notes"), server.keeper, note);
  await requestAs(server, "POST", of(server, "notes"), server.keeper, { id: "note-0002", text: "snow" });
  await requestAs(server, "PATCH", of(server, "notes/note-0002"), server.keeper, { text: "snow, and then sleet" });
  const event = { feeder: feeder.id, event: { boot: "b-1", seq: 5 } };
  await requestAs(server, "POST", of(server, "notes"), server.keeper, { id: "note-0003", text: "unpaid", ...event });
  const photo = { ...server.keeper, "content-type": "image/jpeg" };
  await requestAs(server, "POST", of(server, "notes/note-0002/photos"), photo, await jpegPicture(200, 100));
  return { server, feeder: feeder.id, key };
}

/** What differs from server to server: ids, addresses, and what an encoder makes of a picture. */
function plain(files: ReadonlyMap<string, Buffer>, feeder: string) {
  const alone = { picture: null, sha256: null, still: null };
  const rows = (table: string) =>
    String(files.get(`${table}.jsonl`))
      .trimEnd()
      .split("\n")
      .map((line) => ({ ...JSON.parse(line.replaceAll(feeder, "feeder")), ...alone }));
  const pictures = (table: string) => rows(table).map(({ id: _, at: __, ...row }) => row);
  const events = rows("events").map(({ boot, paid_by, reported, ...row }) => {
    const { uptimeMs: _, ...rest } = JSON.parse(reported);
    return { ...row, boot: String(boot).replace("~", "#"), paid_by: String(paid_by).replace("~", "#"), rest };
  });
  const tables = ["bouts", "stages", "changes", "notes", "feeders"];
  return {
    events,
    days: rows("days")
      .filter(({ date }) => date < "2026-01-18")
      .map(({ judged_share: _, air_celsius: __, ...row }) => row),
    promises: rows("promises").map(({ cause: _, ...row }) => row), // of an alarm, and none comes back
    photos: pictures("photos"),
    stills: rows("stills").map(({ id: _, ...row }) => row),
    ...Object.fromEntries(tables.map((table) => [table, rows(table)])),
  };
}

describe("an exported training record", () => {
  it("comes back in an empty yard as it was, but for ids, and a second time adds nothing", async () => {
    const { server: source, feeder } = await openWithRecord();
    const archive = await zipped(source);
    const target = await openTestServer();
    target.clock.advance(days(25));
    const first = await taken(target, archive);
    expect(first).toEqual({
      ...{ changes: 2, feeders: 1, events: 87, notes: 3, photos: 1, stills: 1 },
      ...{ picturesLeftOut: 0, eventsLeftOut: 0 },
    });
    const [row] = await target.store.yards.feeders();
    const exported = await unzipped(await zipped(target));
    expect(plain(exported, row?.id as string)).toEqual(plain(await unzipped(archive), feeder));
    expect([...exported.keys()].filter((name) => name.endsWith(".jpg"))).toHaveLength(2);
    const { notes } = (await requestAs(target, "GET", of(target, "notes"), target.keeper)).json() as NotesView;
    expect(notes.find(({ id }) => id === "note-0001")?.still?.picture).not.toBeNull();

    const nothing = { changes: 0, feeders: 0, events: 0, notes: 0, photos: 0, stills: 0 };
    expect(await taken(target, archive)).toMatchObject(nothing);
    expect(await taken(target, await zipped(target))).toMatchObject(nothing); // its own, too
    expect(plain(await unzipped(await zipped(target)), row?.id as string)).toEqual(plain(exported, row?.id as string));
    expect(await removeOldStills(target.ports)).toBe(0); // they arrived today
  });

  it("rings no alarm and notifies nobody of an imported past, in which the food ran out", async () => {
    const { server: source, feeder } = await openWithRecord();
    const raised = async (server: TestServer, id: string) =>
      (await server.store.records.alarmChanges(id, 0 as never, (server.clock.now() + 1) as never)).filter(
        ({ to }) => to === "unacknowledged",
      );
    expect(await raised(source, feeder)).not.toEqual([]); // the planted run-out is one
    const target = await openTestServer();
    target.clock.advance(days(2));
    await taken(target, await zipped(source));
    const [row] = await target.store.yards.feeders();
    const id = row?.id as string;
    for (let step = 0; step < 12; step += 1) {
      target.clock.advance(hours(6));
      await target.runPeriodicCheck(id);
    }
    expect(await raised(target, id)).toEqual([]);
    expect(await target.store.escalations.ofYard(target.yard)).toEqual([]);
    expect(target.push.sent).toEqual([]);
    expect(target.email.sent).toEqual([]);
    const pause = { id: "pause-all-0001", kind: "pause", until: null };
    await requestAs(target, "POST", of(target, "orders"), target.keeper, pause);
    target.clock.advance(minutes(30));
    await target.runPeriodicCheck(id);
    expect(await raised(target, id)).toEqual([]); // no order waits for what never answers
  });

  it("never goes into a feeder that has reported itself", async () => {
    const { server } = await openWithRecord();
    const before = plain(await unzipped(await zipped(server)), "none");
    expect(await taken(server, await zipped(server))).toMatchObject({ feeders: 0, events: 0, eventsLeftOut: 87 });
    expect(plain(await unzipped(await zipped(server)), "none")).toEqual(before);
  });

  it("may be one file of JSON lines", async () => {
    const { server: source } = await openWithRecord();
    const notes = String((await unzipped(await zipped(source))).get("notes.jsonl"));
    const target = await openTestServer();
    target.clock.advance(days(2));
    expect(await taken(target, notes, "application/x-ndjson")).toMatchObject({ notes: 3, events: 0 });
  });
});

describe("a record that isn't understood", () => {
  const broken = async (change: (notes: string[]) => void) => {
    const { server: source } = await openWithRecord();
    const lines = String((await unzipped(await zipped(source))).get("notes.jsonl"))
      .trimEnd()
      .split("\n");
    change(lines);
    const target = await openTestServer();
    target.clock.advance(days(2));
    const answer = await imports(target, lines.join("\n"), "application/x-ndjson");
    const { notes } = (await requestAs(target, "GET", of(target, "notes"), target.keeper)).json() as NotesView;
    expect(notes).toEqual([]); // nothing is stored
    return answer;
  };

  it("is named by file, line and field", async () => {
    const answer = await broken((lines) => {
      lines[1] = JSON.stringify({ ...JSON.parse(lines[1] as string), at: "yesterday", caps_on_dish: -1 });
    });
    expect(answer.statusCode).toBe(422);
    expect(answer.json().errors.map(({ field }: { field: string }) => field)).toEqual([
      "notes.jsonl, line 2, at",
      "notes.jsonl, line 2, caps_on_dish",
    ]);
  });

  it.each([
    ["no JSON", "{", "notes.jsonl, line 2"],
    ["a line that is too long", `{"text":"${"x".repeat(70_000)}"}`, "notes.jsonl, line 2"],
  ])("is named where it is %s", async (_, line, field) => {
    const answer = await broken((lines) => {
      lines[1] = line;
    });
    expect(answer.json().errors[0]).toMatchObject({ field });
  });

  it.each([
    ["nothing", ""],
    ["another file", "a,b\r\n1,2\r\n"],
    [
      "a table that is made from the others",
      '{"feeder":"a","at":"b","act":"c","outcome":"d","latency_ms":1,"cause":null}',
    ],
    ["a damaged archive", "PK\u0003\u0004 and then nothing"],
  ])("is refused where it is %s", async (_, body) => {
    const target = await openTestServer();
    const answer = await imports(target, body, "application/octet-stream");
    expect([400, 422]).toContain(answer.statusCode);
    expect(answer.json().errors[0]).toMatchObject({ field: "file" });
  });

  it("names an event that no feeder could have sent, and one that lies in the future", async () => {
    const { server: source } = await openWithRecord();
    const events = String((await unzipped(await zipped(source))).get("events.jsonl"))
      .trimEnd()
      .split("\n");
    const change = (line: string, of: object) => JSON.stringify({ ...JSON.parse(line), ...of });
    const reported = JSON.stringify({ seq: 3, kind: "portion", uptimeMs: 5_200, cause: "magic" });
    const body = [
      change(events[0] as string, { at: "2031-01-01T00:00:00.000Z" }),
      change(events[2] as string, { reported }),
      change(events[3] as string, { seq: 77 }),
    ].join("\n");
    const target = await openTestServer();
    target.clock.advance(days(2));
    const answer = await imports(target, body, "application/x-ndjson");
    expect(answer.json().errors.map(({ field }: { field: string }) => field)).toEqual([
      "events.jsonl, line 1, at",
      "events.jsonl, line 2, reported.cause",
      "events.jsonl, line 3, reported",
    ]);
    expect(await target.store.yards.feeders()).toEqual([]);
  });
});
