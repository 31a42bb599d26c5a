import { describe, expect, it } from "vitest";
import type { DayView } from "../../server/contract/api.ts";
import { hours, minutes } from "../../server/domain/instant.ts";
import { openTestServer } from "../support/testServer.ts";

describe("the day's page", () => {
  it("holds what has just happened, at each hour of a winter day, and can be paged back and forward", async () => {
    const server = await openTestServer(); // ten in the morning in Stockholm, on the 15th of January
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    const patch = { method: "PATCH", url: `/api/v1/yards/${server.yard}`, headers: server.keeper } as const;
    await server.app.inject({ ...patch, payload: { place, zone: "Europe/Stockholm" } });
    const { feeder, key } = await server.addFeeder({ name: "Rowan" });
    const day = async (date?: string) => {
      const url = `/api/v1/feeders/${feeder.id}/day${date === undefined ? "" : `?date=${date}`}`;
      return (await server.app.inject({ url, headers: server.keeper })).json() as DayView;
    };
    for (let hour = 1; hour <= 24; hour++) {
      server.clock.advance(hours(1));
      const visit = { seq: hour, uptimeMs: hour * 3_600_000 - 60_000, kind: "visit" };
      await server.report(key, { boot: "b-1", sentUptimeMs: hour * 3_600_000, events: [visit] });
      const today = await day();
      const label = `${hour} hours later`;
      expect(today.marks.at(-1)?.at, label).toBe(new Date(server.clock.now() - minutes(1)).toISOString());
      expect(today.current.date, label).toBe(today.date);
      expect((await day(today.date)).marks, label).toEqual(today.marks);
      expect(today.date, label).toBe(hour < 14 ? "2026-01-15" : "2026-01-16"); // midnight is 14 hours on
    }
    // After midnight the evening is on the new day's page, once and not twice.
    const [before, today] = [await day("2026-01-15"), await day("2026-01-16")];
    expect(before.counts.visits + today.counts.visits).toBe(24);
    expect(before.to).toBe(today.from);
  });

  it("marks the deposits that got no portion, and no others", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan" });
    server.clock.advance(hours(1));
    const deposit = (seq: number, metal: boolean) => ({ seq, uptimeMs: seq * 60_000, kind: "deposit", metal });
    const events = [
      deposit(1, true),
      { seq: 2, uptimeMs: 61_000, kind: "portion", cause: "deposit", paysFor: 1 },
      deposit(3, true),
      deposit(4, false),
    ];
    await server.report(key, { boot: "b-1", sentUptimeMs: 1_800_000, events });
    const answer = await server.app.inject({ url: `/api/v1/feeders/${feeder.id}/day`, headers: server.keeper });
    const { marks } = answer.json() as DayView;
    expect(marks.filter(({ kind }) => kind === "deposit").map(({ unpaid }) => unpaid)).toEqual([
      undefined,
      true,
      undefined,
    ]);
  });
});
