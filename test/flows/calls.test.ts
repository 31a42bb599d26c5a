import Database from "better-sqlite3";
import { describe, expect, it } from "vitest";
import type { HomeView } from "../../server/contract/api.ts";
import { hours, minutes, seconds } from "../../server/domain/instant.ts";
import { advanceDueCalls, callStanding, hearWords } from "../../server/flows/calls.ts";
import { type House, openHouse } from "../support/house.ts";
import { asked, deliver, goBy, invited, phoneOf } from "../support/people.ts";
import { heard, jammed, jamToldToTheFirst, order, rung, sensors, stillThere } from "./jam.ts";

/** Reports each minute for a while, so that its silence can be told from a usual gap. */
async function talks(house: House, keys: readonly string[], count = 12): Promise<void> {
  for (let report = 0; report < count; report += 1) {
    house.clock.pass(minutes(1));
    for (const key of keys) await house.report(key, { ...heard, sentUptimeMs: (report + 1) * 60_000 });
  }
}

describe("one night's ice", () => {
  it("rings once for the whole yard, and its screens name the feeders that join", async () => {
    const house = await openHouse();
    await phoneOf(house, house.keeper, "Ada");
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
      await house.ports.store.transaction((tx) => hearWords(house.ports, tx, row, [word], house.clock.now()));
      await deliver(house);
      house.clock.pass(minutes(2));
    }
    const [first, second, ...more] = house.push.sent;
    expect(more).toEqual([]);
    expect([first?.quiet, second?.quiet]).toEqual([false, true]);
    expect(second?.body).toMatch(/^It was wet\. Also at (Rowan|Larch)\.$/);
    expect(second?.topic).toBe(first?.topic);
    const view: HomeView = (await asked(house, "GET", "/api/v1/home", house.keeper)).json();
    const told = view.yards.flatMap(({ calls }) => calls.map((call) => call.told.map(({ name }) => name)));
    expect(told).toEqual([["Keeper"], ["Keeper"]]); // whoever heard of the first has heard of both
    await goBy(house, hours(20)); // the joined one looks whether its speaker is still there, and stays quiet
    expect(house.push.sent.filter(({ quiet }) => !quiet)).toHaveLength(1);
  });
});

describe("an alarm that stands without a call", () => {
  it("is told once when the server starts, and not again at the next start", async () => {
    const house = await openHouse();
    await phoneOf(house, house.keeper, "Ada");
    const { key } = await house.addFeeder({ sensors });
    await house.report(key, jammed);
    await deliver(house);
    expect(rung(house)).toEqual(["Ada: Rowan: tray jammed"]);
    expect(await callStanding(house.ports)).toBe(0);
    // As a database is that was written before calls were kept.
    const database = new Database(house.databaseFile);
    database.exec('DELETE FROM "Call"');
    database.close();
    house.clock.pass(minutes(1));
    expect(await callStanding(house.ports)).toBe(1);
    expect(await callStanding(house.ports)).toBe(0);
    await deliver(house);
    expect(rung(house)).toEqual(["Ada: Rowan: tray jammed", "Ada: Rowan: tray jammed"]);
  });
});

describe("a feeder whose reports the server is too late to take", () => {
  it("fails the test that sends them, where they would count as its silence", async () => {
    const house = await openHouse();
    const { key } = await house.addFeeder({ sensors });
    const there = stillThere(house, key);
    await goBy(house, minutes(5), there);
    house.beLate(4_000);
    await expect(goBy(house, minutes(5), there)).rejects.toThrow("got 503");
  });
});

