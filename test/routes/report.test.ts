import Database from "better-sqlite3";
import { describe, expect, it, vi } from "vitest";
import { openLogDisk } from "../../server/adapters/store/durableLog.ts";
import type { Answer } from "../../server/contract/report.ts";
import { reportExample } from "../../server/contract/reportExample.ts";
import { hours, isoOf, minutes, seconds } from "../../server/domain/instant.ts";
import { hashOf, signatureOf } from "../../server/flows/feederKeys.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { texts } from "../../server/text/index.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const press = (seq: number, uptimeMs: number) => ({ seq, uptimeMs, kind: "press" });
const plain = (events: object[] = [], sentUptimeMs = 600_000, boot = "b-1") => ({ boot, sentUptimeMs, events });

async function storedEvents(server: TestServer, feeder: string) {
  const now = server.clock.now();
  return server.store.records.events(feeder, (now - days) as never, (now + days) as never, 10_000);
}
const days = hours(24 * 30);

const limitPages = (server: TestServer, most: number) => server.connections.direct.pragma(`max_page_count = ${most}`);

describe("a report", () => {
  it("is answered as the documentation shows, with the very example it shows", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const spec = (await server.app.inject({ url: "/api/docs/json" })).json();
    const example = spec.paths["/api/v1/report"].post.requestBody.content["application/json"].schema.example;
    expect(example).toEqual(reportExample);

    const { status, body } = await server.report(key, example);
    expect(status).toBe(200);
    expect(body).toEqual({
      storedThrough: 413,
      duplicates: 0,
      refused: [],
      unknown: [],
      serverTime: "2026-01-15T09:00:00.000Z",
      nextReportSeconds: 60,
      orders: [],
    } satisfies Answer);
    expect((await storedEvents(server, feeder.id)).map(({ kind }) => kind)).toEqual(["deposit", "portion"]);
  });

  it("is stored once, however often it is sent", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const report = plain([press(1, 1_000), press(2, 2_000)]);
    await server.report(key, report);
    server.clock.advance(seconds(30));
    const again = await server.report(key, report);
    expect(again.body).toMatchObject({ storedThrough: 2, duplicates: 2, refused: [] });
    expect(await storedEvents(server, feeder.id)).toHaveLength(2);
  });

  it("is answered only once it would survive a power cut", async () => {
    let release: (() => void) | null = null;
    let isHeld = false;
    const server = await openTestServer({
      openDisk: (file) => {
        const disk = openLogDisk(file);
        const held = () =>
          new Promise<void>((resolve) => {
            release = resolve;
          });
        return { ...disk, sync: async () => (isHeld ? held() : disk.sync()) };
      },
    });
    const { key, feeder } = await server.addFeeder();
    isHeld = true;
    let isAnswered = false;
    const answer = server.report(key, plain([press(1, 1_000)])).finally(() => {
      isAnswered = true;
    });
    await vi.waitUntil(async () => (await storedEvents(server, feeder.id)).length === 1);
    for (let turn = 0; turn < 50; turn += 1) await new Promise((resolve) => setImmediate(resolve));
    expect(isAnswered).toBe(false);
    isHeld = false;
    (release as (() => void) | null)?.();
    expect((await answer).status).toBe(200);
    // What keepers change over the other connection: 2 is FULL, it waits for the disk at each commit (sqlite.org/pragma.html#pragma_synchronous).
    const prisma = await server.connections.write((statements) => statements.$queryRawUnsafe("PRAGMA synchronous"));
    expect(Number((prisma as { synchronous: bigint }[])[0]?.synchronous)).toBe(2);
  });

  it("may be sent by many at once, and each event is still stored once", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const report = plain([press(1, 1_000), press(2, 2_000), press(3, 3_000)]);
    const answers = await Promise.all(Array.from({ length: 20 }, () => server.report(key, report)));
    expect(answers.map(({ status }) => status)).toEqual(Array(20).fill(200));
    expect(answers.filter(({ body }) => (body as Answer).duplicates === 0)).toHaveLength(1);
    expect(await storedEvents(server, feeder.id)).toHaveLength(3);
  });

  it("has its times as uptime, since the feeder has no clock", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const now = server.clock.now();
    await server.report(key, plain([press(1, 600_000 - 90_000)]));
    const [event] = await storedEvents(server, feeder.id);
    expect(isoOf(event?.recordedAt as never)).toBe(isoOf((now - 90_000) as never));
  });

  it("dates the unsent events of an earlier boot by the reports of that boot", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, plain([], 600_000, "b-1"));
    const then = server.clock.now();
    server.clock.advance(hours(2)); // the power went; the feeder is up again under a new boot id
    await server.report(key, plain([], 5_000, "b-2"));
    await server.report(key, { boot: "b-1", sentUptimeMs: null, events: [press(7, 600_000 + 120_000)] });
    const [event] = await storedEvents(server, feeder.id);
    expect(event?.recordedAt).toBe(then + 120_000);
  });

  it("stores kinds and fields that this version doesn't know", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const strange = { seq: 1, uptimeMs: 5, kind: "song", notes: ["caw"], nested: { loud: true } };
    const { status, body } = await server.report(key, { ...plain([strange]), mood: "well" });
    expect(status).toBe(200);
    expect(body).toMatchObject({ refused: [], storedThrough: 1 });
    const [event] = await storedEvents(server, feeder.id);
    expect(event?.kind).toBe("song");
    expect(JSON.parse(event?.body as string)).toEqual(strange);
  });

  it("loses one bad event alone, and names the bad field", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const bad = { seq: 2, uptimeMs: 2_000, kind: "portion", cause: "whim" };
    const { status, body } = await server.report(key, plain([press(1, 1_000), bad, press(3, 3_000)]));
    expect(status).toBe(200);
    expect((body as Answer).refused).toEqual([
      { seq: 2, field: "events[1].cause", problem: expect.stringContaining("timer") },
    ]);
    expect((body as Answer).storedThrough).toBe(3);
    expect((await storedEvents(server, feeder.id)).map(({ seq }) => seq)).toEqual([1, 3]);
  });

  it("need not wait for a refused event at its end: that one is covered too", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    const { body } = await server.report(key, plain([press(1, 1_000), { seq: 2, uptimeMs: -4, kind: "press" }]));
    expect(body).toMatchObject({ storedThrough: 2, refused: [{ seq: 2, field: "events[1].uptimeMs" }] });
  });

  it("has a reading rejected that no such sensor can measure, and still shows that the feeder runs", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const { status, body } = await server.report(key, {
      ...plain(),
      readings: { airCelsius: -127, insideCelsius: 3, batteryVolts: -5 },
    });
    expect(status).toBe(200);
    expect((body as Answer).refused.map(({ field }) => field)).toEqual([
      "readings.airCelsius",
      "readings.batteryVolts",
    ]);
    const view = await server.runPeriodicCheck(feeder.id);
    expect(view.readings).toMatchObject({ airCelsius: null, insideCelsius: 3, batteryVolts: null });
  });

  it("counts missing events when numbers are skipped", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, plain([press(1, 1_000), press(5, 5_000)]));
    const row = await server.store.yards.feeder(feeder.id);
    expect(row?.state.eventSequence.boots).toEqual([{ boot: "b-1", highestSeq: 5, missingCount: 3 }]);
  });
});

