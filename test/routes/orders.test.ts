import { once } from "node:events";
import { describe, expect, it } from "vitest";
import WebSocket from "ws";
import type { LiveMessage } from "../../server/contract/api.ts";
import type { Answer } from "../../server/contract/report.ts";
import { hours, isoOf, minutes, seconds } from "../../server/domain/instant.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import {
  carriedOut,
  listenAddress,
  openLink,
  orderStatus,
  pause,
  requestOrder,
  sendReport,
} from "../support/orders.ts";
import { openTestServer } from "../support/testServer.ts";

describe("a pause over plain reports", () => {
  it("is sent with the next answer, and is confirmed by the feeder's own report", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(60_000, false));
    expect(orderStatus((await requestOrder(server, feeder.id, pause)).body)).toBe("requested");

    server.clock.advance(seconds(60));
    const { orders } = (await server.report(key, sendReport(120_000, false))).body as Answer;
    expect(orders).toEqual([{ id: "pause-0001", kind: "pause", until: null }]);
    expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("sent");

    server.clock.advance(seconds(1));
    const next = (await server.report(key, sendReport(121_000, true, [carriedOut(1, 120_500, pause.id)])))
      .body as Answer;
    expect(next.orders).toEqual([]);
    const view = await server.runPeriodicCheck(feeder.id);
    expect(orderStatus(view)).toBe("confirmed");
    expect(view.pause.statement?.paused).toBe(true);
  });

  it("requested twice under one id is one order; the newest of two wins", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await requestOrder(server, feeder.id, pause);
    await requestOrder(server, feeder.id, pause);
    await requestOrder(server, feeder.id, { id: "resume-0001", kind: "resume" });
    const { orders } = (await server.report(key, sendReport(60_000, false))).body as Answer;
    expect(orders.map(({ id }) => id)).toEqual(["resume-0001"]);
  });

  it("is sent again when the feeder restarted and forgot it", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await requestOrder(server, feeder.id, pause);
    await server.report(key, sendReport(60_000, true, [carriedOut(1, 59_000, pause.id)]));
    expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("confirmed");

    server.clock.advance(minutes(2));
    const { orders } = (await server.report(key, sendReport(5_000, false, [], "b-2"))).body as Answer;
    expect(orders.map(({ id }) => id)).toEqual([pause.id]);
    expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("sent");
  });

  it("becomes overdue, and alarms, when the feeder reports but never follows it", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    await server.report(key, sendReport(60_000, false));
    await requestOrder(server, feeder.id, pause);
    for (let minute = 1; minute <= 4; minute += 1) {
      server.clock.advance(minutes(1));
      await server.report(key, sendReport(60_000 + minute * 60_000, false));
      await runPeriodicChecks(server.ports);
    }
    const view = await server.runPeriodicCheck(feeder.id);
    expect(orderStatus(view)).toBe("overdue");
    expect(view.alarms.map(({ fault, priority }) => [fault, priority])).toEqual([["pauseOverdue", "urgent"]]);
    expect(server.outboxSignals()).toBe(1);
  });

  it("ends by itself at its time, and isn't sent any more", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const until = isoOf((server.clock.now() + hours(1)) as never);
    await requestOrder(server, feeder.id, { ...pause, until });
    server.clock.advance(hours(2));
    const { orders } = (await server.report(key, sendReport(60_000, false))).body as Answer;
    expect(orders).toEqual([]);
  });

  it("refuses an end in the past, an end for a resume, and a missing id, by field", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const until = isoOf((server.clock.now() - 1) as never);
    expect((await requestOrder(server, feeder.id, { ...pause, until })).body.errors?.[0]?.field).toBe("until");
    const later = isoOf((server.clock.now() + hours(1)) as never);
    const resume = { id: "resume-0001", kind: "resume", until: later };
    expect((await requestOrder(server, feeder.id, resume)).body.errors?.[0]?.field).toBe("until");
    expect((await requestOrder(server, feeder.id, { kind: "pause" })).body.errors?.[0]?.field).toBe("id");
    expect((await requestOrder(server, "nobody-000000", pause)).status).toBe(404);
  });
});

