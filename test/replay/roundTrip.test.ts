import { describe, expect, it } from "vitest";
import { minutes, seconds } from "../../server/domain/instant.ts";
import type { FeederRow } from "../../server/ports.ts";
import { simulateUnreliableDay } from "../networkFaults/unreliableDay.ts";
import { openTestServer } from "../support/testServer.ts";
import { replayLog, storedAlarms } from "./replayLog.ts";
import { ServerDay } from "./serverDay.ts";

describe("a feeder's downloaded log", { timeout: 120_000 }, () => {
  it("replays to the same alarms and the same state as in the server, after a day with faults and actions of a keeper", async () => {
    const day = await ServerDay.begin();
    await day.live(60);
    await day.keeper("refills", { what: { kind: "added", grams: 300 } });
    await day.live(20);
    day.fail("trayJammed");
    await day.live(15);
    await day.keeper("alarms/trayJammed/acknowledge");
    await day.live(5);
    day.fail("none");
    await day.live(60);
    await day.keeper("orders", { kind: "pause", until: day.iso(30) });
    await day.live(10);
    await day.keeper("orders", { kind: "resume" });
    await day.live(20);
    await day.keeper("refills", { what: { kind: "level", grams: 700 } });
    await day.live(5);
    await day.keeper("alarms/feederSilent/shelve", { until: day.iso(12) });
    day.silent = true;
    await day.live(25);
    day.silent = false;
    await day.live(90);
    day.fail("wireOff");
    await day.live(20);
    day.fail("none");
    await day.live(30);
    await day.keeper("alarms/motorNotTurning/acknowledge");
    await day.keeper("refills", { what: { kind: "filled" } });
    await day.live(300);

    const changes = storedAlarms(await day.changes());
    for (const reached of ["trayJammed acknowledged", "feederSilent shelved", "feederSilent unacknowledged"]) {
      expect(changes.join("\n")).toContain(reached); // the day must reach the cases that it checks
    }
    expect(changes.join("\n")).toContain("motorNotTurning normal");

    const log = await day.log();
    const { replay, alarms } = replayLog(log);
    expect(alarms).toEqual(changes);
    const state = await day.state();
    expect(replay.stateOf(day.feeder)?.hopper).toEqual(state.hopper);
    expect(replay.stateOf(day.feeder)).toEqual(state);
  });

  it("replays to the same state where alarms were acknowledged late, reset or out of service, and the feeder was put away", async () => {
    const day = await ServerDay.begin();
    await day.live(60);
    day.fail("trayJammed");
    await day.live(20);
    const jam = (await day.server.runPeriodicCheck(day.feeder)).alarms.find(({ fault }) => fault === "trayJammed");
    await day.keeper("alarms/trayJammed/acknowledge", { raisedAt: day.iso(-900) }); // of an older raise
    await day.keeper("alarms/trayJammed/acknowledge", { raisedAt: jam?.raisedAt });
    await day.keeper("alarms/scaleSilent/out-of-service", { reason: "The load cell is being glued." });
    await day.keeper("alarms/perchSilent/out-of-service", { reason: "The perch is off." });
    await day.live(5);
    await day.keeper("alarms/perchSilent/return-to-service");
    await day.keeper("alarms/trayJammed/reset"); // there is nothing to reset
    await day.settings({ placement: "putAway" });
    await day.live(10);
    await day.settings({ placement: "inGarden" });
    await day.live(10);
    const state = await day.state();
    expect(state.alarms.trayJammed).toMatchObject({ state: "acknowledged", acknowledgedBy: "Keeper" });
    expect(state.alarms.scaleSilent).toMatchObject({ state: "outOfService", outBy: "Keeper" });
    const { replay, alarms } = replayLog(await day.log());
    expect(alarms).toEqual(storedAlarms(await day.changes()));
    expect(replay.stateOf(day.feeder)).toEqual(state);
  });

  it("leaves out a sensor that the keeper has removed, although it still reports", async () => {
    const day = await ServerDay.begin();
    const { sensors } = (await day.server.runPeriodicCheck(day.feeder)).settings;
    await day.server.app.inject({
      method: "PATCH",
      url: `/api/v1/feeders/${day.feeder}`,
      headers: day.server.keeper,
      payload: { sensors: { ...sensors, scale: false } },
    });
    await day.live(30);
    await day.report();
    const { replay } = replayLog(await day.log());
    expect((await day.state()).settings.sensors.scale).toBe(false);
    expect(replay.stateOf(day.feeder)).toEqual(await day.state());
  });

  it("has each event once, though the feeder sent it twice, and no refused event", async () => {
    const day = await ServerDay.begin();
    const press = (seq: number) => ({ seq, uptimeMs: seq * 1_000, kind: "press" });
    const report = { boot: "b-1", sentUptimeMs: 60_000, readings: { airCelsius: -127 }, events: [press(1), press(2)] };
    expect(await day.send(report)).toBe(200);
    day.server.clock.advance(minutes(1));
    expect(await day.send({ ...report, events: [press(1), press(2), press(3), { seq: 4, kind: "press" }] })).toBe(200);
    day.server.clock.advance(minutes(1));
    const spooled = { boot: "b-0", sentUptimeMs: null, events: [press(7)] };
    expect(await day.send(spooled)).toBe(200);
    const log = await day.log();
    const lines = log
      .trimEnd()
      .split("\n")
      .map((line) => JSON.parse(line));
    expect(lines.map(({ report }) => report?.events?.map(({ seq }: { seq: number }) => seq))).toEqual([
      undefined, // its settings
      undefined, // that it has all periodic checks
      [1, 2],
      [3],
      [7],
    ]);
    expect(lines[0]).toMatchObject({ feeder: day.feeder, settings: { name: "Rowan", zone: "Europe/Stockholm" } });
    expect(replayLog(log).replay.stateOf(day.feeder)).toEqual(await day.state());
  });

  it("is read page by page, and complete: more reports and more events than a page has", async () => {
    const day = await ServerDay.begin();
    let seq = 0;
    for (let report = 1; report <= 620; report += 1) {
      const events = Array.from({ length: 3 }, () => ({ seq: ++seq, uptimeMs: report * 1_000, kind: "visit" }));
      expect(await day.send({ boot: `b-${report % 2}`, sentUptimeMs: report * 1_000, events })).toBe(200);
      day.server.clock.advance(minutes(1) as never);
    }
    const lines = (await day.log())
      .trimEnd()
      .split("\n")
      .map((line) => JSON.parse(line));
    expect(lines).toHaveLength(622);
    expect(lines.flatMap(({ report }) => report?.events ?? []).map((event) => event.seq)).toEqual(
      Array.from({ length: 1_860 }, (_, index) => index + 1),
    );
    expect(lines.slice(2).map(({ receivedAt }) => receivedAt)).toEqual(
      lines
        .slice(2)
        .map(({ receivedAt }) => receivedAt)
        .sort(),
    );
  });

  it("has each event with the report that brought it first, though a higher number arrived before", async () => {
    const day = await ServerDay.begin();
    const visits = (...seqs: number[]) => seqs.map((seq) => ({ seq, uptimeMs: 1_000, kind: "visit" }));
    for (const [index, events] of [visits(1, 3), visits(2), visits(4)].entries()) {
      expect(await day.send({ boot: "b-1", sentUptimeMs: 60_000 * (index + 1), events })).toBe(200);
      day.server.clock.advance(minutes(1));
    }
    const log = await day.log();
    const lines = log
      .trimEnd()
      .split("\n")
      .slice(2)
      .map((line) => JSON.parse(line));
    expect(lines.map(({ report }) => report.events.map((event: { seq: number }) => event.seq))).toEqual([
      [1, 3],
      [2],
      [4],
    ]);
    expect(replayLog(log).replay.stateOf(day.feeder)).toEqual(await day.state());
  });

  it("replays to the same state after a day on a bad network, with reports lost, repeated and late, and boots lost", async () => {
    const server = await openTestServer();
    await simulateUnreliableDay(server, 3);
    const [row] = await server.store.yards.feeders();
    const { id, state } = row as FeederRow;
    const log = (await server.app.inject({ url: `/api/v1/feeders/${id}/log`, headers: server.keeper })).body;
    expect(replayLog(log).replay.stateOf(id)).toEqual(state);
  });

  it("has a report and an action in the order in which they were taken, also where the clock went back", async () => {
    const day = await ServerDay.begin();
    await day.keeper("refills", { what: { kind: "added", grams: 300 } });
    const portion = { seq: 1, uptimeMs: 59_000, kind: "portion", cause: "timer", motorMs: 900, chuteCount: 3 };
    await day.send({ boot: "b-1", sentUptimeMs: 60_000, readings: { hopperGrams: 290 }, events: [portion] });
    day.server.clock.advance(seconds(-3)); // so that the keeper's action has the moment of the report
    await day.keeper("refills", { what: { kind: "level", grams: 100 } });
    day.server.clock.advance(seconds(-20));
    await day.send({ boot: "b-1", sentUptimeMs: 61_000, readings: { hopperGrams: 280 } });
    expect(replayLog(await day.log()).replay.stateOf(day.feeder)).toEqual(await day.state());
  });

  it("is a file for keepers only", async () => {
    const { server, feeder } = await ServerDay.begin();
    const url = `/api/v1/feeders/${feeder}/log`;
    expect((await server.app.inject({ url })).statusCode).toBe(401);
    expect((await server.app.inject({ url: "/api/v1/feeders/none/log", headers: server.keeper })).statusCode).toBe(404);
    const { headers } = await server.app.inject({ url, headers: server.keeper });
    expect(headers).toMatchObject({
      "content-type": "application/x-ndjson",
      "content-disposition": `attachment; filename="${feeder}.ndjson"`,
    });
  });
});
