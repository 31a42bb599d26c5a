import { describe, expect, it } from "vitest";
import type { DayView, FeederView } from "../../server/contract/api.ts";
import { days, hours, minutes, type Span } from "../../server/domain/instant.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** What is shown where nothing was entered, and where reports come late. */

const hourMs = 3_600_000;
const enterRefill = (server: TestServer, feeder: string, what: object) =>
  server.app.inject({
    method: "POST",
    url: `/api/v1/feeders/${feeder}/refills`,
    headers: server.keeper,
    payload: { id: `refill-${server.clock.now()}`, what },
  });

describe("a feeder of which only the name was entered", () => {
  it("is shown with nothing that its keeper didn't enter", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan" });
    for (const field of ["food", "foodKind", "portionGrams", "hopperCapacityGrams", "battery"]) {
      expect(feeder.settings, field).not.toHaveProperty(field);
    }
    expect(feeder.settings.sensors).toEqual({
      button: false,
      detector: false,
      chute: false,
      perch: false,
      scale: false,
    });
    expect(feeder.hopper.portionText).toBe("Portion weight not entered. 1.5 g is assumed.");
    expect(JSON.stringify(feeder)).not.toMatch(/\(entered|counted as|peanut/);
    // And it works: its reports are stored, and a sensor that sends readings is shown.
    const event = { seq: 1, uptimeMs: 1_000, kind: "portion", cause: "timer", motorMs: 900, chuteCount: 3 };
    expect((await server.report(key, { boot: "b-1", sentUptimeMs: 5_000, events: [event] })).status).toBe(200);
    expect((await server.runPeriodicCheck(feeder.id)).settings.sensors).toMatchObject({ chute: true, button: false });
  });

  it("counts a full hopper and a day's food as unknown, not as the usual", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan" });
    const event = { seq: 1, uptimeMs: 1_000, kind: "portion", cause: "timer", motorMs: 900, chuteCount: 3 };
    await server.report(key, { boot: "b-1", sentUptimeMs: 5_000, events: [event] });
    await enterRefill(server, feeder.id, { kind: "filled" });
    const { hopper } = await server.runPeriodicCheck(feeder.id);
    expect(hopper.capacityAssumed).toBe(true);
    expect(hopper.level?.low).toBeLessThan(0.6 * hopper.capacityGrams);
    const url = `/api/v1/feeders/${feeder.id}/day`;
    const day = (await server.app.inject({ url, headers: server.keeper })).json() as DayView;
    expect(day.counts).toMatchObject({ portions: 1, gramsGiven: null });
    expect(day.text).toBe("1 portion.");
  });

  it("has the same text about low food in the alarm and beside the hopper, at every check", async () => {
    const server = await openTestServer();
    const settings = {
      name: "Rowan",
      portionGrams: 2,
      hopperCapacityGrams: 2_000,
      reportEverySeconds: 3_600,
      warnAheadDays: 2,
    };
    const { feeder, key } = await server.addFeeder(settings);
    await enterRefill(server, feeder.id, { kind: "added", grams: 460 });
    let checks = 0;
    await fedDays(server, key, 10, "b-1", server.clock.now(), async () => {
      const { alarms, hopper } = await server.runPeriodicCheck(feeder.id);
      const low = alarms.find(({ fault, state }) => fault === "foodLow" && state === "unacknowledged");
      if (low === undefined) return;
      if (!low.reason.startsWith("No longer")) expect(low.reason).toContain(hopper.text);
      checks += 1;
    });
    expect(checks, "the history must reach low food").toBeGreaterThan(10);
  });

  it("asks for what its forecast needs, until it was entered or a scale has measured it", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan" });
    await enterRefill(server, feeder.id, { kind: "added", grams: 900 });
    const lived = await fedDays(server, key, 5);
    const shown = await server.runPeriodicCheck(feeder.id);
    expect(shown.hopper.text).toMatch(
      /^(enough until|may be empty by|empty by) .* \(assuming that a portion weighs 1.5 g and a full hopper holds 1 kg\)$/,
    );
    expect(shown.hopper.text).not.toMatch(/very likely/);
    expect(shown.questions.map(({ text }) => text)).toEqual([
      "Enter the weight of a portion and the hopper's capacity. Until then the forecast uses typical values.",
    ]);
    const patch = { portionGrams: 1.5, hopperCapacityGrams: 1_000 };
    const url = `/api/v1/feeders/${feeder.id}`;
    const changed = await server.app.inject({ method: "PATCH", url, headers: server.keeper, payload: patch });
    expect((changed.json() as FeederView).questions).toEqual([]);
    expect((changed.json() as FeederView).hopper.text).not.toMatch(/assuming/);
    expect((changed.json() as FeederView).hopper.portionText).toBe("A portion is counted as 1.5 g (entered).");
    expect(lived).toBeGreaterThan(0);
  });

  it("asks how much is in it while nothing has measured that", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan", portionGrams: 2, hopperCapacityGrams: 900 });
    expect(feeder.questions).toEqual([]); // it isn't connected yet, which is more important
    await server.report(key, { boot: "b-1", sentUptimeMs: 5_000, events: [] });
    const [question, ...others] = (await server.runPeriodicCheck(feeder.id)).questions;
    expect(question).toEqual({
      text: "Enter how much food is in the hopper, or enter a refill.",
      link: `/feeders/${feeder.id}/refill`,
    });
    expect(others).toEqual([]);
  });
});

