import { describe, expect, it } from "vitest";
import type { FeederView, YardOrderView } from "../../server/contract/api.ts";
import type { Answer } from "../../server/contract/report.ts";
import { hours, isoOf, milliseconds, minutes, seconds } from "../../server/domain/instant.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import {
  carriedOut,
  getFeederAs,
  listenAddress,
  openLink,
  orderStatus,
  pause,
  requestOrder,
  sendReport,
} from "../support/orders.ts";
import { joinByInvite } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** A feeder without the optional reading `paused`: it answers a pause with "done", and otherwise reports portions. */
const bare = (sentUptimeMs: number | null, events: object[] = [], boot = "b-1") => ({ boot, sentUptimeMs, events });
const portion = (seq: number, uptimeMs: number, cause = "timer") => ({ seq, uptimeMs, kind: "portion", cause });
const alarmsOf = (view: FeederView) => view.alarms.map(({ fault, priority }) => `${fault} ${priority}`);
const pauseStatus = (view: FeederView) => view.pause.status.kind;
const ordersOf = (taken: { body: never }) => (taken.body as Answer).orders.map(({ id }) => id);

async function confirmedBare(server: TestServer) {
  const { key, feeder } = await server.addFeeder();
  await server.report(key, bare(60_000));
  await requestOrder(server, feeder.id, pause);
  server.clock.advance(minutes(1));
  await server.report(key, bare(120_000));
  server.clock.advance(minutes(1));
  await server.report(key, bare(180_000, [carriedOut(1, 121_000, pause.id)]));
  expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("confirmed");
  return { key, feeder };
}

