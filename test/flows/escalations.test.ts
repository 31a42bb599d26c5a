import Database from "better-sqlite3";
import { describe, expect, it } from "vitest";
import type { HomeView } from "../../server/contract/api.ts";
import { hours, minutes, seconds } from "../../server/domain/instant.ts";
import { advanceDueEscalations, handleAlarmEvents, startMissingEscalations } from "../../server/flows/escalations.ts";
import { addPhone, advanceTime, deliverAll, joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";
import { jammed, jamReport, notifyFirstOfJam, order, repeatJam, sensors, sentNotifications } from "./jam.ts";

/** Reports each minute for a while, so that its silence can be told from a usual gap. */
async function talks(house: TestServer, keys: readonly string[], count = 12): Promise<void> {
  for (let report = 0; report < count; report += 1) {
    house.clock.advance(minutes(1));
    for (const key of keys) await house.report(key, { ...jamReport, sentUptimeMs: (report + 1) * 60_000 });
  }
}

describe("one night's ice", () => {
  it("rings once for the whole yard, and its screens name the feeders that join", async () => {
    const house = await openTestServer();
    await addPhone(house, house.keeper, "Ada");
    await house.addFeeder({ name: "Rowan" });
    await house.addFeeder({ name: "Larch" });
    const said = {
      kind: "raised",
      fault: "iceLock",
      priority: "soon",
      body: "It was wet.",
      sameEpisode: false,
    } as const;
    for (const row of await house.ports.store.yards.feeders()) {
      const word = { ...said, at: house.clock.now(), title: `${row.state.settings.name}: ice` };
      await house.ports.store.transaction((tx) => handleAlarmEvents(house.ports, tx, row, [word], house.clock.now()));
      await deliverAll(house);
      house.clock.advance(minutes(2));
    }
    const [first, second, ...more] = house.push.sent;
    expect(more).toEqual([]);
    expect([first?.silent, second?.silent]).toEqual([false, true]);
    expect(second?.body).toMatch(/^It was wet\. Also at (Rowan|Larch)\.$/);
    expect(second?.topic).toBe(first?.topic);
    const view: HomeView = (await requestAs(house, "GET", "/api/v1/home", house.keeper)).json();
    const told = view.yards.flatMap(({ escalations }) =>
      escalations.map((call) => call.recipientStates.map(({ name }) => name)),
    );
    expect(told).toEqual([["Keeper"], ["Keeper"]]); // whoever heard of the first has heard of both
    await advanceTime(house, hours(20)); // the joined one looks whether its speaker is still there, and stays quiet
    expect(house.push.sent.filter(({ silent }) => !silent)).toHaveLength(1);
  });
});

describe("an alarm that stands without a call", () => {
  it("is told once when the server starts, and not again at the next start", async () => {
    const house = await openTestServer();
    await addPhone(house, house.keeper, "Ada");
    const { key } = await house.addFeeder({ sensors });
    await house.report(key, jammed);
    await deliverAll(house);
    expect(sentNotifications(house)).toEqual(["Ada: Rowan: tray jammed"]);
    expect(await startMissingEscalations(house.ports)).toBe(0);
    // As a database is that was brought back.
    const database = new Database(house.databaseFile);
    database.exec('DELETE FROM "Call"');
    database.close();
    house.clock.advance(minutes(1));
    expect(await startMissingEscalations(house.ports)).toBe(1);
    expect(await startMissingEscalations(house.ports)).toBe(0);
    await deliverAll(house);
    expect(sentNotifications(house)).toEqual(["Ada: Rowan: tray jammed", "Ada: Rowan: tray jammed"]);
  });
});

describe("a feeder whose reports the server is too late to take", () => {
  it("fails the test that sends them, where they would count as its silence", async () => {
    const house = await openTestServer();
    const { key } = await house.addFeeder({ sensors });
    const there = repeatJam(house, key);
    await advanceTime(house, minutes(5), there);
    house.advanceWithoutTimers(4_000);
    await expect(advanceTime(house, minutes(5), there)).rejects.toThrow("got 503");
  });
});

describe("an urgent alarm", () => {
  it("rings for the first person, and for the next when nobody has acknowledged it in the yard's time", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    await addPhone(house, house.keeper, "Ada");
    await addPhone(house, bo, "Bo");
    const yard = `/api/v1/yards/${house.yard}`;
    await requestAs(house, "PATCH", yard, house.keeper, { escalateMinutes: 5 });
    const { key } = await house.addFeeder({ sensors });
    const before = house.timersRun();
    await house.report(key, jammed);
    expect(house.timersRun()).toBeGreaterThan(before);
    await deliverAll(house);
    expect(sentNotifications(house)).toEqual(["Ada: Rowan: tray jammed"]);
    const there = repeatJam(house, key);
    await advanceTime(house, minutes(4), there);
    expect(sentNotifications(house)).toHaveLength(1);
    await advanceTime(house, minutes(1), there);
    expect(sentNotifications(house)).toEqual(["Ada: Rowan: tray jammed", "Bo: Rowan: tray jammed"]);
  });

  it("rings at once for the next where a keeper shortens the time, without waiting for a tick", async () => {
    const house = await notifyFirstOfJam();
    house.clock.advance(minutes(6));
    await requestAs(house, "PATCH", `/api/v1/yards/${house.yard}`, house.keeper, { escalateMinutes: 5 });
    await deliverAll(house);
    expect(sentNotifications(house)).toHaveLength(2);
  });

  it("is taken off everybody else's screen once somebody has acknowledged it, and rings for nobody more", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "helper");
    await addPhone(house, house.keeper, "Ada");
    await addPhone(house, bo, "Bo");
    const { feeder, key } = await house.addFeeder({ sensors });
    await house.report(key, jammed);
    const there = repeatJam(house, key);
    await advanceTime(house, minutes(16), there);
    expect(sentNotifications(house)).toHaveLength(2);
    const seen = await order(house, bo, `/api/v1/feeders/${feeder.id}/alarms/trayJammed/acknowledge`, {});
    expect(seen.json().alarms).toMatchObject([{ fault: "trayJammed", phase: "acknowledged" }]);
    house.clock.advance(seconds(1));
    await deliverAll(house);
    expect(sentNotifications(house).slice(2)).toEqual(["Ada: Acknowledged by Bo: tray jammed at Rowan"]);
    await advanceTime(house, hours(2), there);
    expect(sentNotifications(house)).toHaveLength(3);
  });

  it("goes by mail where no phone has shown it within five minutes, and doesn't where one has", async () => {
    for (const shows of [false, true]) {
      const house = await openTestServer();
      await requestAs(house, "PATCH", "/api/v1/me", house.keeper, { mail: "ada@alder.example" });
      await addPhone(house, house.keeper, "Ada");
      const { key } = await house.addFeeder({ sensors });
      await house.report(key, jammed);
      await deliverAll(house);
      const item = house.push.sent[0]?.item;
      if (shows) expect((await requestAs(house, "POST", `/api/v1/notices/${item}/shown`, {}, {})).statusCode).toBe(204);
      await advanceTime(house, minutes(6), repeatJam(house, key));
      expect(house.mail.sent.map(({ to, subject }) => `${to} ${subject}`)).toEqual(
        shows ? [] : ["ada@alder.example Rowan: tray jammed"],
      );
    }
  });

  it("counts nobody as told by a letter that this server can't send", async () => {
    const house = await openTestServer();
    Object.assign(house.mail, { ready: false });
    await requestAs(house, "PATCH", "/api/v1/me", house.keeper, { mail: "ada@alder.example" });
    const { key } = await house.addFeeder({ sensors });
    await house.report(key, jammed);
    await advanceTime(house, minutes(1));
    expect(house.mail.sent).toEqual([]);
    const told = async () =>
      ((await requestAs(house, "GET", "/api/v1/home", house.keeper)).json() as HomeView).yards[0]?.escalations;
    expect(await told()).toMatchObject([{ title: "Rowan: tray jammed", recipientStates: [], unreachable: true }]);
    // It could reach nobody so far: whoever switches a phone on hears of it at once.
    await addPhone(house, house.keeper, "Ada");
    await deliverAll(house);
    expect(sentNotifications(house)).toEqual(["Ada: Rowan: tray jammed"]);
    expect(await told()).toMatchObject([
      { recipientStates: [{ name: "Keeper", displayedAt: null }], unreachable: false },
    ]);
  });

  it("says nothing more to somebody who was removed, also of what was still on its way", async () => {
    const house = await openTestServer();
    const bo = await joinByInvite(house, "Bo", "keeper");
    await addPhone(house, bo, "Bo");
    const id = (await requestAs(house, "GET", "/api/v1/me", bo)).json().id;
    const { key } = await house.addFeeder({ sensors });
    await house.report(key, jammed);
    await requestAs(house, "DELETE", `/api/v1/yards/${house.yard}/people/${id}`, house.keeper);
    await advanceTime(house, minutes(20), repeatJam(house, key));
    expect(sentNotifications(house)).toEqual([]);
  });

  it("is heard in the commit of the state that raised it: both are there, or neither", async () => {
    const house = await openTestServer();
    await addPhone(house, house.keeper, "Ada");
    const { feeder, key } = await house.addFeeder({ sensors });
    const database = new Database(house.databaseFile);
    database.exec(`CREATE TRIGGER planted BEFORE INSERT ON "Call" BEGIN SELECT RAISE(ABORT, 'planted'); END`);
    expect((await house.report(key, jammed)).status).toBe(500);
    expect((await house.runPeriodicCheck(feeder.id)).alarms).toEqual([]);
    database.exec(`DROP TRIGGER planted`);
    database.close();
    expect((await house.report(key, jammed)).status).toBe(200);
    await deliverAll(house);
    expect(sentNotifications(house)).toEqual(["Ada: Rowan: tray jammed"]);
  });
});