describe("a report that is refused by its field and not stored", () => {
  const refusals: [string, string | object, number, string][] = [
    ["truncated JSON", '{"boot":"b-1","sentUptimeMs":60', 400, ""],
    ["no JSON at all", "hello", 400, ""],
    ["a list for a report", "[]", 400, "(the whole)"],
    ["a missing boot", { sentUptimeMs: 5 }, 400, "boot"],
    ["a boot id with a line break", { boot: "b\n1", sentUptimeMs: 5 }, 400, "boot"],
    ["a negative uptime", { boot: "b-1", sentUptimeMs: -5 }, 400, "sentUptimeMs"],
    ["a missing uptime", { boot: "b-1" }, 400, "sentUptimeMs"],
    ["events that are no list", { ...plain(), events: {} }, 400, "events"],
    ["2,001 events", plain(Array.from({ length: 2_001 }, (_, index) => press(index + 1, 5))), 413, "events"],
    ["another feeder's name", { ...plain(), feeder: "larch-000000" }, 403, "feeder"],
  ];
  it.each(refusals)("%s", async (_what, body, status, field) => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const answer = await server.report(key, body);
    expect(answer.status).toBe(status);
    expect(answer.headers["content-type"]).toContain("application/problem+json");
    expect(answer.body).toMatchObject({ status, detail: expect.any(String) });
    if (field !== "") expect((answer.body as { errors: { field: string }[] }).errors[0]?.field).toBe(field);
    expect((await server.runPeriodicCheck(feeder.id)).lastReportAt).toBeNull();
  });

  it("a body over 1 MiB", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    const { status, body } = await server.report(key, { ...plain(), padding: "x".repeat(10 * 1_048_576) });
    expect(status).toBe(413);
    expect(body).toMatchObject({ status: 413, title: "The request is too large" });
  });

  it("an event from after the report's own sending", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    const { body } = await server.report(key, plain([press(1, 700_000)]));
    expect(body).toMatchObject({ refused: [{ seq: 1, field: "events[0].uptimeMs" }] });
  });

  it("no key, a wrong key, a wrong scheme", async () => {
    const server = await openTestServer();
    await server.addFeeder();
    for (const authorization of [undefined, "Bearer pw_wrong", "Basic abc", "Bearer "]) {
      const answer = await server.app.inject({
        method: "POST",
        url: "/api/v1/report",
        headers: authorization === undefined ? {} : { authorization },
        payload: plain(),
      });
      expect(answer.statusCode).toBe(401);
      expect(answer.headers["www-authenticate"]).toMatch(/^Bearer, Signature nonce="\S+"$/);
      expect(answer.json()).toMatchObject({ errors: [{ field: "Authorization" }] });
    }
  });

  it("the old key after a new one was made, and any key of a removed feeder", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    expect((await server.report(key, plain())).status).toBe(200);
    const changed = await server.app.inject({
      method: "POST",
      url: `/api/v1/feeders/${feeder.id}/key`,
      headers: server.keeper,
    });
    expect((await server.report(key, plain())).status).toBe(401);
    expect((await server.report(changed.json().key, plain())).status).toBe(200);
    await server.app.inject({ method: "DELETE", url: `/api/v1/feeders/${feeder.id}`, headers: server.keeper });
    expect((await server.report(changed.json().key, plain())).status).toBe(401);
  });

  it("more reports a minute than the limit, with a time to wait", async () => {
    const server = await openTestServer({ reportsPerMinute: 3 });
    const { key } = await server.addFeeder();
    const other = await server.addFeeder({ name: "Larch" });
    for (let count = 0; count < 3; count += 1) expect((await server.report(key, plain())).status).toBe(200);
    const { status, headers, body } = await server.report(key, plain());
    expect(status).toBe(429);
    expect(Number(headers["retry-after"])).toBeGreaterThan(0);
    expect(body).toMatchObject({ status: 429, title: "Too many requests" });
    expect((await server.report(other.key, plain())).status).toBe(200); // one feeder's flood affects no other
  });
});