describe("an urgent alarm", () => {
  it("rings for the first person, and for the next when nobody has acknowledged it in the yard's time", async () => {
    const house = await openHouse();
    const bo = await invited(house, "Bo", "helper");
    await phoneOf(house, house.keeper, "Ada");
    await phoneOf(house, bo, "Bo");
    const yard = `/api/v1/yards/${house.yard}`;
    await asked(house, "PATCH", yard, house.keeper, { escalateMinutes: 5 });
    const { key } = await house.addFeeder({ sensors });
    const before = house.rung();
    await house.report(key, jammed);
    expect(house.rung()).toBeGreaterThan(before);
    await deliver(house);
    expect(rung(house)).toEqual(["Ada: Rowan: tray jammed"]);
    const there = stillThere(house, key);
    await goBy(house, minutes(4), there);
    expect(rung(house)).toHaveLength(1);
    await goBy(house, minutes(1), there);
    expect(rung(house)).toEqual(["Ada: Rowan: tray jammed", "Bo: Rowan: tray jammed"]);
  });

  it("rings at once for the next where a keeper shortens the time, without waiting for a tick", async () => {
    const house = await jamToldToTheFirst();
    house.clock.pass(minutes(6));
    await asked(house, "PATCH", `/api/v1/yards/${house.yard}`, house.keeper, { escalateMinutes: 5 });
    await deliver(house);
    expect(rung(house)).toHaveLength(2);
  });

  it("is taken off everybody else's screen once somebody has acknowledged it, and rings for nobody more", async () => {
    const house = await openHouse();
    const bo = await invited(house, "Bo", "helper");
    await phoneOf(house, house.keeper, "Ada");
    await phoneOf(house, bo, "Bo");
    const { feeder, key } = await house.addFeeder({ sensors });
    await house.report(key, jammed);
    const there = stillThere(house, key);
    await goBy(house, minutes(16), there);
    expect(rung(house)).toHaveLength(2);
    const seen = await order(house, bo, `/api/v1/feeders/${feeder.id}/alarms/trayJammed/acknowledge`, {});
    expect(seen.json().alarms).toMatchObject([{ fault: "trayJammed", phase: "acknowledged" }]);
    house.clock.pass(seconds(1));
    await deliver(house);
    expect(rung(house).slice(2)).toEqual(["Ada: Bo has seen it: tray jammed at Rowan"]);
    await goBy(house, hours(2), there);
    expect(rung(house)).toHaveLength(3);
  });

  it("goes by mail where no phone has shown it within five minutes, and doesn't where one has", async () => {
    for (const shows of [false, true]) {
      const house = await openHouse();
      await asked(house, "PATCH", "/api/v1/me", house.keeper, { mail: "ada@alder.example" });
      await phoneOf(house, house.keeper, "Ada");
      const { key } = await house.addFeeder({ sensors });
      await house.report(key, jammed);
      await deliver(house);
      const item = house.push.sent[0]?.item;
      if (shows) expect((await asked(house, "POST", `/api/v1/notices/${item}/shown`, {}, {})).statusCode).toBe(204);
      await goBy(house, minutes(6), stillThere(house, key));
      expect(house.mail.sent.map(({ to, subject }) => `${to} ${subject}`)).toEqual(
        shows ? [] : ["ada@alder.example Rowan: tray jammed"],
      );
    }
  });

  it("counts nobody as told by a letter that this server can't send", async () => {
    const house = await openHouse();
    Object.assign(house.mail, { ready: false });
    await asked(house, "PATCH", "/api/v1/me", house.keeper, { mail: "ada@alder.example" });
    const { key } = await house.addFeeder({ sensors });
    await house.report(key, jammed);
    await goBy(house, minutes(1));
    expect(house.mail.sent).toEqual([]);
    const told = async () =>
      ((await asked(house, "GET", "/api/v1/home", house.keeper)).json() as HomeView).yards[0]?.calls;
    expect(await told()).toMatchObject([{ title: "Rowan: tray jammed", told: [], unreachable: true }]);
    // It could reach nobody so far: whoever switches a phone on hears of it at once.
    await phoneOf(house, house.keeper, "Ada");
    await deliver(house);
    expect(rung(house)).toEqual(["Ada: Rowan: tray jammed"]);
    expect(await told()).toMatchObject([{ told: [{ name: "Keeper", shownAt: null }], unreachable: false }]);
  });

  it("says nothing more to somebody who was removed, also of what was still on its way", async () => {
    const house = await openHouse();
    const bo = await invited(house, "Bo", "keeper");
    await phoneOf(house, bo, "Bo");
    const id = (await asked(house, "GET", "/api/v1/me", bo)).json().id;
    const { key } = await house.addFeeder({ sensors });
    await house.report(key, jammed);
    await asked(house, "DELETE", `/api/v1/yards/${house.yard}/people/${id}`, house.keeper);
    await goBy(house, minutes(20), stillThere(house, key));
    expect(rung(house)).toEqual([]);
  });

  it("is heard in the commit of the state that raised it: both are there, or neither", async () => {
    const house = await openHouse();
    await phoneOf(house, house.keeper, "Ada");
    const { feeder, key } = await house.addFeeder({ sensors });
    const database = new Database(house.databaseFile);
    database.exec(`CREATE TRIGGER planted BEFORE INSERT ON "Call" BEGIN SELECT RAISE(ABORT, 'planted'); END`);
    expect((await house.report(key, jammed)).status).toBe(500);
    expect((await house.look(feeder.id)).alarms).toEqual([]);
    database.exec(`DROP TRIGGER planted`);
    database.close();
    expect((await house.report(key, jammed)).status).toBe(200);
    await deliver(house);
    expect(rung(house)).toEqual(["Ada: Rowan: tray jammed"]);
  });
});