describe("feeders that fall silent together", () => {
  it("ring once, for the yard", async () => {
    const house = await openTestServer();
    await addPhone(house, house.keeper, "Ada");
    await requestAs(house, "PATCH", `/api/v1/yards/${house.yard}`, house.keeper, { name: "Alder Croft" });
    const keys = [(await house.addFeeder({})).key, (await house.addFeeder({ name: "Larch" })).key];
    await talks(house, keys, 70);
    await advanceTime(house, minutes(30));
    expect(sentNotifications(house)).toHaveLength(1);
    expect(sentNotifications(house)[0]).toMatch(/^Ada: Alder Croft: /);
    // All of them are heard again: one quiet word in its place.
    house.push.sent.length = 0;
    for (const key of keys) await house.report(key, { ...jamReport, sentUptimeMs: 120 * 60_000 });
    await advanceTime(house, minutes(1));
    expect(new Set(house.push.sent.map(({ title }) => title.split(":")[0]))).toEqual(new Set(["Alder Croft"]));
  });

  it("ring for the one alone that is silent while the other talks", async () => {
    const house = await openTestServer();
    await addPhone(house, house.keeper, "Ada");
    const [rowan, larch] = [(await house.addFeeder({})).key, (await house.addFeeder({ name: "Larch" })).key];
    await talks(house, [rowan, larch], 70);
    for (let minute = 0; minute < 20; minute += 1) {
      await house.report(larch, { ...jamReport, sentUptimeMs: (71 + minute) * 60_000 });
      await advanceTime(house, minutes(1));
    }
    expect(sentNotifications(house)).toEqual(["Ada: Rowan: no reports"]);
  });
});

