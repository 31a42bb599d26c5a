import fc from "fast-check";
import { describe, expect, it, vi } from "vitest";
import WebSocket from "ws";
import type { Answer } from "../../server/contract/report.ts";
import { hours, minutes, seconds } from "../../server/domain/instant.ts";
import { hashOf, signatureOf } from "../../server/flows/feederKeys.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { replayLog } from "../replay/replayLog.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const press = (seq: number, uptimeMs = 1_000) => ({ seq, uptimeMs, kind: "press" });
const withReadings = (readings: unknown) => ({ boot: "b-1", sentUptimeMs: 60_000, readings, events: [press(1)] });
const faultsOf = async (server: TestServer, feeder: string) =>
  (await server.runPeriodicCheck(feeder)).alarms.map(({ fault, state }) => `${fault} ${state}`);
async function replaysToTheSame(server: TestServer, feeder: string) {
  const log = (await server.app.inject({ url: `/api/v1/feeders/${feeder}/log`, headers: server.keeper })).body;
  expect(replayLog(log).replay.stateOf(feeder)).toEqual((await server.store.yards.feeder(feeder))?.state);
}
const openSockets: WebSocket[] = [];
async function socketOf(server: TestServer, key: string) {
  const address = await server.app.listen({ host: "127.0.0.1", port: 0 });
  const socket = new WebSocket(`${address.replace("http", "ws")}/api/v1/link`, {
    headers: { authorization: `Bearer ${key}` },
  });
  openSockets.push(socket);
  await new Promise((resolve, reject) => socket.once("open", resolve).once("error", reject));
  return (text: string) =>
    new Promise<{ answer?: Answer; problem?: { status: number; errors?: { field: string }[] } }>((resolve) => {
      socket.once("message", (data) => resolve(JSON.parse(String(data))));
      socket.send(text);
    });
}

describe("one bad reading", () => {
  const bad: [string, unknown, string, string][] = [
    ["NaN in quotes", { airCelsius: "NaN" }, "readings.airCelsius", 'must be a number, got "NaN"'],
    ["a number in quotes", { airCelsius: "-6.2" }, "readings.airCelsius", 'must be a number, got "-6.2"'],
    ["true", { airCelsius: true }, "readings.airCelsius", "must be a number, got true"],
    ["an object", { airCelsius: {} }, "readings.airCelsius", "must be a number, got an object"],
    ["a number out of range", { airCelsius: -127 }, "readings.airCelsius", "must be between -70 and 70, got -127"],
    ["paused as text", { paused: "yes" }, "readings.paused", 'must be true or false, got "yes"'],
    ["half a count", { counts: { button: 1.5 } }, "readings.counts.button", "must be a whole number, got 1.5"],
    ["counts that are no object", { counts: 7 }, "readings.counts", "must be an object, got 7"],
  ];
  it.each(bad)("%s is rejected alone and named, and the event is stored", async (_what, readings, field, problem) => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const posted = withReadings({ insideCelsius: 3, ...(readings as object) });
    const { status, body } = await server.report(key, posted);
    expect(status).toBe(200);
    expect(body).toMatchObject({ storedThrough: 1, refused: [{ seq: null, field, problem }] });
    expect((await server.runPeriodicCheck(feeder.id)).readings).toMatchObject({
      insideCelsius: 3,
      airCelsius: null,
      paused: null,
    });
    await replaysToTheSame(server, feeder.id);
    const sendFrame = await socketOf(server, key);
    expect(await sendFrame(JSON.stringify(posted))).toMatchObject({
      answer: { storedThrough: 1, refused: [{ field, problem }] },
    });
  });

  it("leaves the good counts beside a bad one", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, withReadings({ counts: { button: "x", perch: 4 } }));
    expect((await server.store.yards.feeder(feeder.id))?.state.latestReadings?.readings.counts).toMatchObject({
      button: null,
      perch: 4,
    });
  });

  it("may be all readings at once: a list in their place is rejected, and the event is stored", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const { body } = await server.report(key, withReadings([1, 2]));
    expect(body).toMatchObject({
      storedThrough: 1,
      refused: [{ field: "readings", problem: "must be an object, got a list" }],
    });
    await replaysToTheSame(server, feeder.id);
  });

  const bare = ["NaN", "-NaN", "nan", "-nan", "Infinity", "-Infinity", "inf", "-inf", "nan(ind)", "-nan(ind)"];
  it.each(bare)("bare %s, which is no JSON, is rejected like any other bad reading", async (token) => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const text = `{"boot":"b-1","sentUptimeMs":60000,"readings":{"airCelsius": ${token}, "insideCelsius": 3},"events":[{"seq":1,"uptimeMs":5,"kind":"trouble","words":"says \\"NaN, and: nan\\" twice: NaN"}]}`;
    const { status, body } = await server.report(key, text);
    expect(status).toBe(200);
    expect(body).toMatchObject({
      storedThrough: 1,
      refused: [{ seq: null, field: "readings.airCelsius", problem: expect.stringContaining(token) }],
    });
    const [event] = await server.store.records.events(feeder.id, 1e12 as never, 4e12 as never, 10);
    expect(JSON.parse(event?.body as string).words).toBe('says "NaN, and: nan" twice: NaN');
    await replaysToTheSame(server, feeder.id);
    const sendFrame = await socketOf(server, key);
    expect(await sendFrame(text)).toMatchObject({
      answer: { duplicates: 1, refused: [{ field: "readings.airCelsius" }] },
    });
  });

  it("bare NaN in an optional field of an event leaves that field out, named, and stores the event", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const { body } = await server.report(
      key,
      '{"boot":"b-1","sentUptimeMs":60000,"events":[{"seq":1,"uptimeMs":5,"kind":"deposit","signal":NaN}]}',
    );
    expect(body).toMatchObject({ storedThrough: 1, refused: [{ seq: null, field: "events[0].signal" }] });
    expect((await server.store.records.events(feeder.id, 1e12 as never, 4e12 as never, 10)).length).toBe(1);
  });

  it("bare NaN as the time of sending is no number: null would mean something else there", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    const { status, body } = await server.report(key, '{"boot":"b-1","sentUptimeMs":NaN,"events":[]}');
    expect(status).toBe(400);
    expect(body).toMatchObject({ errors: [{ field: "sentUptimeMs" }] });
  });
});

