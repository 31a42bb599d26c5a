import { describe, expect, it } from "vitest";
import { hours, type Instant, minutes, type Span, seconds } from "../../server/domain/instant.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** What a server concludes of feeders that could not reach it, since it was off itself. */

const every = minutes(5);

async function regularFeeder() {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder({ reportEverySeconds: every / 1_000 });
  let uptime = 0;
  const report = async (to: TestServer, span: Span = every) => {
    uptime += span;
    await to.report(key, { boot: "b-1", sentUptimeMs: uptime, events: [] });
  };
  for (let count = 0; count < 15; count += 1) {
    server.clock.advance(every);
    await report(server);
  }
  const alarms = async (of: TestServer) =>
    (await of.store.records.alarmChanges(feeder.id, 0 as Instant, (of.clock.now() + 1) as Instant)).map(
      ({ fault, to }) => `${fault} ${to}`,
    );
  /** Checks as the timer makes them. */
  const pass = async (of: TestServer, span: Span, listeningSince: Instant | null) => {
    for (let passed = 0; passed < span; passed += seconds(20)) {
      of.clock.advance(seconds(20));
      await runPeriodicChecks(of.ports, listeningSince);
    }
  };
  return { server, report, alarms, pass };
}

describe("a server that was off for hours", () => {
  it("raises no silence of a feeder that reports again soon after it is back", async () => {
    const { server, report, alarms, pass } = await regularFeeder();
    server.clock.advance(hours(3));
    const startedAt = server.clock.now();
    await pass(server, minutes(4), startedAt);
    await report(server, hours(3));
    await pass(server, minutes(10), startedAt);
    expect(await alarms(server)).toEqual([]);
  });

  it("raises it where the feeder has been silent for as long again, and not before", async () => {
    const { server, alarms, pass } = await regularFeeder();
    server.clock.advance(hours(3));
    const startedAt = server.clock.now();
    await pass(server, minutes(14), startedAt);
    expect(await alarms(server)).toEqual([]);
    await pass(server, minutes(45), startedAt);
    expect(await alarms(server)).toContain("feederSilent unacknowledged");
  });

  it("raised it at once before it knew since when it listens", async () => {
    const { server, alarms, pass } = await regularFeeder();
    server.clock.advance(hours(3));
    await pass(server, minutes(2), null);
    expect(await alarms(server)).toContain("feederSilent unacknowledged");
  });

  it("keeps one that was raised before it went off", async () => {
    const { server, alarms, pass } = await regularFeeder();
    await pass(server, hours(1), null);
    expect(await alarms(server)).toEqual(["feederSilent unacknowledged"]);
    server.clock.advance(hours(3));
    await pass(server, minutes(10), server.clock.now());
    expect(await alarms(server)).toEqual(["feederSilent unacknowledged"]);
  });

  it("still checks whatever else is due of the other feeders", async () => {
    const { server, pass } = await regularFeeder();
    const other = await server.addFeeder({ reportEverySeconds: every / 1_000 });
    server.clock.advance(hours(3));
    await server.report(other.key, { boot: "b-9", sentUptimeMs: 5, events: [] });
    const startedAt = server.clock.now();
    server.clock.advance(minutes(11));
    expect(await runPeriodicChecks(server.ports, startedAt)).toBe(1);
    await pass(server, minutes(1), startedAt);
  });
});
