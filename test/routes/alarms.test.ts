import { describe, expect, it } from "vitest";
import { hours, minutes } from "../../server/domain/instant.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** A server with one feeder that no longer reports. */
async function silentServer() {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder();
  const sendReport = (uptimeMs: number) => server.report(key, { boot: "b-1", sentUptimeMs: uptimeMs, events: [] });
  for (let minute = 0; minute < 62; minute += 1) {
    await sendReport(600_000 + minute * 60_000);
    server.clock.advance(minutes(1));
  }
  server.clock.advance(hours(3));
  await runPeriodicChecks(server.ports);
  return { server, feeder: feeder.id, reportAgain: () => sendReport(600_000 + hours(5)) };
}
const answer = (server: TestServer, feeder: string, path: string, payload?: object) =>
  server.app.inject({
    method: "POST",
    url: `/api/v1/feeders/${feeder}/alarms/${path}`,
    headers: server.keeper,
    ...(payload === undefined ? {} : { payload }),
  });
const silence = async (server: TestServer, feeder: string) =>
  (await server.runPeriodicCheck(feeder)).alarms.find(({ fault }) => fault === "feederSilent");

describe("the routes of an alarm", () => {
  it("acknowledge the present raise, where none is named", async () => {
    const { server, feeder } = await silentServer();
    expect((await answer(server, feeder, "feederSilent/acknowledge")).statusCode).toBe(200);
    expect(await silence(server, feeder)).toMatchObject({ state: "acknowledged" });
  });

  it("acknowledge only the raise that is named", async () => {
    const { server, feeder } = await silentServer();
    const raisedAt = (await silence(server, feeder))?.raisedAt as string;
    const older = new Date(Date.parse(raisedAt) - 60_000).toISOString();
    expect((await answer(server, feeder, "feederSilent/acknowledge", { raisedAt: older })).statusCode).toBe(200);
    expect(await silence(server, feeder)).toMatchObject({ state: "unacknowledged" });
    await answer(server, feeder, "feederSilent/acknowledge", { raisedAt });
    expect(await silence(server, feeder)).toMatchObject({ state: "acknowledged" });
    const wrong = await answer(server, feeder, "feederSilent/acknowledge", { raisedAt: "yesterday" });
    expect(wrong.statusCode).toBe(400);
    expect(wrong.json().errors[0].field).toContain("raisedAt");
  });

  it("take it out of service with a reason, and back by hand", async () => {
    const { server, feeder, reportAgain } = await silentServer();
    expect((await answer(server, feeder, "feederSilent/out-of-service", { reason: " " })).statusCode).toBe(400);
    await answer(server, feeder, "feederSilent/out-of-service", { reason: "Its power is off for a week." });
    expect(await silence(server, feeder)).toMatchObject({
      state: "outOfService",
      outOfService: { by: "Keeper", reason: "Its power is off for a week." },
    });
    await reportAgain();
    expect(await silence(server, feeder)).toMatchObject({ state: "outOfService" });
    await answer(server, feeder, "feederSilent/return-to-service");
    expect(await silence(server, feeder)).toBeUndefined();
  });

  it("reset nothing that isn't latched", async () => {
    const { server, feeder } = await silentServer();
    expect((await answer(server, feeder, "feederSilent/reset")).statusCode).toBe(200);
    expect(await silence(server, feeder)).toMatchObject({ state: "unacknowledged" });
  });

  it("refuse unknown faults and feeders", async () => {
    const { server, feeder } = await silentServer();
    for (const path of ["reset", "return-to-service", "acknowledge"]) {
      expect((await answer(server, feeder, `noSuchFault/${path}`)).statusCode, path).toBe(400);
      expect((await answer(server, "none", `feederSilent/${path}`)).statusCode, path).toBe(404);
    }
  });
});

describe("a feeder that is put away", () => {
  it("is listed as that and raises no alarm, until it is in the garden again", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder();
    // For an hour: until then its silence is only a note.
    for (let minute = 0; minute < 62; minute += 1) {
      await server.report(key, { boot: "b-1", sentUptimeMs: 5_000 + minute * 60_000, events: [] });
      server.clock.advance(minutes(1));
    }
    const put = (placement: string) =>
      server.app.inject({
        method: "PATCH",
        url: `/api/v1/feeders/${feeder.id}`,
        headers: server.keeper,
        payload: { placement },
      });
    expect((await put("inTheAttic")).statusCode).toBe(400);
    expect((await put("putAway")).json().settings.placement).toBe("putAway");
    server.clock.advance(hours(9));
    await runPeriodicChecks(server.ports);
    expect(await silence(server, feeder.id)).toMatchObject({ state: "suppressedByDesign", explainedBy: null });
    expect(server.outboxSignals()).toBe(0);
    await put("inGarden");
    expect(await silence(server, feeder.id)).toMatchObject({ state: "unacknowledged" });
    expect(server.outboxSignals()).toBe(1);
  });
});
