import { describe, expect, it } from "vitest";
import type { HomeView, NotesView, TrainingView } from "../../server/contract/api.ts";
import { reportExample } from "../../server/contract/reportExample.ts";
import { days, instantOf, minutes } from "../../server/domain/instant.ts";
import { readyStages } from "../../server/domain/training/readyStages.ts";
import { newLearningBirds } from "../../server/practice/model/learningBirds.ts";
import { ProgrammeFeeder } from "../../server/practice/programmeFeeder.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

async function post(server: TestServer, action: "start" | "stop" | "remove"): Promise<HomeView["practice"]> {
  const url = "/api/v1/practice/programme";
  const answer = await server.app.inject({ method: "POST", url, headers: server.keeper, payload: { do: action } });
  expect(answer.statusCode).toBe(200);
  return (answer.json() as HomeView).practice;
}

const get = async <T>(server: TestServer, url: string): Promise<T> =>
  (await server.app.inject({ url: `/api/v1${url}`, headers: server.keeper })).json() as T;
const yardOf = (server: TestServer) => server.programme.state()?.yard ?? "";
const training = (server: TestServer) => get<TrainingView>(server, `/yards/${yardOf(server)}/training`);

async function live(server: TestServer, steps: number): Promise<void> {
  for (let step = 0; step < steps; step += 1) await server.programme.step();
}