describe("a name that Pieward doesn't know", () => {
  it("is named in the answer, wherever it is, and the keeper sees a misspelt reading", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const { body } = await server.report(key, {
      ...withReadings({ hoperGrams: 812, counts: { buton: 3 } }),
      reading: { airCelsius: 3 },
      events: [
        { ...press(1), chutCount: 3 },
        { ...press(2), chutCount: 3 },
      ],
    });
    expect((body as Answer).unknown).toEqual([
      "reading",
      "readings.hoperGrams",
      "readings.counts.buton",
      "events[0].chutCount",
    ]);
    expect((await server.runPeriodicCheck(feeder.id)).unknownReadings).toEqual([
      { name: "hoperGrams", suggestion: "hopperGrams" },
      { name: "counts.buton", suggestion: "counts.button" },
    ]);
    await replaysToTheSame(server, feeder.id);
    server.clock.advance(minutes(1));
    await server.report(key, { boot: "b-1", sentUptimeMs: 120_000, readings: { hopperGrams: 812 } });
    expect((await server.runPeriodicCheck(feeder.id)).unknownReadings).toEqual([]);
  });

  it("is cut short, and only the first twenty are named", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    const readings = Object.fromEntries(Array.from({ length: 500 }, (_, n) => [`${"x".repeat(300)}${n}`, n]));
    const { unknown } = (await server.report(key, withReadings(readings))).body as Answer;
    expect(unknown).toHaveLength(20);
    expect(Math.max(...unknown.map(({ length }) => length))).toBeLessThanOrEqual(60);
  });
});

