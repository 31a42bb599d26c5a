import { expect, it } from "vitest";
import { isoOf, minutes } from "../../server/domain/instant.ts";
import { openTestServer } from "../support/testServer.ts";

/** Five days of reports with an event each, of which those before the older snapshot are packed. */
async function fiveDays() {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder({ name: "Rowan" });
  const dates = new Set<string>();
  for (let step = 1; step <= 240; step += 1) {
    dates.add(isoOf(server.clock.advance(minutes(30))).slice(0, 10));
    const uptimeMs = step * minutes(30);
    const report = { boot: "b-1", sentUptimeMs: uptimeMs, events: [{ seq: step, uptimeMs, kind: "press" }] };
    expect((await server.report(key, report)).status).toBe(200);
  }
  while (await server.store.packs.packNext(server.clock.now()));
  const day = (date: string) =>
    server.app.inject({ url: `/api/v1/feeders/${feeder.id}/day?date=${date}`, headers: server.keeper });
  return { server, dates: [...dates], day };
}

it("names the damaged part of the record where a day can't be read, and shows the other days", async () => {
  const { server, dates, day } = await fiveDays();
  const { direct } = server.connections;
  const packed = direct.prepare<[], number>(`SELECT "firstAt" FROM "LogPack" ORDER BY "firstAt" LIMIT 1`).pluck().get();
  const damaged = new Date(packed as number).toISOString().slice(0, 10);
  const last = dates.at(-1) as string;
  expect(last).not.toBe(damaged);
  expect((await day(damaged)).statusCode).toBe(200);
  direct.exec(`UPDATE "LogPack" SET "lines" = x'00ff' WHERE "firstAt" = ${packed}`);
  const answer = await day(damaged);
  expect(answer.statusCode).toBe(500);
  expect(answer.json().detail).toBe(
    `The record of this day can't be read: the part of ${damaged} is damaged. Other days are whole, and a backup has this one.`,
  );
  expect((await day(last)).json().counts.presses).toBeGreaterThan(0);
});
