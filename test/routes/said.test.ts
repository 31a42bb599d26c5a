import { describe, expect, it } from "vitest";
import type { DayView, FeederView } from "../../server/contract/api.ts";
import { days, hours, minutes, type Span } from "../../server/domain/instant.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** What is told over the interface of what nobody has said, and of what was told late. */

const hourMs = 3_600_000;
const tell = (server: TestServer, feeder: string, what: object) =>
  server.app.inject({
    method: "POST",
    url: `/api/v1/feeders/${feeder}/refills`,
    headers: server.keeper,
    payload: { id: `refill-${server.clock.now()}`, what },
  });

describe("a feeder of which only the name was said", () => {
  it("is shown with nothing that its keeper didn't say", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan" });
    for (const said of ["food", "foodKind", "portionGrams", "hopperCapacityGrams", "battery"]) {
      expect(feeder.settings, said).not.toHaveProperty(said);
    }
    expect(feeder.settings.sensors).toEqual({
      button: false,
      detector: false,
      chute: false,
      perch: false,
      scale: false,
    });
    expect(feeder.hopper.portionText).toBe("Portion weight not entered. 1.5 g is assumed.");
    expect(JSON.stringify(feeder)).not.toMatch(/entered[):]|peanut/);
    // And it works: what it reports is taken, and a sensor that speaks is there.
    const event = { seq: 1, uptimeMs: 1_000, kind: "portion", cause: "timer", motorMs: 900, chuteCount: 3 };
    expect((await server.report(key, { boot: "b-1", sentUptimeMs: 5_000, events: [event] })).status).toBe(200);
    expect((await server.runPeriodicCheck(feeder.id)).settings.sensors).toMatchObject({ chute: true, button: false });
  });

  it("counts a full hopper and a day's food as unknown, not as the usual", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan" });
    const event = { seq: 1, uptimeMs: 1_000, kind: "portion", cause: "timer", motorMs: 900, chuteCount: 3 };
    await server.report(key, { boot: "b-1", sentUptimeMs: 5_000, events: [event] });
    await tell(server, feeder.id, { kind: "filled" });
    const { hopper } = await server.runPeriodicCheck(feeder.id);
    expect(hopper.capacityAssumed).toBe(true);
    expect(hopper.level?.low).toBeLessThan(0.6 * hopper.capacityGrams);
    const url = `/api/v1/feeders/${feeder.id}/day`;
    const day = (await server.app.inject({ url, headers: server.keeper })).json() as DayView;
    expect(day.counts).toMatchObject({ portions: 1, gramsGiven: null });
    expect(day.text).toBe("1 portion.");
  });

  it("tells of low food in the alarm just what it tells beside the hopper, at every look", async () => {
    const server = await openTestServer();
    const said = {
      name: "Rowan",
      portionGrams: 2,
      hopperCapacityGrams: 2_000,
      reportEverySeconds: 3_600,
      warnAheadDays: 2,
    };
    const { feeder, key } = await server.addFeeder(said);
    await tell(server, feeder.id, { kind: "added", grams: 460 });
    let looked = 0;
    await fedDays(server, key, 10, "b-1", server.clock.now(), async () => {
      const { alarms, hopper } = await server.runPeriodicCheck(feeder.id);
      const low = alarms.find(({ fault, state }) => fault === "foodLow" && state === "unacknowledged");
      if (low === undefined) return;
      if (!low.reason.startsWith("No longer")) expect(low.reason).toContain(hopper.text);
      looked += 1;
    });
    expect(looked, "the story must reach low food").toBeGreaterThan(10);
  });

  it("asks for what its forecast rests on, until it was said or a scale has measured it", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan" });
    await tell(server, feeder.id, { kind: "added", grams: 900 });
    const lived = await fedDays(server, key, 5);
    const shown = await server.runPeriodicCheck(feeder.id);
    expect(shown.hopper.text).toMatch(
      /^(enough until|may be empty by|empty by) .* \(assuming that a portion weighs 1.5 g and a full hopper holds 1 kg\)$/,
    );
    expect(shown.hopper.text).not.toMatch(/very likely/);
    expect(shown.questions.map(({ text: words }) => words)).toEqual([
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

  it("asks how much is in it while nothing has told that", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan", portionGrams: 2, hopperCapacityGrams: 900 });
    expect(feeder.questions).toEqual([]); // it isn't connected yet: that comes first
    await server.report(key, { boot: "b-1", sentUptimeMs: 5_000, events: [] });
    const [ask, ...others] = (await server.runPeriodicCheck(feeder.id)).questions;
    expect(ask).toEqual({
      text: "Enter how much food is in the hopper, or enter a refill.",
      link: `/feeders/${feeder.id}/refill`,
    });
    expect(others).toEqual([]);
  });
});

/** So many days from now on of 20 portions, told hourly. @returns portions */
async function fedDays(
  server: TestServer,
  key: string,
  count: number,
  boot = "b-1",
  begun = server.clock.now(),
  look?: () => Promise<void>,
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
    await look?.();
  }
  return seq;
}

describe("a backlog that arrives after newer reports", () => {
  it("leaves words and numbers of the forecast in agreement with the food that is left", async () => {
    const server = await openTestServer();
    const said = { name: "Rowan", portionGrams: 2, hopperCapacityGrams: 2_000, reportEverySeconds: 3_600 };
    const { feeder, key } = await server.addFeeder(said);
    await tell(server, feeder.id, { kind: "added", grams: 1_600 });
    const begun = server.clock.now();
    const portions = await fedDays(server, key, 6);
    const perDay = (portions / 6) * 2; // grams
    // The line is down for ten days. The feeder starts anew, reports, and only then sends what its earlier start left behind.
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
