import { expect, it } from "vitest";
import type { PortionsView } from "../../server/contract/api.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const day = { from: "2026-01-15T00:00:00Z", to: "2026-01-16T00:00:00Z" };
const ask = (server: TestServer, feeder: string, query: Readonly<Record<string, string>>) =>
  server.app.inject({
    url: `/api/v1/feeders/${feeder}/portions?${new URLSearchParams(query)}`,
    headers: server.keeper,
  });

it("the portions of a span are as the feeder reported them, the last of them where there are many", async () => {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder();
  const portion = (seq: number) => ({ seq, uptimeMs: seq * 1_000, kind: "portion", cause: "timer" });
  const events = [
    { ...portion(1), motorMs: 900, meanMilliamps: 410, chuteCount: 4 },
    { seq: 2, uptimeMs: 2_000, kind: "visit" },
    ...Array.from({ length: 200 }, (_, index) => portion(index + 3)),
  ];
  await server.report(key, { boot: "b-1", sentUptimeMs: 3_600_000, events: events.slice(0, 3) });
  const first = (await ask(server, feeder.id, day)).json<PortionsView>();
  expect(first).toMatchObject({ feeder: feeder.id, isCut: false });
  expect(first.portions).toEqual([
    expect.objectContaining({ cause: "timer", pieces: 4, milliamps: 410 }),
    expect.objectContaining({ cause: "timer", pieces: null, milliamps: null }),
  ]);
  await server.report(key, { boot: "b-1", sentUptimeMs: 3_600_000, events: events.slice(3) });
  const all = (await ask(server, feeder.id, day)).json<PortionsView>();
  expect([all.portions.length, all.isCut, all.portions[0]?.pieces]).toEqual([200, true, null]);
  const none = (await ask(server, feeder.id, { ...day, to: "2026-01-15T00:00:01Z" })).json<PortionsView>();
  expect(none.portions).toEqual([]);
});

it("a span that can't be answered is refused by the name of its field", async () => {
  const server = await openTestServer();
  const { feeder } = await server.addFeeder();
  for (const [query, field] of [
    [{ ...day, from: "yesterday" }, "from"],
    [{ from: day.to, to: day.from }, "to"],
    [{ ...day, to: "2026-01-18T00:00:00Z" }, "to"],
  ] as const) {
    const answer = await ask(server, feeder.id, query);
    expect([answer.statusCode, answer.json().errors[0].field]).toEqual([400, field]);
  }
  expect((await ask(server, "no-feeder", day)).statusCode).toBe(404);
});
