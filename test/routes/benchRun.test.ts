import { describe, expect, it } from "vitest";
import type { BenchRequest } from "../../server/contract/benchRequest.ts";
import type { BenchView } from "../../server/contract/benchView.ts";
import type { Answer } from "../../server/contract/report.ts";
import { minutes, seconds } from "../../server/domain/instant.ts";
import type { LocalDate } from "../../server/domain/localTime.ts";
import { readDigestFeeder } from "../../server/flows/digestFeeder.ts";
import type { FeederRow } from "../../server/ports.ts";
import { replayLog } from "../replay/replayLog.ts";
import { benchExample } from "../support/benchExample.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const steps = { quietMinutes: 0, portions: 2, caps: 1, presses: 0, knownGrams: null, soakHours: 0.05 };
const short = { run: benchExample.run, what: { ...benchExample.what, ...steps } };
const path = (feeder: string) => `/api/v1/feeders/${feeder}/bench`;

async function openWithFeeder() {
  const server = await openTestServer();
  const sensors = { button: true, detector: true, chute: true, perch: true, scale: true };
  const { feeder, key } = await server.addFeeder({ portionGrams: 2, sensors });
  let uptime = 0;
  let seq = 0;
  const report = async (events: readonly object[] = [], after = seconds(5), paused = false): Promise<Answer> => {
    uptime += after;
    server.clock.advance(after);
    const stamped = events.map((event) => ({ seq: ++seq, uptimeMs: uptime - 2_000, ...event }));
    const readings = { spooled: events.length, paused };
    const answer = await server.report(key, { boot: "b-1", sentUptimeMs: uptime, readings, events: stamped });
    expect(answer.status).toBe(200);
    return answer.body;
  };
  await report();
  return { server, feeder: feeder.id, key, report };
}

const view = async (server: TestServer, feeder: string) =>
  (await requestAs(server, "GET", path(feeder), server.keeper)).json() as BenchView;
const ask = (server: TestServer, feeder: string, body: BenchRequest) =>
  requestAs(server, "POST", path(feeder), server.keeper, body);
async function done(server: TestServer, feeder: string, body: BenchRequest): Promise<BenchView> {
  const answer = await ask(server, feeder, body);
  expect(answer.statusCode, answer.body).toBe(200);
  return answer.json();
}

const portion = { kind: "portion", cause: "bench", motorMs: 900, chuteCount: 5 };
const stepNow = ({ current }: BenchView) => current?.steps.find(({ status }) => status === "now")?.kind ?? null;