describe("a signed report", () => {
  const postSigned = async (
    server: TestServer,
    feeder: string,
    key: string,
    change: { time?: number; body?: string } = {},
  ) => {
    const body = JSON.stringify(plain([press(1, 1_000)]));
    const time = String(change.time ?? Math.floor(server.clock.now() / 1_000));
    const mac = signatureOf(hashOf(key), time, body);
    return server.app.inject({
      method: "POST",
      url: "/api/v1/report",
      headers: {
        authorization: `Signature feeder="${feeder}", time="${time}", mac="${mac}"`,
        "content-type": "application/json",
      },
      payload: change.body ?? body,
    });
  };

  it("is accepted without the key ever being sent", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    expect((await postSigned(server, feeder.id, key)).statusCode).toBe(200);
  });

  it("is refused when a byte of it was changed, when it is old, and when another feeder signed it", async () => {
    const server = await openTestServer();
    const [rowan, larch] = [await server.addFeeder(), await server.addFeeder({ name: "Larch" })];
    const changed = JSON.stringify(plain([press(1, 1_001)]));
    expect((await postSigned(server, rowan.feeder.id, rowan.key, { body: changed })).statusCode).toBe(401);
    const old = Math.floor(server.clock.now() / 1_000) - 301;
    expect((await postSigned(server, rowan.feeder.id, rowan.key, { time: old })).statusCode).toBe(401);
    expect((await postSigned(server, rowan.feeder.id, larch.key)).statusCode).toBe(401);
    expect((await postSigned(server, "nobody-000000", rowan.key)).statusCode).toBe(401);
  });
});

