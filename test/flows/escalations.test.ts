import Database from "better-sqlite3";
import { describe, expect, it } from "vitest";
import type { HomeView } from "../../server/contract/api.ts";
import { hours, minutes, seconds } from "../../server/domain/instant.ts";
import { advanceDueEscalations, handleAlarmEvents, startMissingEscalations } from "../../server/flows/escalations.ts";
import { addPhone, advanceTime, deliverAll, joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";
import { jammed, jamReport, notifyFirstOfJam, order, repeatJam, sensors, sentNotifications } from "./jam.ts";

/** Reports each minute for a while, so that its silence can be distinguished from a usual gap. */
async function talks(server: TestServer, keys: readonly string[], count = 12): Promise<void> {
  for (let report = 0; report < count; report += 1) {
    server.clock.advance(minutes(1));
    for (const key of keys) await server.report(key, { ...jamReport, sentUptimeMs: (report + 1) * 60_000 });
  }
}

describe("one night's ice", () => {
  it("notifies once for the whole yard, and its screens name the feeders that join", async () => {
    const server = await openTestServer();
    await addPhone(server, server.keeper, "Ada");
    await server.addFeeder({ name: "Rowan" });
    await server.addFeeder({ name: "Larch" });
    const iceAlarm = {
      kind: "raised",
      fault: "iceLock",
      priority: "soon",
      body: "It was wet.",
      sameEpisode: false,
    } as const;
    for (const row of await server.ports.store.yards.feeders()) {
      const event = { ...iceAlarm, at: server.clock.now(), title: `${row.state.settings.name}: ice` };
      await server.ports.store.transaction((tx) =>
        handleAlarmEvents(server.ports, tx, row, [event], server.clock.now()),
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
    const notified = view.yards.flatMap(({ escalations }) =>
      escalations.map((call) => call.recipientStates.map(({ name }) => name)),
    );
    expect(notified).toEqual([["Keeper"], ["Keeper"]]); // who was notified of the first was notified of both
    await advanceTime(server, hours(20)); // the grouped one checks that its group is still active, and sends nothing
    expect(server.push.sent.filter(({ silent }) => !silent)).toHaveLength(1);
  });
});

describe("an active alarm without an escalation", () => {
  it("is notified once when the server starts, and not again at the next start", async () => {
    const server = await openTestServer();
    await addPhone(server, server.keeper, "Ada");
    const { key } = await server.addFeeder({ sensors });
    await server.report(key, jammed);
    await deliverAll(server);
    expect(sentNotifications(server)).toEqual(["Ada: Rowan: tray jammed"]);
    expect(await startMissingEscalations(server.ports)).toBe(0);
    // As in a database that was restored.
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

describe("a feeder whose reports the server handles too late", () => {
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
  it("notifies the first person, and the next when nobody has acknowledged it in the yard's time", async () => {
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

  it("notifies the next at once where a keeper shortens the time, without waiting for a tick", async () => {
    const server = await notifyFirstOfJam();
    server.clock.advance(minutes(6));
    await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { escalateMinutes: 5 });
    await deliverAll(server);
    expect(sentNotifications(server)).toHaveLength(2);
  });

  it("is removed from all other screens once a person has acknowledged it, and notifies nobody else", async () => {
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

  it("goes by e-mail where no phone has displayed it within five minutes, and doesn't where one has", async () => {
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

  it("counts nobody as notified by an e-mail that this server can't send", async () => {
    const server = await openTestServer();
    Object.assign(server.email, { isConfigured: false });
    await requestAs(server, "PATCH", "/api/v1/me", server.keeper, { email: "ada@alder.example" });
    const { key } = await server.addFeeder({ sensors });
    await server.report(key, jammed);
    await advanceTime(server, minutes(1));
    expect(server.email.sent).toEqual([]);
    const shownEscalations = async () =>
      ((await requestAs(server, "GET", "/api/v1/home", server.keeper)).json() as HomeView).yards[0]?.escalations;
    expect(await shownEscalations()).toMatchObject([
      { title: "Rowan: tray jammed", recipientStates: [], unreachable: true },
    ]);
    // It has reached nobody so far: a person who turns notifications on is notified at once.
    await addPhone(server, server.keeper, "Ada");
    await deliverAll(server);
    expect(sentNotifications(server)).toEqual(["Ada: Rowan: tray jammed"]);
    expect(await shownEscalations()).toMatchObject([
      { recipientStates: [{ name: "Keeper", displayedAt: null }], unreachable: false },
    ]);
  });

  it("sends nothing more to a person who was removed, also nothing that was waiting", async () => {
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

  it("starts its escalation in the commit of the state that raised it: both are stored, or neither", async () => {
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

describe("feeders that become silent together", () => {
  it("notify once, for the yard", async () => {
    const server = await openTestServer();
    await addPhone(server, server.keeper, "Ada");
    await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { name: "Alder Croft" });
    const keys = [(await server.addFeeder({})).key, (await server.addFeeder({ name: "Larch" })).key];
    await talks(server, keys, 70);
    await advanceTime(server, minutes(30));
    expect(sentNotifications(server)).toHaveLength(1);
    expect(sentNotifications(server)[0]).toMatch(/^Ada: Alder Croft: /);
    // All of them report again: one silent notification replaces it.
    server.push.sent.length = 0;
    for (const key of keys) await server.report(key, { ...jamReport, sentUptimeMs: 120 * 60_000 });
    await advanceTime(server, minutes(1));
    expect(new Set(server.push.sent.map(({ title }) => title.split(":")[0]))).toEqual(new Set(["Alder Croft"]));
  });

  it("notify of the one that is silent while the other reports", async () => {
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

describe("escalations that are due", () => {
  it("delay no other where one fails, and are reported by name", async () => {
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

  it("notify nobody twice where two servers check at once", async () => {
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
    expect(sentNotifications(server).filter((text) => text.endsWith("tray jammed"))).toHaveLength(2); // the first notification and one reminder
  });
});
