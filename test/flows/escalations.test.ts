import Database from "better-sqlite3";
import { describe, expect, it } from "vitest";
import type { HomeView } from "../../server/contract/api.ts";
import { hours, minutes, seconds } from "../../server/domain/instant.ts";
import { advanceDueEscalations, handleAlarmEvents, startMissingEscalations } from "../../server/flows/escalations.ts";
import { addPhone, advanceTime, deliverAll, joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";
import { jammed, jamReport, notifyFirstOfJam, order, repeatJam, sensors, sentNotifications } from "./jam.ts";

/** Reports each minute for a while, so that its silence can be told from a usual gap. */
async function talks(server: TestServer, keys: readonly string[], count = 12): Promise<void> {
  for (let report = 0; report < count; report += 1) {
    server.clock.advance(minutes(1));
    for (const key of keys) await server.report(key, { ...jamReport, sentUptimeMs: (report + 1) * 60_000 });
  }
}

describe("one night's ice", () => {
  it("rings once for the whole yard, and its screens name the feeders that join", async () => {
    const server = await openTestServer();
    await addPhone(server, server.keeper, "Ada");
    await server.addFeeder({ name: "Rowan" });
    await server.addFeeder({ name: "Larch" });
    const said = {
      kind: "raised",
      fault: "iceLock",
      priority: "soon",
      body: "It was wet.",
      sameEpisode: false,
    } as const;
    for (const row of await server.ports.store.yards.feeders()) {
      const word = { ...said, at: server.clock.now(), title: `${row.state.settings.name}: ice` };
      await server.ports.store.transaction((tx) =>
        handleAlarmEvents(server.ports, tx, row, [word], server.clock.now()),
      );
      await deliverAll(server);
      server.clock.advance(minutes(2));
    }
    const [first, second, ...more] = server.push.sent;
    expect(more).toEqual([]);
    expect([first?.silent, second?.silent]).toEqual([false, true]);
    expect(second?.body).toMatch(/^It was wet\. Also at (Rowan|Larch)\.$/);
    expect(second?.topic).toBe(first?.topic);
    const view: HomeView = (await requestAs(server, "GET", "/api/v1/home", server.keeper)).json();
    const told = view.yards.flatMap(({ escalations }) =>
      escalations.map((call) => call.recipientStates.map(({ name }) => name)),
    );
    expect(told).toEqual([["Keeper"], ["Keeper"]]); // whoever heard of the first has heard of both
    await advanceTime(server, hours(20)); // the joined one looks whether its speaker is still there, and stays quiet
    expect(server.push.sent.filter(({ silent }) => !silent)).toHaveLength(1);
  });
});

describe("an alarm that stands without a call", () => {
  it("is told once when the server starts, and not again at the next start", async () => {
    const server = await openTestServer();
    await addPhone(server, server.keeper, "Ada");
    const { key } = await server.addFeeder({ sensors });
    await server.report(key, jammed);
    await deliverAll(server);
    expect(sentNotifications(server)).toEqual(["Ada: Rowan: tray jammed"]);
    expect(await startMissingEscalations(server.ports)).toBe(0);
    // As a database is that was brought back.
    const database = new Database(server.databaseFile);
    database.exec('DELETE FROM "Escalation"');
    database.close();
    server.clock.advance(minutes(1));
    expect(await startMissingEscalations(server.ports)).toBe(1);
    expect(await startMissingEscalations(server.ports)).toBe(0);
    await deliverAll(server);
    expect(sentNotifications(server)).toEqual(["Ada: Rowan: tray jammed", "Ada: Rowan: tray jammed"]);
  });
});

describe("a feeder whose reports the server is too late to take", () => {
  it("fails the test that sends them, where they would count as its silence", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder({ sensors });
    const there = repeatJam(server, key);
    await advanceTime(server, minutes(5), there);
    server.setEventLoopDelay(4_000);
    await expect(advanceTime(server, minutes(5), there)).rejects.toThrow("got 503");
  });
});

