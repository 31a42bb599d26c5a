import fc from "fast-check";
import { describe, expect, it } from "vitest";
import type { Answer } from "../../server/contract/report.ts";
import { hours, minutes, seconds } from "../../server/domain/instant.ts";
import { replayLog } from "../replay/replayLog.ts";
import { runs } from "../support/runs.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const press = (seq: number, uptimeMs: number) => ({ seq, uptimeMs, kind: "press" });
const report = (sentUptimeMs: number | null, events: object[] = [], boot = "b-1") => ({ boot, sentUptimeMs, events });
const answerOf = ({ status, body }: { status: number; body: unknown }): Answer => {
  if (status !== 200) throw new Error(`expected 200, got ${status} ${JSON.stringify(body)}`);
  return body as Answer;
};

async function storedEvents(server: TestServer, feeder: string) {
  const found = await server.store.records.events(feeder, 1e12 as never, 4e12 as never, 100_000);
  return found.map(({ boot, seq, recordedAt, body }) => ({ boot, seq, recordedAt, body: JSON.parse(body) }));
}
const faultsOf = async (server: TestServer, feeder: string) =>
  (await server.runPeriodicCheck(feeder)).alarms.map(({ fault, state }) => `${fault} ${state}`);

async function replaysToTheSame(server: TestServer, feeder: string) {
  const log = (await server.app.inject({ url: `/api/v1/feeders/${feeder}/log`, headers: server.keeper })).body;
  const row = await server.store.yards.feeder(feeder);
  expect(replayLog(log).replay.stateOf(feeder)).toEqual(row?.state);
}

