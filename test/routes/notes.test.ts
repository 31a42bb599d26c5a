import { describe, expect, it } from "vitest";
import type { NotesView, TrainingView } from "../../server/contract/trainingView.ts";
import { isoOf, minutes } from "../../server/domain/instant.ts";
import { stillIdOf } from "../../server/flows/stillsOfEvents.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { jpegPicture } from "../support/pictures.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const send = (server: TestServer, method: "GET" | "POST" | "PATCH" | "DELETE", rest = "", body?: object) =>
  requestAs(server, method, `/api/v1/yards/${server.yard}/notes${rest}`, server.keeper, body);
const read = async (server: TestServer, rest = ""): Promise<NotesView> => (await send(server, "GET", rest)).json();

describe("the notebook of a yard", () => {
  it("holds notes, the newest first, tied to a feeder and a stage, with who wrote them", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const bo = await joinByInvite(server, "Bo", "helper");
    await send(server, "POST", "", { id: "note-0001", text: " Snow on the lid ", at: "2026-01-14T08:00:00Z" });
    const url = `/api/v1/yards/${server.yard}/notes`;
    const about = { feeder: feeder.id, stage: "dropCap" };
    await requestAs(server, "POST", url, bo, { id: "note-0002", text: "A jay", ...about });
    expect((await read(server)).notes).toEqual([
      {
        ...{ id: "note-0002", at: "2026-01-15T09:00:00.000Z", by: "Bo", text: "A jay", changedAt: null, photos: [] },
        still: null,
        capsOnDish: null,
        feeder: { id: feeder.id, name: "Rowan" },
        stage: { id: "dropCap", name: "Drop a cap" },
      },
      expect.objectContaining({ at: "2026-01-14T08:00:00.000Z", by: "Keeper", text: "Snow on the lid", feeder: null }),
    ]);
  });

  it("takes the same note twice as one, changes its text, and deletes it", async () => {
    const server = await openTestServer();
    const body = { id: "note-0001", text: "a jay" };
    await send(server, "POST", "", body);
    expect(((await send(server, "POST", "", { ...body, text: "other" })).json() as NotesView).notes).toHaveLength(1);
    server.clock.advance(minutes(2));
    await send(server, "PATCH", "/note-0001", { text: "two jays" });
    expect((await read(server)).notes[0]).toMatchObject({ text: "two jays", changedAt: "2026-01-15T09:02:00.000Z" });
    expect((await send(server, "DELETE", "/note-0001")).statusCode).toBe(200);
    expect((await read(server)).notes).toEqual([]);
    for (const answer of [
      await send(server, "DELETE", "/note-0001"),
      await send(server, "PATCH", "/note-0001", { text: "x" }),
    ])
      expect(answer.statusCode).toBe(404);
  });

  it("keeps the still that it was written at, with its event and feeder, and stays when that is deleted", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder();
    const headers = { authorization: `Bearer ${key}`, "content-type": "image/jpeg" };
    await requestAs(server, "POST", "/api/v1/stills?boot=b-1&seq=4", headers, await jpegPicture(640, 480));
    const id = stillIdOf(server.yard, feeder.id, { boot: "b-1", seq: 4 });
    const taken = isoOf(server.clock.now());
    server.clock.advance(minutes(90));
    const body = { id: "note-0001", text: "two caps at once", still: id };
    expect((await send(server, "POST", "", body)).statusCode).toBe(200);
    const about = { at: taken, feeder: { id: feeder.id, name: "Rowan" } };
    const size = { widthPixels: 640, heightPixels: 480 };
    const picture = { id, ...size, at: taken, kind: null };
    const event = { boot: "b-1", seq: 4 };
    expect((await read(server)).notes).toEqual([
      expect.objectContaining({ ...about, still: { event, isEvent: false, picture } }),
    ]);
    await requestAs(server, "DELETE", `/api/v1/yards/${server.yard}/stills/${id}`, server.keeper);
    const left = [
      expect.objectContaining({ ...about, text: body.text, still: { event, isEvent: false, picture: null } }),
    ];
    expect((await read(server)).notes).toEqual(left);
    expect(((await send(server, "POST", "", body)).json() as NotesView).notes).toEqual(left); // after a lost answer
  });

  it("may name another moment than that of its still", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder();
    const headers = { authorization: `Bearer ${key}`, "content-type": "image/jpeg" };
    await requestAs(server, "POST", "/api/v1/stills?boot=b-1&seq=4", headers, await jpegPicture());
    const still = stillIdOf(server.yard, feeder.id, { boot: "b-1", seq: 4 });
    const at = "2026-01-14T08:00:00.000Z";
    await send(server, "POST", "", { id: "note-0001", text: "a jay", still, at });
    expect((await read(server)).notes[0]?.at).toBe(at);
  });

  it("counts caps on the dish, which the record shows by day and a cap stage's advice names", async () => {
    const server = await openTestServer();
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { place });
    const url = `/api/v1/yards/${server.yard}/training`;
    const started = { kind: "stageStarted", stage: "dropCap", changesPlans: false };
    const change = { id: "change-0001", reason: "they nudge", at: "2026-01-13T12:00:00Z", content: started };
    expect((await requestAs(server, "POST", `${url}/changes`, server.keeper, change)).statusCode).toBe(200);
    const record = async (): Promise<TrainingView> => (await requestAs(server, "GET", url, server.keeper)).json();
    await send(server, "POST", "", { id: "note-0001", text: "x", at: "2026-01-14T08:00:00Z", capsOnDish: 2 });
    const named = expect.stringMatching(/^3 caps lay on the dish in the last 5 days/);
    const before = await record();
    expect(before.capsOnDish).toEqual([{ date: "2026-01-14", caps: 2 }]);
    expect(before.advice?.reasons).not.toContainEqual(named);
    await send(server, "POST", "", { id: "note-0002", text: "y", capsOnDish: 1 });
    expect((await read(server)).notes.map(({ capsOnDish }) => capsOnDish)).toEqual([1, 2]);
    const after = await record();
    expect(after.capsOnDish.at(-1)).toEqual({ date: "2026-01-15", caps: 1 });
    expect(after.advice?.reasons).toContainEqual(named);
    await send(server, "DELETE", "/note-0002");
    expect((await record()).capsOnDish).toEqual(before.capsOnDish);
  });

  it("belongs to an event that has no still, and says so", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const about = { feeder: feeder.id, event: { boot: "b-1", seq: 7 } };
    await send(server, "POST", "", { id: "note-0001", text: "the cap lay on the roof", ...about });
    const [note] = (await read(server)).notes;
    expect(note).toMatchObject({
      feeder: { id: feeder.id },
      still: { event: about.event, isEvent: true, picture: null },
    });
    const without = await send(server, "POST", "", { id: "note-0002", text: "snow", event: about.event });
    expect([without.statusCode, without.json().errors[0].field]).toEqual([400, "feeder"]);
  });

  it("loses no note between two pages where many have the same moment", async () => {
    const server = await openTestServer();
    const about = { feeder: null, stage: null, changedAt: null, still: null, capsOnDish: null };
    const row = { yard: server.yard, at: server.clock.now(), by: "Ada", text: "snow", ...about };
    for (let index = 0; index < 70; index += 1)
      await server.store.training.addNote({ ...row, id: `note-${1_000 + index}` });
    const first = await read(server);
    const last = first.notes.at(-1);
    const rest = await read(server, `?before=${last?.at}&beforeId=${last?.id}`);
    expect(new Set([...first.notes, ...rest.notes].map(({ id }) => id)).size).toBe(70);
    const url = `/api/v1/yards/${server.yard}/notes?beforeId=note-1000`;
    const answer = await requestAs(server, "GET", url, server.keeper);
    expect([answer.statusCode, answer.json().errors[0].field]).toEqual([400, "before"]);
  });

  it("is read page by page", async () => {
    const server = await openTestServer();
    for (let index = 0; index < 52; index += 1) {
      server.clock.advance(minutes(1));
      await send(server, "POST", "", { id: `note-${1_000 + index}`, text: `note ${index}` });
    }
    const first = await read(server);
    expect([first.notes.length, first.more]).toEqual([50, true]);
    const last = first.notes.at(-1);
    const rest = await read(server, `?before=${last?.at}&beforeId=${last?.id}`);
    expect([rest.notes.map(({ text }) => text), rest.more]).toEqual([["note 1", "note 0"], false]);
  });

  it.each([
    ["text", { text: "  " }, "must not be empty"],
    ["text", { text: "x".repeat(4_001) }, "at most 4000"],
    ["at", { at: "2026-01-16T00:00:00Z" }, "must not lie in the future"],
    ["feeder", { feeder: "unknown" }, "no such feeder"],
    ["stage", { stage: "unknown" }, "no such stage"],
    ["still", { still: "unknown" }, "no such picture"],
    ["capsOnDish", { capsOnDish: -1 }, "must not be negative"],
    ["capsOnDish", { capsOnDish: 1.5 }, "must be a whole number"],
    ["capsOnDish", { capsOnDish: 1_001 }, "must be at most 1000"],
  ])("names the field %s that can't be", async (field, wrong, problem) => {
    const server = await openTestServer();
    const answer = await send(server, "POST", "", { id: "note-0001", text: "a jay", ...wrong });
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors[0]).toMatchObject({ field, problem: expect.stringContaining(problem) });
    expect((await read(server)).notes).toEqual([]);
  });
});
