import { describe, expect, it } from "vitest";
import type { Answer } from "../../server/contract/report.ts";
import { hours, minutes } from "../../server/domain/instant.ts";
import { replayLog } from "../replay/replayLog.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const press = (seq: number, uptimeMs: number) => ({ seq, uptimeMs, kind: "press" });
const report = (boot: string, sentUptimeMs: number | null, events: object[] = []) => ({ boot, sentUptimeMs, events });
const firstEvents = [press(1, 1_000), press(2, 2_000), press(3, 3_000)];
const uptime = 60_000;

async function answerTo(server: TestServer, key: string, body: object): Promise<Answer> {
  const answer = await server.report(key, body);
  expect([answer.status, answer.body]).toEqual([200, answer.body]);
  return answer.body;
}

async function storedOf(server: TestServer, feeder: string, label: string) {
  const found = await server.store.records.events(feeder, 1e12 as never, 4e12 as never, 100_000);
  return found.filter(({ boot }) => boot.split("#")[0] === label).map(({ boot, seq }) => `${boot} ${seq}`);
}

/** The first start sends three events; then so many others send one each, an hour apart. */
async function afterOthers(others: number) {
  const server = await openTestServer();
  const { key, feeder } = await server.addFeeder();
  await answerTo(server, key, report("b-first", uptime, firstEvents));
  for (let other = 1; other <= others; other += 1) {
    server.clock.advance(hours(1));
    await answerTo(server, key, report(`b-${other}`, uptime, [press(1, 1_000)]));
  }
  server.clock.advance(minutes(5));
  const send = (sentUptimeMs: number | null, events: object[]) =>
    answerTo(server, key, report("b-first", sentUptimeMs, events));
  return { server, key, feeder: feeder.id, send, upFor: uptime + hours(others) + minutes(5) };
}

async function replaysToTheSame(server: TestServer, feeder: string) {
  const log = (await server.app.inject({ url: `/api/v1/feeders/${feeder}/log`, headers: server.keeper })).body;
  expect(replayLog(log).replay.stateOf(feeder)).toEqual((await server.store.yards.feeder(feeder))?.state);
}

const more = [press(4, uptime + 5_000), press(5, uptime + 6_000)];
const [one, two, three] = ["b-first 1", "b-first 2", "b-first 3"];

describe.each([2, 12])("a start that sends again after %i others", (others) => {
  it("repeats: nothing is stored twice, all of it is confirmed, and the next report goes on", async () => {
    const { server, feeder, send, upFor } = await afterOthers(others);
    expect(await send(upFor, firstEvents)).toMatchObject({ storedThrough: 3, duplicates: 3, refused: [] });
    expect(await send(upFor, firstEvents)).toMatchObject({ storedThrough: 3, duplicates: 3, refused: [] });
    expect(await send(upFor, firstEvents.slice(0, 2))).toMatchObject({ storedThrough: 2, duplicates: 2 });
    expect(await send(upFor, more)).toMatchObject({ storedThrough: 5, duplicates: 0, refused: [] });
    expect(await storedOf(server, feeder, "b-first")).toEqual([one, two, three, "b-first 4", "b-first 5"]);
    expect((await server.runPeriodicCheck(feeder)).missingEvents).toBe(0);
    await replaysToTheSame(server, feeder);
  });

  it("sends new events after those that are stored", async () => {
    const { server, feeder, send, upFor } = await afterOthers(others);
    expect(await send(upFor, more)).toMatchObject({ storedThrough: 5, duplicates: 0, refused: [] });
    expect(await send(upFor, [...firstEvents, ...more])).toMatchObject({ storedThrough: 5, duplicates: 5 });
    expect(await storedOf(server, feeder, "b-first")).toEqual([one, two, three, "b-first 4", "b-first 5"]);
    await replaysToTheSame(server, feeder);
  });

  it("sends both in one report, after a report without an event", async () => {
    const { server, feeder, send, upFor } = await afterOthers(others);
    expect(await send(upFor, [])).toMatchObject({ storedThrough: null, duplicates: 0 });
    expect(await send(upFor, [...firstEvents, ...more])).toMatchObject({
      storedThrough: 5,
      duplicates: 3,
      refused: [],
    });
    expect(await storedOf(server, feeder, "b-first")).toEqual([one, two, three, "b-first 4", "b-first 5"]);
    await replaysToTheSame(server, feeder);
  });

  it("didn't send them, so that they come with a later start: repeats, new ones, and both", async () => {
    const { server, feeder, send } = await afterOthers(others);
    expect(await send(null, firstEvents)).toMatchObject({ storedThrough: 3, duplicates: 3, refused: [] });
    expect(await send(null, [...firstEvents, ...more])).toMatchObject({ storedThrough: 5, duplicates: 3, refused: [] });
    expect(await send(null, [press(6, uptime + 7_000)])).toMatchObject({ storedThrough: 6, duplicates: 0 });
    expect(await send(null, firstEvents)).toMatchObject({ storedThrough: 3, duplicates: 3, refused: [] });
    const all = [one, two, three, "b-first 4", "b-first 5", "b-first 6"];
    expect((await storedOf(server, feeder, "b-first")).sort()).toEqual(all);
    await replaysToTheSame(server, feeder);
  });

  it("is a new start under the old id: other events under known numbers are stored with a start number of their own", async () => {
    const { server, feeder, send } = await afterOthers(others);
    const otherEvents = [press(1, 400), press(2, 700)];
    expect(await send(1_000, otherEvents)).toMatchObject({ storedThrough: 2, duplicates: 0, refused: [] });
    expect(await send(1_000, otherEvents)).toMatchObject({ storedThrough: 2, duplicates: 2, refused: [] });
    expect(await storedOf(server, feeder, "b-first")).toEqual([one, two, three, "b-first#2 1", "b-first#2 2"]);
    expect((await server.runPeriodicCheck(feeder)).alarms.map(({ fault }) => fault)).toContain("bootReused");
    await replaysToTheSame(server, feeder);
  });
});

describe("a boot id with many starts", () => {
  it("gets no start number twice, and stores no event twice, though only the newest starts are remembered", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const start = (hour: number) => [press(1, 1_000 + hour), press(2, 2_000 + hour)];
    for (let hour = 0; hour < 12; hour += 1) {
      expect(await answerTo(server, key, report("b-1", uptime, start(hour)))).toMatchObject({ storedThrough: 2 });
      server.clock.advance(hours(1));
    }
    const all = await storedOf(server, feeder.id, "b-1");
    expect([all.length, all.at(-1)]).toEqual([24, "b-1#12 2"]);
    // Events of its first and its fourth start come again: stored already, each with its own start number.
    for (const hour of [0, 3, 11]) {
      expect(await answerTo(server, key, report("b-1", null, start(hour)))).toMatchObject({
        storedThrough: 2,
        duplicates: 2,
      });
    }
    // Twelve other ids, so that all starts are forgotten; then a thirteenth start, and the newest once more.
    for (let other = 1; other <= 12; other += 1) {
      await answerTo(server, key, report(`c-${other}`, uptime, [press(1, 1_000)]));
      server.clock.advance(hours(1));
    }
    expect(await answerTo(server, key, report("b-1", uptime, start(12)))).toMatchObject({
      duplicates: 0,
      storedThrough: 2,
    });
    expect(await answerTo(server, key, report("b-1", null, start(5)))).toMatchObject({
      duplicates: 2,
      storedThrough: 2,
    });
    const now = await storedOf(server, feeder.id, "b-1");
    expect([now.length, now.at(-1)]).toEqual([26, "b-1#13 2"]);
    await replaysToTheSame(server, feeder.id);
  });
});