describe("a report that can't be read", () => {
  const unreadable: [string, string, string][] = [
    ["truncated JSON", '{"boot":"b-1","sentUptimeMs":60', "(the whole)"],
    ["no JSON at all", "hello", "(the whole)"],
    ["nothing", "", "(the whole)"],
    ["a bad envelope", '{"boot":"b 1","sentUptimeMs":60}', "boot"],
  ];
  it.each(unreadable)("%s: the keeper sees the first problem, and when it is over", async (_what, text, field) => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    expect((await server.report(key, text)).status).toBe(400);
    const [alarm] = (await server.runPeriodicCheck(feeder.id)).alarms;
    expect(alarm).toMatchObject({
      fault: "reportsUnreadable",
      title: "reports can't be read",
      state: "unacknowledged",
      priority: "soon",
    });
    expect(alarm?.reason).toContain(field === "(the whole)" ? "JSON" : field);
    expect((await server.runPeriodicCheck(feeder.id)).summary).toContain("can't be read");
    server.clock.advance(minutes(1));
    expect((await server.report(key, withReadings({}))).status).toBe(200);
    expect(await faultsOf(server, feeder.id)).toEqual(["reportsUnreadable returnedUnacknowledged"]);
    await replaysToTheSame(server, feeder.id);
  });

  it("is shown the same over the socket, and with a signature once that was checked", async () => {
    const server = await openTestServer();
    const [rowan, larch] = [await server.addFeeder(), await server.addFeeder({ name: "Larch" })];
    const sendFrame = await socketOf(server, rowan.key);
    expect(await sendFrame("hello")).toMatchObject({ problem: { status: 400 } });
    expect(await faultsOf(server, rowan.feeder.id)).toEqual(["reportsUnreadable unacknowledged"]);

    const time = String(Math.floor(server.clock.now() / 1_000));
    const postSigned = (mac: string) =>
      server.app.inject({
        method: "POST",
        url: "/api/v1/report",
        headers: {
          authorization: `Signature feeder="${larch.feeder.id}", time="${time}", mac="${mac}"`,
          "content-type": "application/json",
        },
        payload: "hello",
      });
    expect((await postSigned("wrong")).statusCode).toBe(401);
    expect(await faultsOf(server, larch.feeder.id)).toEqual([]);
    expect((await postSigned(signatureOf(hashOf(larch.key), time, "hello"))).statusCode).toBe(400);
    expect(await faultsOf(server, larch.feeder.id)).toEqual(["reportsUnreadable unacknowledged"]);
  });

  it("shows that the feeder runs: one whose reports can't be read is not silent", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    for (let minute = 0; minute < 90; minute += 1) {
      await server.report(key, { boot: "b-1", sentUptimeMs: 600_000 + minute * 60_000 });
      server.clock.advance(minutes(1));
    }
    for (let minute = 0; minute < 60; minute += 1) {
      await server.report(key, "junk");
      server.clock.advance(minutes(1));
      await runPeriodicChecks(server.ports);
    }
    expect(await faultsOf(server, feeder.id)).toEqual(["reportsUnreadable unacknowledged"]);
    expect(server.outboxSignals()).toBe(1);
    await replaysToTheSame(server, feeder.id);
  });

  it("is stored once and logged once, however often it comes", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const lines: unknown[] = [];
    const log = { ...server.app.log, warn: (...args: unknown[]) => void lines.push(args), child: () => log } as never;
    vi.spyOn(server.app.log, "child").mockReturnValue(log);
    for (let second = 0; second < 120; second += 1) {
      await server.report(key, second % 2 === 0 ? "junk" : '{"boot":5}');
      server.clock.advance(seconds(1));
    }
    const row = await server.store.yards.feeder(feeder.id);
    expect(row?.revision).toBeLessThanOrEqual(6);
    expect(lines.length).toBeGreaterThanOrEqual(1);
    expect(lines.length).toBeLessThanOrEqual(2);
    expect(lines[0]).toEqual([
      expect.objectContaining({ feeder: feeder.id, field: "(the whole)" }),
      expect.any(String),
    ]);
  });

  it("is never answered 500, whatever it holds", { timeout: 120_000 }, async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    const sendFrame = await socketOf(server, key);
    const odd = fc.anything({ withNullPrototype: false, withBigInt: false });
    const key2 = fc.constantFrom(
      "boot",
      "sentUptimeMs",
      "readings",
      "events",
      "sentAt",
      "feeder",
      "__proto__",
      "constructor",
      "x",
    );
    const envelope = fc.record({
      boot: fc.constantFrom("b-1", "b-2"),
      sentUptimeMs: fc.oneof(fc.nat(1e7), fc.constant(null)),
      readings: odd,
      events: fc.array(odd),
    });
    const body = fc.oneof(
      odd.map((value) => JSON.stringify(value) ?? ""),
      fc.dictionary(key2, odd).map((value) => JSON.stringify(value)),
      envelope.map((value) => JSON.stringify(value)),
      envelope.map((value) => JSON.stringify(value).replace(/null|\d+/g, (was) => (was.length % 2 ? "NaN" : was))),
      fc.string({ unit: "binary" }),
      fc.constantFrom(
        "NaN",
        "{NaN:1}",
        '{"a":NaN',
        '"NaN',
        "[NaN,nan,Infinity]",
        '{"__proto__":{"boot":"b-1"}}',
        "-",
        "nanny",
        '{"a":NaN1}',
      ),
    );
    await fc.assert(
      fc.asyncProperty(body, async (text) => {
        const { status } = await server.report(key, text);
        expect(status, text).toBeLessThan(500);
        const reply = await sendFrame(text);
        expect(reply.problem?.status ?? 200, text).toBeLessThan(500);
        server.clock.advance(seconds(7));
      }),
      { numRuns: 400 },
    );
  });
});