describe("calls that are due", () => {
  it("hold up no other where one fails, and are told by name", async () => {
    const house = await notifyFirstOfJam();
    const database = new Database(house.databaseFile);
    database.exec(
      `INSERT INTO "Call" VALUES ('broken', '${house.yard}', NULL, '{}}', '2026-01-01T00:00:00.000+00:00')`,
    );
    database.close();
    house.clock.advance(minutes(16));
    await expect(advanceDueEscalations(house.ports)).rejects.toMatchObject({
      errors: [expect.objectContaining({ message: "the call broken could not be moved on" })],
    });
    await deliverAll(house);
    expect(sentNotifications(house)).toEqual(["Ada: Rowan: tray jammed", "Bo: Rowan: tray jammed"]);
  });

  it("tell nothing twice where two servers look at once", async () => {
    const house = await openTestServer();
    await addPhone(house, house.keeper, "Ada");
    const { key } = await house.addFeeder({ sensors });
    await house.report(key, jammed);
    await deliverAll(house);
    house.clock.advance(hours(1));
    await Promise.all([
      advanceDueEscalations(house.ports),
      advanceDueEscalations(house.ports),
      advanceDueEscalations(house.ports),
    ]);
    await deliverAll(house);
    expect(sentNotifications(house).filter((words) => words.endsWith("tray jammed"))).toHaveLength(2); // the ring and one reminder
  });
});