describe("an urgent alarm", () => {
  it("rings for the first person, and for the next when nobody has acknowledged it in the yard's time", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    await addPhone(server, server.keeper, "Ada");
    await addPhone(server, bo, "Bo");
    const yard = `/api/v1/yards/${server.yard}`;
    await requestAs(server, "PATCH", yard, server.keeper, { escalateMinutes: 5 });
    const { key } = await server.addFeeder({ sensors });
    const before = server.outboxSignals();
    await server.report(key, jammed);
    expect(server.outboxSignals()).toBeGreaterThan(before);
    await deliverAll(server);
    expect(sentNotifications(server)).toEqual(["Ada: Rowan: tray jammed"]);
    const there = repeatJam(server, key);
    await advanceTime(server, minutes(4), there);
    expect(sentNotifications(server)).toHaveLength(1);
    await advanceTime(server, minutes(1), there);
    expect(sentNotifications(server)).toEqual(["Ada: Rowan: tray jammed", "Bo: Rowan: tray jammed"]);
  });

  it("rings at once for the next where a keeper shortens the time, without waiting for a tick", async () => {
    const server = await notifyFirstOfJam();
    server.clock.advance(minutes(6));
    await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { escalateMinutes: 5 });
    await deliverAll(server);
    expect(sentNotifications(server)).toHaveLength(2);
  });

  it("is taken off everybody else's screen once somebody has acknowledged it, and rings for nobody more", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    await addPhone(server, server.keeper, "Ada");
    await addPhone(server, bo, "Bo");
    const { feeder, key } = await server.addFeeder({ sensors });
    await server.report(key, jammed);
    const there = repeatJam(server, key);
    await advanceTime(server, minutes(16), there);
    expect(sentNotifications(server)).toHaveLength(2);
    const seen = await order(server, bo, `/api/v1/feeders/${feeder.id}/alarms/trayJammed/acknowledge`, {});
    expect(seen.json().alarms).toMatchObject([{ fault: "trayJammed", state: "acknowledged" }]);
    server.clock.advance(seconds(1));
    await deliverAll(server);
    expect(sentNotifications(server).slice(2)).toEqual(["Ada: Acknowledged by Bo: tray jammed at Rowan"]);
    await advanceTime(server, hours(2), there);
    expect(sentNotifications(server)).toHaveLength(3);
  });

  it("goes by mail where no phone has shown it within five minutes, and doesn't where one has", async () => {
    for (const shows of [false, true]) {
      const server = await openTestServer();
      await requestAs(server, "PATCH", "/api/v1/me", server.keeper, { email: "ada@alder.example" });
      await addPhone(server, server.keeper, "Ada");
      const { key } = await server.addFeeder({ sensors });
      await server.report(key, jammed);
      await deliverAll(server);
      const item = server.push.sent[0]?.item;
      if (shows)
        expect(
          (await requestAs(server, "POST", `/api/v1/notifications/${item}/display-receipt`, {}, {})).statusCode,
        ).toBe(204);
      await advanceTime(server, minutes(6), repeatJam(server, key));
      expect(server.email.sent.map(({ to, subject }) => `${to} ${subject}`)).toEqual(
        shows ? [] : ["ada@alder.example Rowan: tray jammed"],
      );
    }
  });

  it("counts nobody as told by a letter that this server can't send", async () => {
    const server = await openTestServer();
    Object.assign(server.email, { isConfigured: false });
    await requestAs(server, "PATCH", "/api/v1/me", server.keeper, { email: "ada@alder.example" });
    const { key } = await server.addFeeder({ sensors });
    await server.report(key, jammed);
    await advanceTime(server, minutes(1));
    expect(server.email.sent).toEqual([]);
    const told = async () =>
      ((await requestAs(server, "GET", "/api/v1/home", server.keeper)).json() as HomeView).yards[0]?.escalations;
    expect(await told()).toMatchObject([{ title: "Rowan: tray jammed", recipientStates: [], unreachable: true }]);
    // It could reach nobody so far: whoever switches a phone on hears of it at once.
    await addPhone(server, server.keeper, "Ada");
    await deliverAll(server);
    expect(sentNotifications(server)).toEqual(["Ada: Rowan: tray jammed"]);
    expect(await told()).toMatchObject([
      { recipientStates: [{ name: "Keeper", displayedAt: null }], unreachable: false },
    ]);
  });

  it("says nothing more to somebody who was removed, also of what was still on its way", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "keeper");
    await addPhone(server, bo, "Bo");
    const id = (await requestAs(server, "GET", "/api/v1/me", bo)).json().id;
    const { key } = await server.addFeeder({ sensors });
    await server.report(key, jammed);
    await requestAs(server, "DELETE", `/api/v1/yards/${server.yard}/people/${id}`, server.keeper);
    await advanceTime(server, minutes(20), repeatJam(server, key));
    expect(sentNotifications(server)).toEqual([]);
  });

  it("is heard in the commit of the state that raised it: both are there, or neither", async () => {
    const server = await openTestServer();
    await addPhone(server, server.keeper, "Ada");
    const { feeder, key } = await server.addFeeder({ sensors });
    const database = new Database(server.databaseFile);
    database.exec(`CREATE TRIGGER planted BEFORE INSERT ON "Escalation" BEGIN SELECT RAISE(ABORT, 'planted'); END`);
    expect((await server.report(key, jammed)).status).toBe(500);
    expect((await server.runPeriodicCheck(feeder.id)).alarms).toEqual([]);
    database.exec(`DROP TRIGGER planted`);
    database.close();
    expect((await server.report(key, jammed)).status).toBe(200);
    await deliverAll(server);
    expect(sentNotifications(server)).toEqual(["Ada: Rowan: tray jammed"]);
  });
});