describe("numbers that jump", () => {
  it("are reported as a jump, not as missing events, and late ones still fill their gaps", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const at = (minute: number, events: object[]) =>
      server.report(key, { boot: "b-1", sentUptimeMs: 600_000 + minute * 60_000, events });
    await at(0, [press(1), press(2)]);
    server.clock.advance(minutes(1));
    await at(1, [press(2 ** 52, 630_000)]);
    expect(await server.runPeriodicCheck(feeder.id)).toMatchObject({ missingEvents: 0, numberingJumps: 1 });
    server.clock.advance(minutes(1));
    expect((await at(2, [press(3, 640_000), press(6, 650_000)])).body).toMatchObject({
      storedThrough: 6,
      duplicates: 0,
      refused: [],
    });
    expect(await server.runPeriodicCheck(feeder.id)).toMatchObject({ missingEvents: 2, numberingJumps: 1 });
    server.clock.advance(minutes(1));
    await at(3, [press(4, 641_000), press(5, 642_000), press(7, 690_000)]);
    expect(await server.runPeriodicCheck(feeder.id)).toMatchObject({ missingEvents: 0, numberingJumps: 1 });
    await replaysToTheSame(server, feeder.id);
  });

  it("are missing events where a feeder can have had so many", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, {
      boot: "b-1",
      sentUptimeMs: hours(24 * 7),
      events: [press(1), press(30_002, hours(24 * 7) - 5)],
    });
    expect(await server.runPeriodicCheck(feeder.id)).toMatchObject({ missingEvents: 30_000, numberingJumps: 0 });
  });
});

describe("the silence of a feeder that has not yet reported regularly", () => {
  it("is a note with advice how to make it regular, and nobody is notified", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, withReadings({}));
    for (let minute = 0; minute < 180; minute += 1) {
      server.clock.advance(minutes(1));
      await runPeriodicChecks(server.ports);
    }
    const view = await server.runPeriodicCheck(feeder.id);
    expect(view.alarms).toMatchObject([{ fault: "reportsIrregular", priority: "note", title: "irregular reports" }]);
    expect(view.alarms[0]?.reason).toContain("every minute");
    expect(view.summary).toMatch(/^No reports since/);
    expect(server.outboxSignals()).toBe(0);
    await replaysToTheSame(server, feeder.id);

    for (let minute = 0; minute < 61; minute += 1) {
      await server.report(key, { boot: "b-2", sentUptimeMs: 60_000 * (minute + 1) });
      server.clock.advance(minutes(1));
    }
    await server.report(key, { boot: "b-3", sentUptimeMs: 60_000 }); // a restart doesn't change that
    expect((await server.runPeriodicCheck(feeder.id)).alarms.filter(({ state }) => state === "unacknowledged")).toEqual(
      [],
    );
    server.clock.advance(minutes(40));
    await runPeriodicChecks(server.ports);
    expect(await faultsOf(server, feeder.id)).toContain("feederSilent unacknowledged");
    expect(server.outboxSignals()).toBe(1);
  });
});