describe("feeders that fall silent together", () => {
  it("ring once, for the yard", async () => {
    const house = await openHouse();
    await phoneOf(house, house.keeper, "Ada");
    await asked(house, "PATCH", `/api/v1/yards/${house.yard}`, house.keeper, { name: "Alder Croft" });
    const keys = [(await house.addFeeder({})).key, (await house.addFeeder({ name: "Larch" })).key];
    await talks(house, keys, 70);
    await goBy(house, minutes(30));
    expect(rung(house)).toHaveLength(1);
    expect(rung(house)[0]).toMatch(/^Ada: Alder Croft: /);
    // All of them are heard again: one quiet word in its place.
    house.push.sent.length = 0;
    for (const key of keys) await house.report(key, { ...heard, sentUptimeMs: 120 * 60_000 });
    await goBy(house, minutes(1));
    expect(new Set(house.push.sent.map(({ title }) => title.split(":")[0]))).toEqual(new Set(["Alder Croft"]));
  });

  it("ring for the one alone that is silent while the other talks", async () => {
    const house = await openHouse();
    await phoneOf(house, house.keeper, "Ada");
    const [rowan, larch] = [(await house.addFeeder({})).key, (await house.addFeeder({ name: "Larch" })).key];
    await talks(house, [rowan, larch], 70);
    for (let minute = 0; minute < 20; minute += 1) {
      await house.report(larch, { ...heard, sentUptimeMs: (71 + minute) * 60_000 });
      await goBy(house, minutes(1));
    }
    expect(rung(house)).toEqual(["Ada: Rowan: feeder silent"]);
  });
});

describe("calls that are due", () => {
  it("hold up no other where one fails, and are told by name", async () => {
    const house = await jamToldToTheFirst();
    const database = new Database(house.databaseFile);
    database.exec(
      `INSERT INTO "Call" VALUES ('broken', '${house.yard}', NULL, '{}}', '2026-01-01T00:00:00.000+00:00')`,
    );
    database.close();
    house.clock.pass(minutes(16));
    await expect(advanceDueCalls(house.ports)).rejects.toMatchObject({
      errors: [expect.objectContaining({ message: "the call broken could not be moved on" })],
    });
    await deliver(house);
    expect(rung(house)).toEqual(["Ada: Rowan: tray jammed", "Bo: Rowan: tray jammed"]);
  });

  it("tell nothing twice where two servers look at once", async () => {
    const house = await openHouse();
    await phoneOf(house, house.keeper, "Ada");
    const { key } = await house.addFeeder({ sensors });
    await house.report(key, jammed);
    await deliver(house);
    house.clock.pass(hours(1));
    await Promise.all([advanceDueCalls(house.ports), advanceDueCalls(house.ports), advanceDueCalls(house.ports)]);
    await deliver(house);
    expect(rung(house).filter((words) => words.endsWith("tray jammed"))).toHaveLength(2); // the ring and one reminder
  });
});