describe("the practice yard that lives a whole programme", () => {
  it("goes through every stage by the record's own advice, and stands at the last one", async () => {
    const server = await openTestServer();
    const { feeder: real } = await server.addFeeder({ name: "Rowan" });
    const before = JSON.stringify(await server.ports.store.yards.feeder(real.id));
    await post(server, "start");
    const advised = new Set<string>();
    while (server.programme.state()?.phase === "living") {
      await server.programme.step();
      for (const kind of ["Wait", "Stay", "Move on", "Not enough"])
        if (server.programme.state()?.text.includes(`Advice: ${kind}`)) advised.add(kind);
    }
    expect([...advised].sort()).toEqual(["Move on", "Not enough", "Stay", "Wait"]);
    expect(server.programme.state()).toMatchObject({ phase: "ended", lived: 100 });

    const view = await training(server);
    expect(view.periods.map(({ stage }) => stage)).toEqual([
      "comeForFood",
      "pressForFood",
      "nudgeCap",
      "dropCap",
      "fetchCap",
    ]);
    expect(view.changes.every(({ by, reason }) => by === "Practice keeper" && reason.length > 20)).toBe(true);
    expect(view.ledger.length).toBeGreaterThan(10);
    expect(new Set(view.ledger.map(({ outcome }) => outcome))).toEqual(new Set(["empty"]));
    const { notes } = await get<NotesView>(server, `/yards/${yardOf(server)}/notes`);
    expect(notes.map(({ text }) => text).join(" ")).toMatch(/tray was frozen.*hopper ran empty/s);
    expect(notes.filter(({ text }) => text.startsWith("Weather")).length).toBe(8);

    // Nobody is notified of the past, and no real feeder is touched.
    expect(server.push.sent).toEqual([]);
    const [lived] = (await server.ports.store.yards.feeders()).filter(({ practice }) => practice);
    expect(lived?.state.alarms).toEqual({});
    expect(JSON.stringify(await server.ports.store.yards.feeder(real.id))).toBe(before);

    // It goes on as a feeder that works.
    for (let half = 0; half < 36; half += 1) {
      server.clock.advance(minutes(30));
      await server.programme.step();
      expect((await server.runPeriodicCheck(lived?.id ?? "")).alarms, `${half} half hours later`).toEqual([]);
    }
    expect((await training(server)).days.at(-2)?.acts).toBeGreaterThan(0);
  }, 60_000);

  it("stops where the keeper stops it, and begins anew", async () => {
    const server = await openTestServer();
    expect((await post(server, "start")).programme).toMatchObject({ phase: "living", lived: 0 });
    const first = yardOf(server);
    await live(server, 9);
    expect(server.programme.state()?.text).toMatch(/^Week 2 of 8: /);
    expect((await post(server, "stop")).programme?.text).toMatch(/^Stopped in week 2 of 8/);
    const { days: seen } = await training(server);
    await live(server, 3);
    expect((await training(server)).days).toEqual(seen);
    // The record is read at the moment that was lived last, not weeks later.
    expect(seen.length).toBeGreaterThan(8);
    expect(seen.length).toBeLessThan(12);

    await post(server, "start");
    expect(yardOf(server)).not.toBe(first);
    expect((await server.ports.store.yards.yards()).filter(({ practice }) => practice).length).toBe(1);
    expect((await post(server, "remove")).programme).toBeNull();
    expect((await server.ports.store.yards.yards()).filter(({ practice }) => practice)).toEqual([]);
    await live(server, 1);
  }, 30_000);

  it("says after a restart that it ended, and leaves a record that can be read", async () => {
    const server = await openTestServer();
    await post(server, "start");
    await live(server, 10);
    const yard = yardOf(server);
    const before = (await training(server)).days;
    const again = await server.restart();
    await again.programme.resume();
    await again.programme.step();
    expect(again.programme.state()).toMatchObject({ yard, phase: "interrupted" });
    const seen = (await training(again)).days;
    expect(before.length).toBeGreaterThan(5);
    expect(seen.length).toBeGreaterThan(0);
    expect((await post(again, "start")).programme).toMatchObject({ phase: "living", lived: 0 });
  }, 30_000);

  it("leaves Rowan and Larch of the alarm practice alone, and they leave it alone", async () => {
    const server = await openTestServer();
    await server.app.inject({ method: "POST", url: "/api/v1/practice", headers: server.keeper });
    await post(server, "start");
    await live(server, 2);
    const names = async () => (await server.ports.store.yards.feeders()).map(({ state }) => state.settings.name).sort();
    expect(await names()).toEqual(["Aspen", "Larch", "Rowan"]);
    await server.app.inject({ method: "DELETE", url: "/api/v1/practice", headers: server.keeper });
    expect(await names()).toEqual(["Aspen"]);
    await server.app.inject({ method: "POST", url: "/api/v1/practice", headers: server.keeper });
    await post(server, "remove");
    expect(await names()).toEqual(["Larch", "Rowan"]);
  }, 30_000);

  it("does nothing where there is no such yard", async () => {
    const server = await openTestServer();
    await server.programme.resume();
    await live(server, 1);
    expect((await get<HomeView>(server, "/home")).practice.programme).toBeNull();
    expect(await server.ports.store.yards.feeders()).toEqual([]);
  });

  it("begins after a restart where it had not lived a day", async () => {
    const server = await openTestServer();
    await post(server, "start");
    const again = await server.restart();
    await again.programme.resume();
    await live(again, 2);
    expect(again.programme.state()?.text).toMatch(/^Week 1 of 8: Come for free food/);
  });

  it("delays a live report by less than half a second while it lives", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder({ name: "Rowan" });
    await post(server, "start");
    await live(server, 20);
    let [isDone, worst, reports] = [false, 0, 0];
    const living = live(server, 8).then(() => {
      isDone = true;
    });
    while (!isDone) {
      const began = performance.now();
      const { status } = await server.report(key, {
        ...reportExample,
        boot: "live",
        events: [],
        sentUptimeMs: ++reports,
      });
      expect(status).toBe(200);
      worst = Math.max(worst, performance.now() - began);
    }
    await living;
    expect(reports).toBeGreaterThan(8);
    expect(worst).toBeLessThan(500);
  }, 30_000);
});

describe("the feeder of a practice programme", () => {
  const [stage] = readyStages({ comeForFood: "1", pressForFood: "2", nudgeCap: "3", dropCap: "4", fetchCap: "5" });
  if (stage === undefined) throw new Error("expected a stage");
  const dayOf = (seed: number, mishap: "none" | "hopperEmpty" = "none") =>
    new ProgrammeFeeder({
      ...{ seed, boot: "b", bootedAt: instantOf("2026-01-01T00:00:00Z"), birds: newLearningBirds },
    }).liveDay({ number: 3, date: "2026-01-04", mishap, afterEmpty: false }, stage);

  it("lives the same day again with the same seed, and another with another", () => {
    expect(dayOf(1)).toEqual(dayOf(1));
    expect(dayOf(2)).not.toEqual(dayOf(1));
  });

  it("dates each event within the day, in order, by its uptime", () => {
    const times = dayOf(1).events.map(({ uptimeMs }) => uptimeMs);
    expect(times).toEqual([...times].sort((a, b) => a - b));
    expect(Math.min(...times)).toBeGreaterThan(days(3));
    expect(Math.max(...times)).toBeLessThan(days(4));
  });
});