describe("a confirmed pause", () => {
  it("is lost by a restart and sent again, and food given meanwhile is an urgent alarm at once", async () => {
    const server = await openTestServer();
    const { key, feeder } = await confirmedBare(server);
    server.clock.advance(minutes(10));
    const twelve = Array.from({ length: 12 }, (_, index) => portion(index + 1, 10_000 + index * 10_000));
    expect(ordersOf(await server.report(key, bare(200_000, twelve, "b-2")))).toEqual([pause.id]);
    const view = await server.runPeriodicCheck(feeder.id);
    expect(alarmsOf(view)).toEqual(["feedsThoughPaused urgent"]);
    expect(view.alarms[0]?.reason).toContain("12 portions");
    expect(orderStatus(view)).toBe("contradicted");
    expect(pauseStatus(view)).toBe("feeding");
    expect(view.summary).toMatch(/^Feeding while paused/);
    expect(server.outboxSignals()).toBe(1);
    // Its answer in this start confirms the order again, though it has answered "done" to it before.
    server.clock.advance(minutes(1));
    expect(ordersOf(await server.report(key, bare(260_000, [carriedOut(13, 201_000, pause.id)], "b-2")))).toEqual([]);
    expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("confirmed");
  });

  it("is lost by a restart alone: its state is unknown, and overdue counts from then, once", async () => {
    const server = await openTestServer();
    const { key, feeder } = await confirmedBare(server);
    server.clock.advance(minutes(10));
    expect(ordersOf(await server.report(key, bare(5_000, [], "b-2")))).toEqual([pause.id]);
    const view = await server.runPeriodicCheck(feeder.id);
    expect([orderStatus(view), pauseStatus(view), alarmsOf(view)]).toEqual(["sent", "unknown", []]);
    expect(view.pause.lost).toMatchObject({ by: "restart" });
    for (let minute = 1; minute <= 3; minute += 1) {
      server.clock.advance(minutes(1));
      await server.report(key, bare(5_000 + minute * 60_000, [], "b-2"));
      await runPeriodicChecks(server.ports);
    }
    expect(alarmsOf(await server.runPeriodicCheck(feeder.id))).toEqual(["pauseOverdue urgent"]);
  });

  it("is lost by a restart under the same boot id, seen by numbers and uptime that begin again", async () => {
    const server = await openTestServer();
    const { key, feeder } = await confirmedBare(server);
    server.clock.advance(minutes(10));
    const afterRestart = bare(200_000, [portion(1, 100_000), portion(2, 150_000)]); // numbers that the earlier start has used
    expect(ordersOf(await server.report(key, afterRestart))).toEqual([pause.id]);
    const view = await server.runPeriodicCheck(feeder.id);
    expect(alarmsOf(view)).toContain("feedsThoughPaused urgent");
    expect(alarmsOf(view)).toContain("bootReused note");
    expect(orderStatus(view)).toBe("contradicted");
  });

  it("is overdue by the time of the request, where an earlier start followed it and the server learns of both at once", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(600_000, false));
    await requestOrder(server, feeder.id, pause);
    server.clock.advance(minutes(1));
    await server.report(key, sendReport(660_000, false));
    server.clock.advance(minutes(1));
    await server.report(key, { boot: "b-1", sentUptimeMs: null, events: [carriedOut(1, 661_000, pause.id)] });
    const view = await server.runPeriodicCheck(feeder.id);
    // That was reported in an earlier start: its present state is unknown.
    expect([view.pause.statement?.paused, pauseStatus(view), orderStatus(view)]).toEqual([true, "unknown", "sent"]);
    await server.report(key, sendReport(20_000, false, [], "b-2"));
    server.clock.advance(seconds(31)); // two reports' time and half a minute after the request, half a minute after the restart
    await runPeriodicChecks(server.ports);
    expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("overdue");
  });

  it("is not confirmed when the feeder answers a resume that another pause has replaced meanwhile", async () => {
    const server = await openTestServer();
    const { key, feeder } = await confirmedBare(server);
    await requestOrder(server, feeder.id, { id: "resume-0001", kind: "resume" });
    server.clock.advance(minutes(1));
    expect(ordersOf(await server.report(key, bare(240_000)))).toEqual(["resume-0001"]);
    await requestOrder(server, feeder.id, { id: "pause-0002", kind: "pause" });
    server.clock.advance(minutes(1));
    const done = carriedOut(2, 241_000, "resume-0001");
    expect(ordersOf(await server.report(key, bare(300_000, [done])))).toEqual(["pause-0002"]);
    const view = await server.runPeriodicCheck(feeder.id);
    expect([pauseStatus(view), view.pause.statement?.paused, orderStatus(view)]).toEqual(["feeding", false, "sent"]);
    server.clock.advance(minutes(1));
    await server.report(key, bare(360_000, [carriedOut(3, 301_000, "pause-0002")]));
    expect([
      orderStatus(await server.runPeriodicCheck(feeder.id)),
      pauseStatus(await server.runPeriodicCheck(feeder.id)),
    ]).toEqual(["confirmed", "paused"]);
  });

  it("is contradicted by food given after a report that was delayed and came just before", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(60_000, false));
    await requestOrder(server, feeder.id, pause);
    server.clock.advance(minutes(1));
    await server.report(key, sendReport(120_000, false)); // the order is sent with the answer
    server.clock.advance(minutes(3));
    // Sent a minute later, with the next two already under way: it comes when the feeder is up for 5 minutes.
    await server.report(key, sendReport(180_000, true, [carriedOut(1, 125_000, pause.id)]));
    expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("confirmed");
    server.clock.advance(milliseconds(1));
    const fed = sendReport(300_000, true, [{ ...portion(2, 240_000), motorMs: 900 }]);
    expect(ordersOf(await server.report(key, fed))).toEqual([pause.id]);
    const view = await server.runPeriodicCheck(feeder.id);
    expect(alarmsOf(view)).toEqual(["feedsThoughPaused urgent"]);
    expect([orderStatus(view), pauseStatus(view)]).toEqual(["contradicted", "feeding"]);
  });

  it("is not contradicted by food given before it, where the report of that food was delayed and the answer was not", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(60_000, false));
    await requestOrder(server, feeder.id, pause);
    server.clock.advance(minutes(1));
    await server.report(key, sendReport(120_000, false));
    server.clock.advance(minutes(3));
    await server.report(key, sendReport(180_000, false, [{ ...portion(1, 170_000), motorMs: 900 }]));
    server.clock.advance(milliseconds(1));
    await server.report(key, sendReport(300_000, true, [carriedOut(2, 200_000, pause.id)]));
    const view = await server.runPeriodicCheck(feeder.id);
    expect([orderStatus(view), pauseStatus(view)]).toEqual(["confirmed", "paused"]);
    expect(alarmsOf(view)).not.toContain("feedsThoughPaused urgent");
  });

  it("is contradicted by a portion in the same start, also over the socket, and a repeat of the old answer doesn't restore it", async () => {
    const server = await openTestServer();
    const { key, feeder } = await confirmedBare(server);
    server.clock.advance(minutes(1));
    const rowan = await openLink(await listenAddress(server), key);
    rowan.say(bare(240_000, [portion(2, 230_000, "deposit")]));
    expect(await rowan.next()).toMatchObject({ answer: { orders: [{ id: pause.id }] } });
    expect(alarmsOf(await server.runPeriodicCheck(feeder.id))).toEqual(["feedsThoughPaused urgent"]);
    server.clock.advance(minutes(1));
    rowan.say(bare(300_000, [carriedOut(3, 121_500, pause.id)])); // an earlier answer, from its spool
    expect(await rowan.next()).toMatchObject({ answer: { orders: [{ id: pause.id }] } });
    expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("contradicted");
    rowan.socket.close();
  });

  it("is not contradicted by earlier portions: a backlog, a portion under way, events of an earlier start", async () => {
    const server = await openTestServer();
    const { key, feeder } = await confirmedBare(server);
    server.clock.advance(minutes(1));
    const before = [portion(2, 60_000), { ...portion(3, 122_000), motorMs: 1_500 }];
    expect(ordersOf(await server.report(key, bare(240_000, before)))).toEqual([]);
    await server.report(key, bare(null, [portion(1, 5_000)], "b-0"));
    const view = await server.runPeriodicCheck(feeder.id);
    expect([orderStatus(view), alarmsOf(view)]).toEqual(["confirmed", []]);
  });

  it("holds where the feeder has stored it over its restart, and reports it", async () => {
    const server = await openTestServer();
    const { key, feeder } = await confirmedBare(server);
    server.clock.advance(minutes(10));
    expect(ordersOf(await server.report(key, sendReport(5_000, true, [], "b-2")))).toEqual([]);
    const view = await server.runPeriodicCheck(feeder.id);
    expect([orderStatus(view), pauseStatus(view), alarmsOf(view)]).toEqual(["confirmed", "paused", []]);
  });

  it("is neither contradicted nor confirmed by an old report that comes late", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(60_000, false));
    await requestOrder(server, feeder.id, pause);
    server.clock.advance(minutes(1));
    await server.report(key, sendReport(120_000, true, [carriedOut(1, 119_000, pause.id)]));
    await server.report(key, sendReport(70_000, false));
    expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("confirmed");

    server.clock.advance(minutes(1));
    await server.report(key, sendReport(5_000, false, [], "b-2"));
    await server.report(key, sendReport(130_000, true));
    expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("sent");
  });
});