describe("a report signed without a clock", () => {
  const nonceIn = (header: unknown): string => /nonce="([^"]+)"/.exec(String(header))?.[1] ?? "";
  async function openSigned() {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const send = (nonce: string, body = JSON.stringify(plain([press(1, 1_000)]))) =>
      server.app.inject({
        method: "POST",
        url: "/api/v1/report",
        headers: {
          authorization: `Signature feeder="${feeder.id}", nonce="${nonce}", mac="${signatureOf(hashOf(key), nonce, body)}"`,
          "content-type": "application/json",
        },
        payload: body,
      });
    const asked = await server.app.inject({
      method: "POST",
      url: "/api/v1/report",
      headers: { authorization: `Signature feeder="${feeder.id}"` },
    });
    return { server, send, nonce: nonceIn(asked.headers["www-authenticate"]) };
  }

  it("is accepted with the nonce of a refusal, and then with that of the last answer", async () => {
    const { server, send, nonce } = await openSigned();
    const first = await send(nonce);
    expect(first.statusCode).toBe(200);
    server.clock.advance(minutes(4));
    const next = nonceIn(first.headers["authentication-info"]);
    const second = await send(next);
    expect(second.statusCode).toBe(200);
    expect(nonceIn(second.headers["authentication-info"])).not.toBe(next);
    server.clock.advance(minutes(4));
    expect((await send(next)).statusCode).toBe(401); // eight minutes old
  });

  it("is refused with a nonce that is old, from later, changed or made by somebody else, and is offered a new one", async () => {
    const { server, send, nonce } = await openSigned();
    const [time = "", proof = ""] = nonce.split(".");
    const later = String(Number(time) + 600_000);
    const { nonce: ofAnother } = await openSigned();
    for (const wrong of [`${later}.${proof}`, `${time}.`, `${time}.AAAA`, time, ofAnother]) {
      const refused = await send(wrong);
      expect([refused.statusCode, refused.json().errors[0].problem]).toEqual([401, texts.feederKeys.staleNonce]);
      expect((await send(nonceIn(refused.headers["www-authenticate"]))).statusCode).toBe(200);
    }
    server.clock.advance(minutes(6));
    expect((await send(nonce)).statusCode).toBe(401);
  });
});

describe("when the database can't take it", () => {
  it("answers 503 while another process holds the lock, and takes the same report afterwards", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const other = new Database(server.databaseFile);
    other.exec("BEGIN IMMEDIATE");
    const refused = await server.report(key, plain([press(1, 1_000)]));
    expect(refused.status).toBe(503);
    expect(Number(refused.headers["retry-after"])).toBeGreaterThan(0);
    other.exec("ROLLBACK");
    other.close();
    expect((await server.report(key, plain([press(1, 1_000)]))).body).toMatchObject({
      duplicates: 0,
      storedThrough: 1,
    });
    expect(await storedEvents(server, feeder.id)).toHaveLength(1);
  });

  it("answers 507 when the disk is full, and goes on when there is space again", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    limitPages(server, 1); // as SQLite sees a full disk: no page more than there are
    const many = Array.from({ length: 2_000 }, (_, index) => press(index + 1, 1_000));
    expect((await server.report(key, plain(many))).status).toBe(507);
    expect(await storedEvents(server, feeder.id)).toHaveLength(0);
    limitPages(server, 4_294_967_294);
    expect((await server.report(key, plain(many))).body).toMatchObject({ duplicates: 0, storedThrough: 2_000 });
  });
});

describe("time that passes", () => {
  it("makes a feeder silent, until it reports again", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    for (let minute = 0; minute < 70; minute += 1) {
      await server.report(key, plain([], 600_000 + minute * 60_000));
      server.clock.advance(minutes(1));
    }
    server.clock.advance(hours(3));
    await runPeriodicChecks(server.ports);
    expect((await server.runPeriodicCheck(feeder.id)).alarms.map(({ fault }) => fault)).toEqual(["feederSilent"]);
    expect(server.outboxSignals()).toBe(1);
    await server.report(key, plain([], 600_000 + hours(4)));
    const after = await server.runPeriodicCheck(feeder.id);
    expect(after.alarms.map(({ state }) => state)).toEqual(["returnedUnacknowledged"]);
  });
});