describe("a live link", () => {
  it("takes the same reports and gives the same answers", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    const feeder = await openLink(await listenAddress(server), key);
    feeder.say(sendReport(60_000, false, [{ seq: 1, uptimeMs: 5, kind: "press" }]));
    expect(await feeder.next()).toMatchObject({ answer: { storedThrough: 1, duplicates: 0, refused: [] } });
    feeder.say("{oops");
    expect(await feeder.next()).toMatchObject({ problem: { status: 400 } });
    feeder.say({ boot: "b-1", sentUptimeMs: "soon" });
    expect(await feeder.next()).toMatchObject({ problem: { status: 400, errors: [{ field: "sentUptimeMs" }] } });
    feeder.socket.close();
  });

  // How long that takes is measured by `npm run bench`.
  it("brings a pause to the feeder at once: requested, sent, confirmed", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const host = await listenAddress(server);
    const rowan = await openLink(host, key);
    rowan.say(sendReport(60_000, false));
    await rowan.next();

    const { body } = await requestOrder(server, feeder.id, pause);
    expect(await rowan.next()).toEqual({ orders: [{ id: pause.id, kind: "pause", until: null }] });
    expect(orderStatus(body)).toBe("sent");

    rowan.say(sendReport(61_000, true, [carriedOut(1, 60_900, pause.id)]));
    expect(await rowan.next()).toMatchObject({ answer: { orders: [] } });
    expect(orderStatus(await server.runPeriodicCheck(feeder.id))).toBe("confirmed");
    rowan.socket.close();
  });

  it("sends what waited while the feeder was offline, as soon as it connects", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const host = await listenAddress(server);
    await requestOrder(server, feeder.id, pause);
    const rowan = await openLink(host, key);
    expect(await rowan.next()).toEqual({ orders: [{ id: pause.id, kind: "pause", until: null }] });
    rowan.socket.close();
  });

  it("answers a flood of reports with 429 and goes on in the next minute, with nothing lost", async () => {
    const server = await openTestServer({ reportsPerMinute: 2 });
    const { key } = await server.addFeeder();
    const rowan = await openLink(await listenAddress(server), key);
    for (const sentUptimeMs of [60_000, 61_000, 62_000]) {
      rowan.say(sendReport(sentUptimeMs, false, [{ seq: sentUptimeMs, uptimeMs: 5, kind: "press" }]));
    }
    expect([await rowan.next(), await rowan.next(), await rowan.next()]).toMatchObject([
      { answer: { storedThrough: 60_000 } },
      { answer: { storedThrough: 61_000 } },
      { problem: { status: 429 } },
    ]);
    server.clock.advance(minutes(1));
    rowan.say(sendReport(62_000, false, [{ seq: 62_000, uptimeMs: 5, kind: "press" }]));
    expect(await rowan.next()).toMatchObject({ answer: { storedThrough: 62_000, duplicates: 0 } });
    rowan.socket.close();
  });

  it("ends when the key is changed or the feeder removed", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const host = await listenAddress(server);
    const url = `/api/v1/feeders/${feeder.id}`;

    const first = await openLink(host, key);
    const ended = once(first.socket, "close");
    const changed = await server.app.inject({ method: "POST", url: `${url}/key`, headers: server.keeper });
    expect((await ended)[0]).toBe(4401);

    const second = await openLink(host, changed.json().key);
    const endedToo = once(second.socket, "close");
    await server.app.inject({ method: "DELETE", url, headers: server.keeper });
    expect((await endedToo)[0]).toBe(4401);
  });

  it("refuses a wrong key before it opens", async () => {
    const server = await openTestServer();
    await server.addFeeder();
    const socket = new WebSocket(`ws://${await listenAddress(server)}/api/v1/link`, {
      headers: { authorization: "Bearer pw_no" },
    });
    const [, response] = await once(socket, "unexpected-response");
    expect(response.statusCode).toBe(401);
    socket.on("error", () => undefined); // ws reports the aborted handshake once more
    socket.terminate();
  });
});

describe("a keeper's live feed", () => {
  it("reports which feeder changed, with its new revision", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const host = await listenAddress(server);
    const socket = new WebSocket(`ws://${host}/api/v1/live`, { headers: { cookie: server.keeper.cookie as string } });
    await once(socket, "open");
    const nextMessage = once(socket, "message");
    await server.report(key, sendReport(60_000, false));
    const message = JSON.parse(String((await nextMessage)[0])) as LiveMessage;
    expect(message).toEqual({ kind: "changed", feeder: feeder.id, revision: 1 });
    expect((await server.runPeriodicCheck(feeder.id)).revision).toBe(1);
    socket.close();
  });

  it("is refused without a session and to other sites' pages", async () => {
    const server = await openTestServer();
    const host = await listenAddress(server);
    const attempts: [Record<string, string>, number][] = [
      [{}, 401],
      [{ cookie: server.keeper.cookie as string, origin: "https://elsewhere.example" }, 403],
    ];
    for (const [headers, status] of attempts) {
      const socket = new WebSocket(`ws://${host}/api/v1/live`, { headers });
      const [, response] = await once(socket, "unexpected-response");
      expect(response.statusCode).toBe(status);
      socket.on("error", () => undefined);
      socket.terminate();
    }
  });
});
