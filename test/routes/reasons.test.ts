import { describe, expect, it } from "vitest";
import { minutes } from "../../server/domain/instant.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** Larch with a lithium battery, reporting each minute; what it says of current and battery is the test's. */
async function larch() {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder({ name: "Larch", battery: "lithiumIon" });
  let uptime = 0;
  const pass = async (count: number, readings: object) => {
    for (let minute = 0; minute < count; minute++) {
      server.clock.advance(minutes(1));
      uptime += 60_000;
      const answer = await server.report(key, { boot: "b-1", sentUptimeMs: uptime, readings, events: [] });
      expect(answer.status).toBe(200);
    }
  };
  const charging = async () =>
    (await server.runPeriodicCheck(feeder.id)).alarms.find(({ fault }) => fault === "chargingInFrost");
  return { server, feeder: feeder.id, pass, charging };
}
const inFrost = { chargeMilliamps: 480, batteryCelsius: -5 };
const stopped = { chargeMilliamps: 0, batteryCelsius: -5 };
const pushes = (server: TestServer) => server.outboxSignals();

describe("the reason of an alarm in force", () => {
  it("follows what is measured, and wakes nobody for that", async () => {
    const { server, pass, charging } = await larch();
    await pass(8, inFrost);
    expect((await charging())?.reason).toBe("Current flows into the lithium battery while the battery is at −5 °C.");
    const rung = pushes(server);
    await pass(3, { chargeMilliamps: 300, batteryCelsius: -9 });
    expect((await charging())?.reason).toBe("Current flows into the lithium battery while the battery is at −9 °C.");
    expect((await charging())?.evidence[0]).toMatchObject({ value: "300 mA" });
    expect(pushes(server)).toBe(rung);
  });

  it("says of a fault that is gone until when it was there, while its alarm stands and when it waits for a look", async () => {
    const { pass, charging } = await larch();
    await pass(8, inFrost);
    await pass(19, stopped);
    // 10:09 by the yard's clock was the first report without a current.
    const gone = /^Ended today 10:09\. Before: Current flows into/;
    expect(await charging()).toMatchObject({ state: "unacknowledged", reason: expect.stringMatching(gone) });
    await pass(20, stopped);
    expect(await charging()).toMatchObject({ state: "latchedUnacknowledged", reason: expect.stringMatching(gone) });
    // And it is told as present again when it is.
    await pass(8, inFrost);
    expect((await charging())?.reason).toMatch(/^Current flows/);
  });

  it("is told as last seen while the feeder is silent, and as past where only its sensor fell silent", async () => {
    const { server, pass, charging } = await larch();
    await pass(8, inFrost);
    await pass(20, { batteryCelsius: -5 });
    expect((await charging())?.reason).toBe(
      "Current flowed into the lithium battery while the battery was at −5 °C, 20 minutes ago. The current has not been reported since.",
    );
    server.clock.advance(minutes(90));
    expect((await charging())?.reason).toMatch(/^At the last report, today 10:28: Current flowed/);
  });
});