describe("a feeder that uses one boot id for every start", () => {
  it("loses no event: what a second start numbers from 1 again is stored beside the first, and the keeper sees why", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, report(60_000, [press(1, 1_000), press(2, 2_000)]));
    server.clock.advance(minutes(5));
    const answer = answerOf(
      await server.report(key, report(70_000, [press(1, 30_500), press(2, 40_100), press(3, 50_000)])),
    );
    expect(answer).toMatchObject({ storedThrough: 3, duplicates: 0, refused: [] });
    expect(await storedEvents(server, feeder.id)).toHaveLength(5);
    expect(await faultsOf(server, feeder.id)).toEqual(["bootReused unacknowledged"]);
    const [alarm] = (await server.runPeriodicCheck(feeder.id)).alarms;
    expect(alarm).toMatchObject({ priority: "note", reason: expect.stringContaining("b-1") });
    expect((await server.runPeriodicCheck(feeder.id)).missingEvents).toBe(0);

    // The third start, and a repeat of it.
    server.clock.advance(hours(3));
    const third = report(20_000, [press(1, 900)]);
    expect(answerOf(await server.report(key, third))).toMatchObject({ storedThrough: 1, duplicates: 0 });
    server.clock.advance(seconds(20));
    expect(answerOf(await server.report(key, third))).toMatchObject({ storedThrough: 1, duplicates: 1 });
    expect(await storedEvents(server, feeder.id)).toHaveLength(6);
    await replaysToTheSame(server, feeder.id);

    server.clock.advance(minutes(1));
    await server.report(key, report(5_000, [], "b-9c1e"));
    expect((await faultsOf(server, feeder.id)).filter((one) => one.includes(" unack"))).toEqual([]);
  });

  it("is recognised though the last report of the start before arrived a second time, just before it", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, report(3_000_000));
    server.clock.advance(minutes(2));
    answerOf(await server.report(key, report(3_000_000))); // a delayed copy: it shows nothing about this moment
    answerOf(await server.report(key, report(66_000, [press(1, 10_000)])));
    expect(await faultsOf(server, feeder.id)).toEqual(["bootReused unacknowledged"]);
    await replaysToTheSame(server, feeder.id);
  });

  it("is recognised within ten minutes of uptime also where it has no event to send", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, report(minutes(9), [press(1, 1_000)]));
    server.clock.advance(minutes(4));
    await server.report(key, report(seconds(30)));
    expect(await faultsOf(server, feeder.id)).toEqual(["bootReused unacknowledged"]);
    const row = await server.store.yards.feeder(feeder.id);
    expect(row?.state.reporting).toMatchObject({ boot: "b-1#2" });
  });

  it("is recognised where its uptime is ahead of its last report, but far behind the time that passed", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, report(minutes(5), [press(1, 1_000)]));
    server.clock.advance(minutes(48)); // no connection meanwhile, and a restart in the middle of it
    await server.report(key, report(minutes(11)));
    const row = await server.store.yards.feeder(feeder.id);
    expect(row?.state.reporting).toMatchObject({ boot: "b-1#2" });
    await replaysToTheSame(server, feeder.id);
  });

  it("is not assumed where a feeder's clock stopped while it slept, and its numbers go on", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, report(minutes(5), [press(1, 1_000)]));
    server.clock.advance(minutes(48));
    await server.report(key, report(minutes(6), [press(2, 301_000)]));
    expect(await faultsOf(server, feeder.id)).toEqual([]);
    await server.report(key, report(minutes(6), [press(2, 301_000)])); // and a copy of it changes nothing
    expect(await faultsOf(server, feeder.id)).toEqual([]);
    expect(await storedEvents(server, feeder.id)).toHaveLength(2);
    await replaysToTheSame(server, feeder.id);
  });

  it("is taken over to a new boot where its uptime is far behind: no 409, nothing lost", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, report(hours(5), [press(1, 1_000)]));
    server.clock.advance(minutes(1));
    expect(answerOf(await server.report(key, report(30_000, [press(1, 1_000)])))).toMatchObject({
      storedThrough: 1,
      duplicates: 0,
    });
    expect(await storedEvents(server, feeder.id)).toHaveLength(2);
  });

  it("gets no confirmation of events that it did not send: those of the start before have the same numbers", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    await server.report(key, report(60_000, [press(1, 1_000), press(2, 2_000), press(3, 3_000)]));
    server.clock.advance(seconds(90));
    // It restarted, and records its first event while this report without any is under way.
    expect(answerOf(await server.report(key, report(61_000)))).toMatchObject({ storedThrough: null });
  });

  it("stores an event whose number another one has, within one start too, and confirms it", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, report(600_000, [press(1, 1_000)]));
    const other = report(600_000, [{ seq: 1, uptimeMs: 2_000, kind: "visit" }]);
    expect(answerOf(await server.report(key, other))).toMatchObject({ storedThrough: 1, duplicates: 0, refused: [] });
    expect((await storedEvents(server, feeder.id)).map(({ body }) => body.kind).sort()).toEqual(["press", "visit"]);
    expect(answerOf(await server.report(key, other))).toMatchObject({ storedThrough: 1, duplicates: 1 });
  });

  it("has one of two events under one number in one report stored, and gets no confirmation of the other", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const twice = report(600_000, [
      press(1, 1_000),
      press(2, 1_500),
      { seq: 2, uptimeMs: 2_000, kind: "visit" },
      press(3, 2_500),
    ]);
    const first = answerOf(await server.report(key, twice));
    expect(first).toMatchObject({ storedThrough: 1, refused: [{ seq: 2, field: "events[2].seq" }] });
    server.clock.advance(minutes(1));
    expect(answerOf(await server.report(key, twice))).toMatchObject({ storedThrough: 3, refused: [] });
    expect(await storedEvents(server, feeder.id)).toHaveLength(4);
  });

  it("is refused by the field, and nothing is confirmed, where the start of a report is unclear", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, report(hours(5), [press(1, 1_000)]));
    server.clock.advance(seconds(5));
    const { status, body } = await server.report(key, report(hours(1), [press(7, 900)]));
    expect(status).toBe(409);
    expect(body).toMatchObject({ errors: [{ field: "boot", problem: expect.stringContaining("two feeders") }] });
    expect(await storedEvents(server, feeder.id)).toHaveLength(1);
    expect(await faultsOf(server, feeder.id)).toEqual(["reportsUnreadable unacknowledged"]);
  });

  it("stores the events of a late report with the start before", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const begun = server.clock.now() - hours(2);
    await server.report(key, report(hours(2), [press(1, 1_000)]));
    server.clock.advance(minutes(2));
    await server.report(key, report(seconds(30), [press(1, 500)]));
    server.clock.advance(seconds(20));
    const late = report(hours(2) + 60_000, [press(1, 1_000), press(2, hours(2) + 30_000)]);
    expect(answerOf(await server.report(key, late))).toMatchObject({ storedThrough: 2, duplicates: 1 });
    const row = (await storedEvents(server, feeder.id)).find(({ body }) => body.uptimeMs === hours(2) + 30_000);
    expect(row).toMatchObject({ boot: "b-1", recordedAt: begun + hours(2) + 30_000 });
    server.clock.advance(seconds(20));
    expect(answerOf(await server.report(key, report(seconds(70), [press(2, 60_000)])))).toMatchObject({
      storedThrough: 2,
    });
    expect((await storedEvents(server, feeder.id)).filter(({ boot }) => boot === "b-1#2")).toHaveLength(2);
    await replaysToTheSame(server, feeder.id);
  });

  it("counts no events missing where its numbers go on over a restart", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, report(hours(5), [press(1, 1_000), press(2, 2_000)]));
    server.clock.advance(minutes(10));
    await server.report(key, report(30_000, [press(3, 1_000), press(4, 2_000)]));
    expect((await server.runPeriodicCheck(feeder.id)).missingEvents).toBe(0);
  });
});

