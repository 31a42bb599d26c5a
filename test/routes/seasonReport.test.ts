import { describe, expect, it } from "vitest";
import type { ReportView } from "../../server/contract/reportView.ts";
import { hours } from "../../server/domain/instant.ts";
import { requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const report = async (server: TestServer): Promise<ReportView> =>
  (await requestAs(server, "GET", `/api/v1/yards/${server.yard}/training/report`, server.keeper)).json();

const start = (server: TestServer, stage: string, id = `start-${stage}`) =>
  requestAs(server, "POST", `/api/v1/yards/${server.yard}/training/changes`, server.keeper, {
    ...{ id, reason: "next step", content: { kind: "stageStarted", stage, changesPlans: false } },
  });

const note = (server: TestServer, id: string) =>
  requestAs(server, "POST", `/api/v1/yards/${server.yard}/notes`, server.keeper, { id, text: id });

/** A day on which so many of five presses are paid. */
async function day(server: TestServer, key: string, boot: string, paid: number): Promise<void> {
  server.clock.advance(hours(24));
  const events: object[] = [];
  for (let press = 0; press < 5; press += 1) {
    const uptimeMs = press * 600_000;
    events.push({ seq: events.length + 1, uptimeMs, kind: "visit" });
    events.push({ seq: events.length + 1, uptimeMs: uptimeMs + 4_000, kind: "press" });
    if (press >= paid) continue;
    const portion = { kind: "portion", cause: "press", paysFor: events.length, motorMs: 900, chuteCount: 2 };
    events.push({ seq: events.length + 1, uptimeMs: uptimeMs + 5_200, ...portion });
  }
  await server.report(key, { boot, sentUptimeMs: 3_600_000, events });
}

describe("the season report", () => {
  it("gives each stage its own days, promises with their interval, changes and notes", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    await start(server, "pressForFood");
    await note(server, "note-first");
    await day(server, key, "b-1", 5);
    await day(server, key, "b-2", 3);
    server.clock.advance(hours(6)); // after noon: that day still belongs to the first stage
    await start(server, "nudgeCap");
    await note(server, "note-second");
    server.clock.advance(hours(24));
    const { pages, from, to, boutsByHour, leftOut } = await report(server);
    expect(pages.map(({ period, notes, changes }) => [period.stage, notes, changes])).toEqual([
      ["pressForFood", [expect.objectContaining({ text: "note-first" })], [expect.anything()]],
      ["nudgeCap", [expect.objectContaining({ text: "note-second" })], [expect.anything()]],
    ]);
    expect(pages[0]?.kept).toMatchObject({ promised: 10, paid: 8, share: 0.8 });
    expect(pages[0]?.kept.limits.low).toBeCloseTo(0.49, 2); // Wilson 1927, 8 of 10: 0.490 to 0.943
    expect(pages[0]?.kept.limits.high).toBeCloseTo(0.943, 2);
    expect(pages[1]?.kept.promised).toBe(0);
    const dates = pages.flatMap((page) => page.days.map(({ date }) => date));
    expect(new Set(dates).size).toBe(dates.length); // no day is on two pages
    expect([from, to]).toEqual([dates[0], dates.at(-1)]);
    expect(boutsByHour?.reduce((sum, count) => sum + count, 0)).toBeGreaterThan(0);
    expect(leftOut).toBe(false);
  });

  it("gives a stage that was started again a page for each time", async () => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    await start(server, "pressForFood", "start-0001");
    await day(server, key, "b-1", 5);
    server.clock.advance(hours(24));
    await start(server, "nudgeCap", "start-0002");
    server.clock.advance(hours(24));
    await start(server, "pressForFood", "start-0003");
    await day(server, key, "b-2", 1);
    const { pages } = await report(server);
    expect(pages.map(({ stage, kept }) => [stage.id, kept.paid])).toEqual([
      ["pressForFood", 5],
      ["nudgeCap", 0],
      ["pressForFood", 1],
    ]);
  });

  it("has no page while no stage was started", async () => {
    const server = await openTestServer();
    expect(await report(server)).toMatchObject({ pages: [], from: null, to: null, boutsByHour: null });
  });
});