describe("a feeder that reports one thing and does another", () => {
  it("answers done and then reports that it feeds: an urgent alarm at once, once, and never confirmed again by the same done", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(60_000, false));
    await requestOrder(server, feeder.id, pause);
    const phases = new Set<string>();
    let seq = 0;
    for (let minute = 2; minute <= 30; minute += 1) {
      server.clock.advance(minutes(1));
      const orders = ordersOf(await server.report(key, sendReport(minute * 60_000, false)));
      for (const id of orders) {
        await server.report(key, sendReport(minute * 60_000 + 1, false, [carriedOut(++seq, minute * 60_000, id)]));
      }
      await runPeriodicChecks(server.ports);
      const view = await server.runPeriodicCheck(feeder.id);
      phases.add(`${orderStatus(view)} ${pauseStatus(view)}`);
      if (minute > 3) expect(alarmsOf(view)[0]).toBe("pauseContradicted urgent");
    }
    expect([...phases]).toEqual(["contradicted feeding"]);
    expect(server.outboxSignals()).toBe(1); // one alarm, which isn't raised again
  });

  it("reports that it is paused, and gives food: the portion counts", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(60_000, false));
    await requestOrder(server, feeder.id, pause);
    await server.report(key, sendReport(60_001, true, [carriedOut(1, 60_001, pause.id)]));
    for (let minute = 2; minute <= 20; minute += 1) {
      server.clock.advance(minutes(1));
      await server.report(key, sendReport(minute * 60_000, true, [portion(minute, minute * 60_000 - 20_000)]));
      const view = await server.runPeriodicCheck(feeder.id);
      expect([orderStatus(view), alarmsOf(view)]).toEqual(["contradicted", ["feedsThoughPaused urgent"]]);
    }
  });
});