describe("feeders that fall silent together", () => {
  it("ring once, for the yard", async () => {
    const server = await openTestServer();
    await addPhone(server, server.keeper, "Ada");
    await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { name: "Alder Croft" });
    const keys = [(await server.addFeeder({})).key, (await server.addFeeder({ name: "Larch" })).key];
    await talks(server, keys, 70);
    await advanceTime(server, minutes(30));
    expect(sentNotifications(server)).toHaveLength(1);
    expect(sentNotifications(server)[0]).toMatch(/^Ada: Alder Croft: /);
    // All of them are heard again: one quiet word in its place.
    server.push.sent.length = 0;
    for (const key of keys) await server.report(key, { ...jamReport, sentUptimeMs: 120 * 60_000 });
    await advanceTime(server, minutes(1));
    expect(new Set(server.push.sent.map(({ title }) => title.split(":")[0]))).toEqual(new Set(["Alder Croft"]));
  });

  it("ring for the one alone that is silent while the other talks", async () => {
    const server = await openTestServer();
    await addPhone(server, server.keeper, "Ada");
    const [rowan, larch] = [(await server.addFeeder({})).key, (await server.addFeeder({ name: "Larch" })).key];
    await talks(server, [rowan, larch], 70);
    for (let minute = 0; minute < 20; minute += 1) {
      await server.report(larch, { ...jamReport, sentUptimeMs: (71 + minute) * 60_000 });
      await advanceTime(server, minutes(1));
    }
    expect(sentNotifications(server)).toEqual(["Ada: Rowan: no reports"]);
  });
});

describe("calls that are due", () => {
  it("hold up no other where one fails, and are told by name", async () => {
    const server = await notifyFirstOfJam();
    const database = new Database(server.databaseFile);
    database.exec(
      `INSERT INTO "Escalation" VALUES ('broken', '${server.yard}', NULL, '{}}', '2026-01-01T00:00:00.000+00:00')`,
    );
    database.close();
    server.clock.advance(minutes(16));
    await expect(advanceDueEscalations(server.ports)).rejects.toMatchObject({
      errors: [expect.objectContaining({ message: "the escalation broken could not be advanced" })],
    });
    await deliverAll(server);
    expect(sentNotifications(server)).toEqual(["Ada: Rowan: tray jammed", "Bo: Rowan: tray jammed"]);
  });

  it("tell nothing twice where two servers look at once", async () => {
    const server = await openTestServer();
    await addPhone(server, server.keeper, "Ada");
    const { key } = await server.addFeeder({ sensors });
    await server.report(key, jammed);
    await deliverAll(server);
    server.clock.advance(hours(1));
    await Promise.all([
      advanceDueEscalations(server.ports),
      advanceDueEscalations(server.ports),
      advanceDueEscalations(server.ports),
    ]);
    await deliverAll(server);
    expect(sentNotifications(server).filter((words) => words.endsWith("tray jammed"))).toHaveLength(2); // the ring and one reminder
  });
});
