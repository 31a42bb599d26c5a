import { describe, expect, it } from "vitest";
import { hours, minutes } from "../../server/domain/instant.ts";
import { sendDueDigests } from "../../server/flows/digest.ts";
import { unplainText } from "../support/plainText.ts";
import { openTestServer } from "../support/testServer.ts";

describe("the answers that the keepers' screens show", () => {
  it("have no machine time and no symbol of a statistic in their texts, over a day with faults", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan", battery: "lithiumIon", portionGrams: 2 });
    for (let minute = 1; minute <= 40; minute++) {
      server.clock.advance(minutes(1));
      const events =
        minute % 5 === 0
          ? [{ seq: minute, uptimeMs: minute * 60_000 - 1_000, kind: "trouble", words: "the lid was open" }]
          : [{ seq: minute, uptimeMs: minute * 60_000 - 1_000, kind: "deposit", metal: true }];
      const readings = {
        chargeMilliamps: 400,
        batteryCelsius: -6,
        airCelsius: -6,
        insideCelsius: -6,
        humidityPercent: 95,
      };
      await server.report(key, { boot: "b-1", sentUptimeMs: minute * 60_000, readings, events });
    }
    const get = async (url: string) =>
      (await server.app.inject({ url: `/api/v1${url}`, headers: server.keeper })).json();
    const patch = (url: string, payload: object) =>
      server.app.inject({ method: "PATCH", url: `/api/v1${url}`, headers: server.keeper, payload });
    const page = `/feeders/${feeder.id}`;
    expect((await server.runPeriodicCheck(feeder.id)).alarms.length, "the day must reach alarms").toBeGreaterThan(1);
    server.clock.advance(hours(21));
    await sendDueDigests(server.ports);
    const walked = {
      home: await get("/home"),
      day: await get(`${page}/day`),
      digest: await get(`/yards/${server.yard}/digest`),
      rates: await get(`/yards/${server.yard}/alarm-rates`),
      people: await get(`/yards/${server.yard}/people`),
      refused: (await patch(page, { reportEverySeconds: 1, warnAheadDays: 99, foodKind: "other" })).json(),
      shelf: (await patch(`/yards/${server.yard}`, { digestTime: "25:00" })).json(),
      noDay: await get(`${page}/day?date=2026-99-99`),
    };
    expect(unplainText(walked)).toEqual([]);
  });
});