describe("a bench run", () => {
  it("goes out as an order until the feeder answers, follows its reports, and has its verdict at the end", async () => {
    const { server, feeder, report } = await openWithFeeder();
    const started = await done(server, feeder, short);
    expect(stepNow(started)).toBe("portions");
    const order = { id: short.run, kind: "bench", until: null, portions: 2, restSeconds: 6 };
    const first = await report();
    expect(first.orders).toEqual([order]);
    expect(first.nextReportSeconds).toBe(5);
    expect((await report([portion])).orders).toEqual([order]); // its answer may have been lost
    await report([portion]);
    expect((await report([{ kind: "order", order: short.run, outcome: "done" }])).orders).toEqual([]);
    expect(stepNow(await view(server, feeder))).toBe("weigh");
    const what = { kind: "next", step: "weigh", totalGrams: 4.4, emptySeen: 0 } as const;
    expect(stepNow(await done(server, feeder, { run: short.run, what }))).toBe("caps");
    await report([{ kind: "deposit", metal: true, earns: false }]);
    const caps = await done(server, feeder, { run: short.run, what: { kind: "next", step: "caps" } });
    expect(stepNow(caps)).toBe("soak");
    expect(caps.current?.steps.find(({ kind }) => kind === "caps")?.count).toEqual({ seen: 1, of: 1 });
    expect((await report()).nextReportSeconds).toBe(60);
    for (let minute = 0; minute < 7; minute += 1) await report([], minutes(1));
    const { current, past } = await view(server, feeder);
    expect(current).toBeNull();
    expect(past[0]).toMatchObject({ verdict: "notKnown", portionGrams: 2.2, ended: { text: "All steps were done." } });
    expect(past[0]?.figures.find(({ label }) => label === "Motor runs")).toMatchObject({
      status: "met",
      value: "2 of 2",
    });

    const log = await server.app.inject({ url: `/api/v1/feeders/${feeder}/log`, headers: server.keeper });
    const row = await server.store.yards.feeder(feeder);
    expect(replayLog(log.body).replay.stateOf(feeder)?.bench).toEqual(row?.state.bench);
  });

  it("is stopped by a pause, which goes out first", async () => {
    const { server, feeder, report } = await openWithFeeder();
    await done(server, feeder, short);
    await report([portion]);
    await requestAs(server, "POST", `/api/v1/feeders/${feeder}/orders`, server.keeper, {
      id: "pause-0001",
      kind: "pause",
      until: null,
    });
    expect((await report()).orders.map(({ kind }) => kind)).toEqual(["pause"]);
    const { orders } = await report([{ kind: "order", order: "pause-0001", outcome: "done" }], seconds(5), true);
    expect(orders).toMatchObject([{ kind: "bench", portions: 0 }]);
    expect(
      (await report([{ kind: "order", order: short.run, outcome: "refused", problem: "A pause." }], seconds(5), true))
        .orders,
    ).toEqual([]);
    expect((await view(server, feeder)).past[0]?.ended?.text).toBe("Ended by a pause.");
    const again = await ask(server, feeder, { ...short, run: "run-00000002" });
    expect(again.statusCode).toBe(409);
    expect(again.json().detail).toContain("paused");
  });

  it("is started once, however often it is requested, and not beside another one", async () => {
    const { server, feeder } = await openWithFeeder();
    const first = await done(server, feeder, short);
    expect(await done(server, feeder, short)).toEqual(first);
    expect((await ask(server, feeder, { ...short, run: "run-00000002" })).statusCode).toBe(409);
    const stop = { run: short.run, what: { kind: "stop" } } as const;
    expect((await done(server, feeder, stop)).current).toBeNull();
    expect((await done(server, feeder, stop)).past).toHaveLength(1);
    expect((await ask(server, feeder, { run: "run-00000009", what: { kind: "stop" } })).statusCode).toBe(409);
    const next = await done(server, feeder, { ...short, run: "run-00000002" });
    expect(next.current?.figures.find(({ label }) => label === "Motor runs")?.before).toMatchObject({
      value: "0 of 2",
    });
  });

  it("has at least one step", async () => {
    const { server, feeder } = await openWithFeeder();
    const nothing = { ...short, what: { ...short.what, portions: 0, caps: 0, soakHours: 0 } };
    const answer = await ask(server, feeder, nothing);
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors[0].field).toBe("what.portions");
  });

  it("is for keepers to start; a helper may follow it", async () => {
    const { server, feeder } = await openWithFeeder();
    const helper = await joinByInvite(server, "Bo", "helper");
    expect((await requestAs(server, "GET", path(feeder), helper)).statusCode).toBe(200);
    expect((await requestAs(server, "POST", path(feeder), helper, short)).statusCode).toBe(403);
  });

  it("goes on where it was after a restart of the server, with its order still to be answered", async () => {
    const { server, feeder, key } = await openWithFeeder();
    await done(server, feeder, short);
    const again = await server.restart();
    expect(stepNow(await view(again, feeder))).toBe("portions");
    again.clock.advance(seconds(5));
    const { body }: { body: Answer } = await again.report(key, {
      boot: "b-1",
      sentUptimeMs: 60_000,
      readings: {},
      events: [],
    });
    expect(body.orders).toMatchObject([{ id: short.run, kind: "bench", portions: 2 }]);
  });

  it("leaves no cap or press of the keeper in the day of the birds", async () => {
    const { server, feeder, report } = await openWithFeeder();
    await done(server, feeder, short);
    await report([portion, { kind: "press", earns: false }, { kind: "deposit", metal: true }]);
    const day = (await requestAs(server, "GET", `/api/v1/feeders/${feeder}/day`, server.keeper)).json();
    expect(day.counts).toMatchObject({ presses: 0, deposits: 0, portions: 0 });
    // Nor in the digest of that day.
    const row = await server.store.yards.feeder(feeder);
    const stores = { digests: server.store.digests, records: server.store.records };
    const digest = await readDigestFeeder(
      stores,
      row as FeederRow,
      "UTC",
      "2026-01-16" as LocalDate,
      server.clock.now(),
    );
    expect(digest.days[0]).toMatchObject({
      counts: { visits: 0, presses: 0, deposits: 0, portions: 0 },
      isComplete: false,
    });
    expect(digest.paymentEvents).toEqual([]);
    expect(day.marks.map(({ kind }: { kind: string }) => kind)).not.toContain("deposit");
  });
});