describe("a resume", () => {
  const resume = { id: "resume-0001", kind: "resume" };

  it("that is not answered is an alarm, since the birds wait", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(60_000, true));
    await requestOrder(server, feeder.id, resume);
    for (let minute = 2; minute <= 20; minute += 1) {
      server.clock.advance(minutes(1));
      await server.report(key, sendReport(minute * 60_000, true));
      await runPeriodicChecks(server.ports);
    }
    const view = await server.runPeriodicCheck(feeder.id);
    expect([orderStatus(view), pauseStatus(view), alarmsOf(view)]).toEqual(["overdue", "paused", ["staysPaused soon"]]);
  });

  it("that was confirmed isn't shown as confirmed while the feeder reports a pause, and isn't sent against a pause at the feeder", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(60_000, true));
    await requestOrder(server, feeder.id, resume);
    await server.report(key, sendReport(60_001, false, [carriedOut(1, 60_001, resume.id)]));
    expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("confirmed");
    for (let minute = 2; minute <= 20; minute += 1) {
      server.clock.advance(minutes(1));
      expect(ordersOf(await server.report(key, sendReport(minute * 60_000, true)))).toEqual([]);
      await runPeriodicChecks(server.ports);
      expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("contradicted");
    }
    const view = await server.runPeriodicCheck(feeder.id);
    expect(alarmsOf(view)).toEqual(["staysPaused soon"]);
    expect(view.alarms[0]?.reason).toMatch(/paused it at the feeder/);
  });
});

describe("a pause with an end", () => {
  const until = (server: TestServer) => isoOf((server.clock.now() + hours(1)) as never);

  it("that ends while the feeder is offline is shown neither as confirmed nor as feeding", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(60_000, false));
    await requestOrder(server, feeder.id, { ...pause, until: until(server) });
    await server.report(key, sendReport(60_001, true, [carriedOut(1, 60_001, pause.id)]));
    server.clock.advance(hours(2));
    const view = await server.runPeriodicCheck(feeder.id);
    expect([orderStatus(view), pauseStatus(view)]).toEqual(["ended", "endedUnconfirmed"]);
    await server.report(key, sendReport(7_260_000, false));
    expect(pauseStatus(await server.runPeriodicCheck(feeder.id))).toBe("feeding");
  });

  it("after which the feeder still reports a pause is an alarm", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(60_000, false));
    await requestOrder(server, feeder.id, { ...pause, until: until(server) });
    await server.report(key, sendReport(60_001, true, [carriedOut(1, 60_001, pause.id)]));
    for (let minute = 2; minute <= 80; minute += 1) {
      server.clock.advance(minutes(1));
      await server.report(key, sendReport(minute * 60_000, true));
      await runPeriodicChecks(server.ports);
      const alarms = alarmsOf(await server.runPeriodicCheck(feeder.id));
      if (minute < 60) expect(alarms).toEqual([]);
    }
    const view = await server.runPeriodicCheck(feeder.id);
    expect([orderStatus(view), pauseStatus(view), alarmsOf(view)]).toEqual(["ended", "paused", ["staysPaused soon"]]);
  });
});

