import { describe, expect, it } from "vitest";
import { hours, minutes } from "../../server/domain/instant.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** A house with one feeder that has fallen silent. */
async function silentHouse() {
  const house = await openTestServer();
  const { feeder, key } = await house.addFeeder();
  const say = (uptimeMs: number) => house.report(key, { boot: "b-1", sentUptimeMs: uptimeMs, events: [] });
  for (let minute = 0; minute < 62; minute += 1) {
    await say(600_000 + minute * 60_000);
    house.clock.advance(minutes(1));
  }
  house.clock.advance(hours(3));
  await runPeriodicChecks(house.ports);
  return { house, feeder: feeder.id, speakAgain: () => say(600_000 + hours(5)) };
}
const answer = (house: TestServer, feeder: string, path: string, payload?: object) =>
  house.app.inject({
    method: "POST",
    url: `/api/v1/feeders/${feeder}/alarms/${path}`,
    headers: house.keeper,
    ...(payload === undefined ? {} : { payload }),
  });
const silence = async (house: TestServer, feeder: string) =>
  (await house.runPeriodicCheck(feeder)).alarms.find(({ fault }) => fault === "feederSilent");

describe("the door for an alarm", () => {
  it("acknowledges what stands, where nothing else is said", async () => {
    const { house, feeder } = await silentHouse();
    expect((await answer(house, feeder, "feederSilent/acknowledge")).statusCode).toBe(200);
    expect(await silence(house, feeder)).toMatchObject({ state: "acknowledged" });
  });

  it("acknowledges only the raise that is named", async () => {
    const { house, feeder } = await silentHouse();
    const raisedAt = (await silence(house, feeder))?.raisedAt as string;
    const older = new Date(Date.parse(raisedAt) - 60_000).toISOString();
    expect((await answer(house, feeder, "feederSilent/acknowledge", { raisedAt: older })).statusCode).toBe(200);
    expect(await silence(house, feeder)).toMatchObject({ state: "unacknowledged" });
    await answer(house, feeder, "feederSilent/acknowledge", { raisedAt });
    expect(await silence(house, feeder)).toMatchObject({ state: "acknowledged" });
    const wrong = await answer(house, feeder, "feederSilent/acknowledge", { raisedAt: "yesterday" });
    expect(wrong.statusCode).toBe(400);
    expect(wrong.json().errors[0].field).toContain("raisedAt");
  });

  it("takes it out of service with a reason, and back by hand", async () => {
    const { house, feeder, speakAgain } = await silentHouse();
    expect((await answer(house, feeder, "feederSilent/out-of-service", { reason: " " })).statusCode).toBe(400);
    await answer(house, feeder, "feederSilent/out-of-service", { reason: "Its power is off for a week." });
    expect(await silence(house, feeder)).toMatchObject({
      state: "outOfService",
      outOfService: { by: "Keeper", reason: "Its power is off for a week." },
    });
    await speakAgain();
    expect(await silence(house, feeder)).toMatchObject({ state: "outOfService" });
    await answer(house, feeder, "feederSilent/return-to-service");
    expect(await silence(house, feeder)).toBeUndefined();
  });

  it("resets nothing that isn't latched", async () => {
    const { house, feeder } = await silentHouse();
    expect((await answer(house, feeder, "feederSilent/reset")).statusCode).toBe(200);
    expect(await silence(house, feeder)).toMatchObject({ state: "unacknowledged" });
  });

  it("knows neither faults nor feeders that aren't", async () => {
    const { house, feeder } = await silentHouse();
    for (const path of ["reset", "return-to-service", "acknowledge"]) {
      expect((await answer(house, feeder, `noSuchFault/${path}`)).statusCode, path).toBe(400);
      expect((await answer(house, "none", `feederSilent/${path}`)).statusCode, path).toBe(404);
    }
  });
});

describe("a feeder that is put away", () => {
  it("is listed as that and rings for nothing, until it is in the garden again", async () => {
    const house = await openTestServer();
    const { feeder, key } = await house.addFeeder();
    // For an hour: until then its silence is only a note.
    for (let minute = 0; minute < 62; minute += 1) {
      await house.report(key, { boot: "b-1", sentUptimeMs: 5_000 + minute * 60_000, events: [] });
      house.clock.advance(minutes(1));
    }
    const put = (placement: string) =>
      house.app.inject({
        method: "PATCH",
        url: `/api/v1/feeders/${feeder.id}`,
        headers: house.keeper,
        payload: { placement },
      });
    expect((await put("inTheAttic")).statusCode).toBe(400);
    expect((await put("putAway")).json().settings.placement).toBe("putAway");
    house.clock.advance(hours(9));
    await runPeriodicChecks(house.ports);
    expect(await silence(house, feeder.id)).toMatchObject({ state: "suppressedByDesign", explainedBy: null });
    expect(house.timersRun()).toBe(0);
    await put("inGarden");
    expect(await silence(house, feeder.id)).toMatchObject({ state: "unacknowledged" });
    expect(house.timersRun()).toBe(1);
  });
});
