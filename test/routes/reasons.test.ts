import { describe, expect, it } from "vitest";
import { minutes } from "../../server/domain/instant.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** Larch with a lithium battery, reporting each minute; the tests choose its current and battery readings. */
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
  const frostAlarm = async () =>
    (await server.runPeriodicCheck(feeder.id)).alarms.find(({ fault }) => fault === "chargingInFrost");
  return { server, feeder: feeder.id, pass, frostAlarm };
}
const inFrost = { chargeMilliamps: 480, batteryCelsius: -5 };
const stopped = { chargeMilliamps: 0, batteryCelsius: -5 };
const pushes = (server: TestServer) => server.outboxSignals();

describe("the reason of an active alarm", () => {
  it("follows what is measured, and notifies nobody of that", async () => {
    const { server, pass, frostAlarm } = await larch();
    await pass(8, inFrost);
    expect((await frostAlarm())?.reason).toBe("Current flows into the lithium battery while the battery is at −5 °C.");
    const pushesBefore = pushes(server);
    await pass(3, { chargeMilliamps: 300, batteryCelsius: -9 });
    expect((await frostAlarm())?.reason).toBe("Current flows into the lithium battery while the battery is at −9 °C.");
    expect((await frostAlarm())?.evidence[0]).toMatchObject({ value: "300 mA" });
    expect(pushes(server)).toBe(pushesBefore);
  });

  it("states until when a fault was there that is gone, while its alarm is active and when it waits for an acknowledgement", async () => {
    const { pass, frostAlarm } = await larch();
    await pass(8, inFrost);
    await pass(19, stopped);
    // 10:09 by the yard's clock was the first report without a current.
    const gone = /^Ended today 10:09\. Before: Current flows into/;
    expect(await frostAlarm()).toMatchObject({ state: "unacknowledged", reason: expect.stringMatching(gone) });
    await pass(20, stopped);
    expect(await frostAlarm()).toMatchObject({ state: "latchedUnacknowledged", reason: expect.stringMatching(gone) });
    // And it is shown as present again when it is.
    await pass(8, inFrost);
    expect((await frostAlarm())?.reason).toMatch(/^Current flows/);
  });

  it("is shown as last seen while the feeder is silent, and as past where only its sensor is silent", async () => {
    const { server, pass, frostAlarm } = await larch();
    await pass(8, inFrost);
    await pass(20, { batteryCelsius: -5 });
    expect((await frostAlarm())?.reason).toBe(
      "Current flowed into the lithium battery while the battery was at −5 °C, 20 minutes ago. The current has not been reported since.",
    );
    server.clock.advance(minutes(90));
    expect((await frostAlarm())?.reason).toMatch(/^At the last report, today 10:28: Current flowed/);
  });
});