describe("a repeat is harmless", () => {
  it("where the very same report comes again minutes later, as a log line that is pasted twice", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const line = report(60_000, [press(1, 58_000), press(2, 58_400)]);
    await server.report(key, line);
    server.clock.advance(minutes(5));
    expect(answerOf(await server.report(key, line))).toMatchObject({ storedThrough: 2, duplicates: 2 });
    expect(await storedEvents(server, feeder.id)).toHaveLength(2);
    expect(await faultsOf(server, feeder.id)).toEqual([]);
  });

  it("where a copy was under way for a while and a newer report arrived before it", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, report(hours(3), [press(1, 1_000)]));
    server.clock.advance(minutes(1));
    await server.report(key, report(hours(3) + 60_000, [press(2, hours(3) + 1_000)]));
    server.clock.advance(minutes(4));
    expect(answerOf(await server.report(key, report(hours(3), [press(1, 1_000)])))).toMatchObject({ duplicates: 1 });
    expect(await faultsOf(server, feeder.id)).toEqual([]);
  });
});

/**
 * Random histories of feeders that use one boot id for ever: random uptimes, restarts after a while or at once, answers that are
 * lost, copies that come again or late, events lost before they could be sent. The sender keeps each event until an answer
 * covers it, as the README requires.
 */
describe("whatever the connection does", () => {
  const step = fc.oneof(
    {
      weight: 6,
      arbitrary: fc.record({
        kind: fc.constant("report" as const),
        wait: fc.integer({ min: 5_000, max: 900_000 }),
        events: fc.nat(3),
        answerLost: fc.boolean(),
        lostFirst: fc.nat(12),
      }),
    },
    {
      weight: 2,
      arbitrary: fc.record({ kind: fc.constant("restart" as const), off: fc.integer({ min: 100, max: 3_600_000 }) }),
    },
    {
      weight: 2,
      arbitrary: fc.record({
        kind: fc.constant("copy" as const),
        delay: fc.integer({ min: 0, max: 900_000 }),
        which: fc.nat(3),
      }),
    },
  );
  it("each event of each start is stored once, or still held by its feeder; a replay ends in the same state", {
    timeout: 240_000,
  }, async () => {
    let restartsSeen = 0;
    await fc.assert(
      fc.asyncProperty(fc.array(step, { minLength: 5, maxLength: 25 }), async (steps) => {
        const server = await openTestServer();
        const { key, feeder } = await server.addFeeder();
        let [start, seq, life] = [server.clock.now() as number, 0, 1];
        let spool: { seq: number; uptimeMs: number; kind: string; id: string }[] = [];
        let copies: { posted: object; at: number }[] = [];
        const confirmed = new Map<string, boolean>(); // by id: whether an answer covered it
        for (const one of steps) {
          if (one.kind === "restart") {
            server.clock.advance(one.off as never);
            [start, seq, life] = [server.clock.now(), 0, life + 1];
            for (const event of spool) confirmed.delete(event.id); // what it had not sent is lost with its memory
            spool = [];
            continue;
          }
          if (one.kind === "copy") {
            const copy = copies.at(-1 - one.which);
            // What is under way for longer than ten minutes can't be distinguished from a new start: it is stored again, never lost.
            if (copy === undefined || server.clock.now() + one.delay - copy.at > minutes(10)) continue;
            server.clock.advance(one.delay as never);
            await server.report(key, copy.posted);
            continue;
          }
          const before = server.clock.now() - start;
          server.clock.advance(one.wait as never);
          const now = server.clock.now() - start;
          if (one.lostFirst === 12) seq += 2; // numbered, and lost before it was stored
          for (let n = 0; n < one.events; n += 1) {
            seq += 1;
            const id = `${life}/${seq}`;
            spool.push({ seq, uptimeMs: Math.floor(before + ((now - before) * (n + 1)) / 5), kind: "press", id });
            confirmed.set(id, false);
          }
          const posted = report(now, spool);
          copies = [...copies, { posted, at: server.clock.now() }].slice(-4);
          const { status, body } = await server.report(key, posted);
          expect([200, 409]).toContain(status);
          if (status !== 200 || one.answerLost) continue;
          const through = (body as Answer).storedThrough ?? 0;
          for (const event of spool) if (event.seq <= through) confirmed.set(event.id, true);
          spool = spool.filter((event) => event.seq > through);
        }
        restartsSeen += (await storedEvents(server, feeder.id)).some(({ boot }) => boot !== "b-1") ? 1 : 0;
        const stored = (await storedEvents(server, feeder.id)).map(({ body }) => (body as { id: string }).id);
        expect(new Set(stored).size, `stored twice: ${stored.sort().join(" ")}`).toBe(stored.length);
        for (const [id, covered] of confirmed) if (covered) expect(stored).toContain(id);
        await replaysToTheSame(server, feeder.id);
      }),
      { numRuns: runs(20) },
    );
    expect(restartsSeen, "the lives must reach the case they guard").toBeGreaterThan(10);
  });
});