describe("two keepers at once", () => {
  it("both see whose order is the newest: two pauses, and a pause that crosses a resume", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const bo = await joinByInvite(server, "Bo", "helper");
    const at = `/api/v1/feeders/${feeder.id}/orders`;
    const order = async (headers: Record<string, string>, payload: object) =>
      (await server.app.inject({ method: "POST", url: at, headers, payload })).json() as FeederView;
    await Promise.all([order(server.keeper, pause), order(bo, { id: "pause-of-bo", kind: "pause" })]);
    const [one, other] = [await server.runPeriodicCheck(feeder.id), await getFeederAs(server, feeder.id, bo)];
    expect(one.pause.order).toEqual(other.pause.order);
    await Promise.all([
      order(server.keeper, { id: "resume-of-keeper", kind: "resume" }),
      order(bo, { id: "pause-of-bo-2", kind: "pause" }),
    ]);
    const newest = (await server.runPeriodicCheck(feeder.id)).pause.order;
    expect((await getFeederAs(server, feeder.id, bo)).pause.order).toEqual(newest);
    expect(newest?.requestedBy).toBe(newest?.kind === "pause" ? "Bo" : "Keeper");
    expect(ordersOf(await server.report(key, sendReport(60_000, false)))).toEqual([newest?.id]);
    // The earlier one repeats a request without an answer: the order doesn't come back.
    await order(newest?.kind === "pause" ? server.keeper : bo, pause);
    expect((await server.runPeriodicCheck(feeder.id)).pause.order?.id).toBe(newest?.id);
  });
});

describe("an order for a whole yard", () => {
  const askAll = async (server: TestServer, order: object, headers = server.keeper) => {
    const url = `/api/v1/yards/${server.yard}/orders`;
    const answer = await server.app.inject({ method: "POST", url, headers, payload: order });
    return { status: answer.statusCode, body: answer.json() as YardOrderView & { errors?: { field: string }[] } };
  };

  it("is one change: all feeders at once, over live sockets too, and a repeat changes nothing", async () => {
    const server = await openTestServer();
    const names = ["Rowan", "Larch", "Hazel"];
    const added = await Promise.all(names.map((name) => server.addFeeder({ name })));
    const [first, second] = added;
    if (!first || !second) throw new Error("expected feeders");
    const rowan = await openLink(await listenAddress(server), first.key);
    const { status, body } = await askAll(server, pause);
    expect(status).toBe(200);
    expect(body.feeders.map(({ id }) => id).sort()).toEqual(added.map(({ feeder }) => feeder.id).sort());
    expect(await rowan.next()).toEqual({ orders: [{ id: pause.id, kind: "pause", until: null }] });
    expect(orderStatus(await server.runPeriodicCheck(first.feeder.id))).toBe("sent");
    expect(ordersOf(await server.report(second.key, sendReport(60_000, false)))).toEqual([pause.id]);

    await server.report(second.key, sendReport(60_001, true, [carriedOut(1, 60_001, pause.id)]));
    await askAll(server, pause);
    expect(orderStatus(await server.runPeriodicCheck(second.feeder.id))).toBe("confirmed");
    rowan.socket.close();
  });

  it("is for the yard's people only, and refuses what one feeder's order refuses, by field", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const bo = await joinByInvite(server, "Bo", "helper");
    expect((await askAll(server, pause, bo)).status).toBe(200);
    expect((await askAll(server, pause, { "x-pieward": "1" })).status).toBe(401);
    expect((await server.runPeriodicCheck(feeder.id)).pause.order?.requestedBy).toBe("Bo");
    const past = isoOf((server.clock.now() - 1) as never);
    expect((await askAll(server, { ...pause, until: past })).body.errors?.[0]?.field).toBe("until");
    expect((await askAll(server, { kind: "pause" })).body.errors?.[0]?.field).toBe("id");
    const elsewhere = { method: "POST", url: "/api/v1/yards/nowhere/orders", headers: server.keeper } as const;
    expect((await server.app.inject({ ...elsewhere, payload: pause })).statusCode).toBe(404);
  });

  it("pauses feeders on the bench and put away too, and leaves them out of a resume: somebody may work on them", async () => {
    const server = await openTestServer();
    const garden = (await server.addFeeder({ name: "Rowan" })).feeder;
    const bench = (await server.addFeeder({ name: "Larch", placement: "onBench" })).feeder;
    await askAll(server, pause);
    expect((await server.runPeriodicCheck(bench.id)).pause.order).toMatchObject({ kind: "pause" });
    const { body } = await askAll(server, { id: "resume-0001", kind: "resume" });
    expect(body.feeders.map(({ id }) => id)).toEqual([garden.id]);
    expect(body.skippedFeeders).toEqual([bench.id]);
    expect((await server.runPeriodicCheck(bench.id)).pause.order).toMatchObject({ kind: "pause" });
  });
});