/** So many days from now on of 20 portions, reported hourly. @returns portions */
async function fedDays(
  server: TestServer,
  key: string,
  count: number,
  boot = "b-1",
  begun = server.clock.now(),
  check?: () => Promise<void>,
): Promise<number> {
  let seq = 0;
  for (let hour = 0; hour < 24 * count; hour++) {
    server.clock.advance(hours(1));
    const uptime = server.clock.now() - begun;
    const lit = new Date(server.clock.now()).getUTCHours() >= 8 && new Date(server.clock.now()).getUTCHours() < 14;
    const events = Array.from({ length: lit ? 4 : 0 }, (_, n) => ({
      ...{
        seq: ++seq,
        uptimeMs: uptime - (n + 1) * 60_000,
        kind: "portion",
        cause: "press",
        motorMs: 900,
        chuteCount: 3,
      },
    }));
    await server.report(key, {
      boot,
      sentUptimeMs: uptime,
      events: events.reverse().map((event, n) => ({ ...event, seq: seq - events.length + n + 1 })),
    });
    await check?.();
  }
  return seq;
}

describe("a backlog that arrives after newer reports", () => {
  it("leaves text and numbers of the forecast in agreement with the food that is left", async () => {
    const server = await openTestServer();
    const settings = { name: "Rowan", portionGrams: 2, hopperCapacityGrams: 2_000, reportEverySeconds: 3_600 };
    const { feeder, key } = await server.addFeeder(settings);
    await enterRefill(server, feeder.id, { kind: "added", grams: 1_600 });
    const begun = server.clock.now();
    const portions = await fedDays(server, key, 6);
    const perDay = (portions / 6) * 2; // grams
    // No connection for ten days. The feeder restarts, reports, and only then sends the events of its earlier start.
    server.clock.advance(days(10));
    for (let report = 0; report < 30; report++) {
      server.clock.advance(minutes(60));
      await server.report(key, { boot: "b-2", sentUptimeMs: (report + 1) * hourMs, events: [] });
    }
    const events = Array.from({ length: 10 * 24 }, (_, n) => ({
      ...{ seq: portions + n + 1, uptimeMs: 6 * 24 * hourMs + (n + 1) * hourMs, kind: "portion" },
      ...{ cause: "press", motorMs: 900, chuteCount: 3 },
    }));
    expect((await server.report(key, { boot: "b-1", sentUptimeMs: null, events })).status).toBe(200);
    server.clock.advance(minutes(5));
    await server.report(key, { boot: "b-2", sentUptimeMs: 31 * hourMs, events: [] });

    const { hopper } = await server.runPeriodicCheck(feeder.id);
    const left = (hopper.level?.high ?? 0) / perDay; // days, by what these birds ate
    const until = (Date.parse(hopper.emptyForecast?.p10 ?? "") - server.clock.now()) / days(1);
    expect(begun).toBeLessThan(server.clock.now());
    expect(left, "the story must leave some food").toBeGreaterThan(10);
    expect(until, `enough for ${until.toFixed(0)} days beside ${left.toFixed(0)} days of food`).toBeLessThan(
      3 * left + 1,
    );
    const likely = (Date.parse(hopper.emptyForecast?.p50 ?? "") - server.clock.now()) / days(1);
    expect(likely).toBeLessThan(3 * left + 1);
    expect(likely as Span).toBeGreaterThan(left / 3);
  });
});
