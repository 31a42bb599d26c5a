import { describe, expect, it } from "vitest";
import { textOf } from "../../server/adapters/store/rows.ts";
import type { RatesView } from "../../server/contract/api.ts";
import type { YardAlarmChange } from "../../server/domain/alarmRates/history.ts";
import { ruleOf } from "../../server/domain/faults.ts";
import { before, days, hours, type Instant, minutes, type Span } from "../../server/domain/instant.ts";
import { signInAgain } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** The figures about a yard's alarms, requested from a server with a real database. */

type Row = Pick<YardAlarmChange, "feeder" | "fault" | "from" | "to" | "at"> & { readonly present?: boolean };

/** Written in plain SQL: twenty thousand rows would take Prisma longer than everything else here. */
function insertChanges({ connections: { direct } }: TestServer, rows: readonly Row[]): void {
  const insert = direct.prepare(
    `INSERT INTO "AlarmChange" ("place", "feederId", "fault", "priority", "from", "to", "at", "reason", "present")
     VALUES (?, ?, ?, ?, ?, ?, ?, 'So it was.', ?)`,
  );
  direct.transaction(() => {
    for (const [index, { feeder, fault, from, to, at, present }] of rows.entries()) {
      const there = present ?? (to !== "normal" && to !== "returnedUnacknowledged");
      insert.run(index, feeder, fault, ruleOf(fault).priority, from, to, textOf(at), there ? 1 : 0);
    }
  })();
}

function usual(feeder: string, fault: Row["fault"], at: Instant): Row[] {
  return [
    { feeder, fault, from: "normal", to: "unacknowledged", at },
    { feeder, fault, from: "unacknowledged", to: "acknowledged", at: (at + minutes(20)) as Instant },
    { feeder, fault, from: "acknowledged", to: "normal", at: (at + hours(2)) as Instant },
  ];
}

async function viewOf(server: TestServer, yard = server.yard) {
  const answer = await server.app.inject({
    url: `/api/v1/yards/${yard}/alarm-rates`,
    headers: await signInAgain(server),
  });
  return { status: answer.statusCode, view: answer.json<RatesView>() };
}

/** A yard whose feeder was added so long ago. */
async function serverSince(span: Span): Promise<{ server: TestServer; feeder: string; now: Instant }> {
  const server = await openTestServer();
  const { feeder } = await server.addFeeder();
  const now = server.clock.advance(span);
  return { server, feeder: feeder.id, now };
}

describe("the rates of a yard", () => {
  it("are those of thirty local days, with sentences, findings and numbers", async () => {
    const { server, feeder, now } = await serverSince(days(40));
    const ice = Array.from({ length: 8 }, (_, index) => usual(feeder, "iceLock", before(now, days(2 * index + 1))));
    const food = Array.from({ length: 4 }, (_, index) => usual(feeder, "foodLow", before(now, days(3 * index + 1.2))));
    const old = usual(feeder, "trayJammed", before(now, days(33)));
    const note = usual(feeder, "frostInside", before(now, days(3)));
    insertChanges(server, [...ice.flat(), ...food.flat(), ...old, ...note]);
    const { status, view } = await viewOf(server);
    expect(status).toBe(200);
    expect(view.texts[0]).toBe("12 alarms in 30 days at 1 feeder: 2.8 a week at each. 1 note in the daily digest.");
    expect(view.findings).toContainEqual(
      expect.stringMatching(/^“Ice likely on tray and slot” at Rowan makes 8 of 12 alarms: /),
    );
    expect(view.days).toHaveLength(31);
    expect(view.days.reduce((sum, day) => sum + day.soon, 0)).toBe(12);
    expect(view.days.reduce((sum, day) => sum + day.notes, 0)).toBe(1);
    expect(view.frequentAlarms[0]).toEqual({
      name: "ice likely on tray and slot, Rowan",
      alarmCount: 8,
      sharePercent: 67,
    });
    expect(view.acknowledgedCount).toBe(12);
  });

  it("state how many days are known of a new yard, and that nothing is to be changed", async () => {
    const { server } = await serverSince(days(5));
    const { view } = await viewOf(server);
    expect(view.texts).toEqual(["No alarm in 5 days at 1 feeder."]);
    expect(view.findings).toEqual([]);
  });

  it("can be read at the moment at which a feeder is added, and for a yard without any", async () => {
    const server = await openTestServer();
    expect((await viewOf(server)).view.texts).toEqual(["This yard has no feeder yet, so there are no alarms."]);
    await server.addFeeder();
    expect((await viewOf(server)).status).toBe(200);
  });

  it("include an alarm that has been active for days without a new entry in the log", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder();
    for (let minute = 0; minute < 70; minute += 1) {
      await server.report(key, { boot: "b-1", sentUptimeMs: 60_000 * (minute + 1), readings: {}, events: [] });
      server.clock.advance(minutes(1));
    }
    server.clock.advance(days(3));
    // One check detects the silence; after it nothing is stored for more than a month.
    const changed = await server.app.inject({
      method: "PATCH",
      url: `/api/v1/feeders/${feeder.id}`,
      headers: server.keeper,
      payload: { name: "Rowan" },
    });
    expect(changed.json<{ alarms: { fault: string }[] }>().alarms.map(({ fault }) => fault)).toContain("feederSilent");
    server.clock.advance(days(40));
    const { view } = await viewOf(server);
    expect(view.findings).toContainEqual(expect.stringMatching(/^“No reports” at Rowan has been active for 40 days/));
  });

  it("read only the newest days of a sensor that flickers day and night, and state it", async () => {
    const { server, feeder, now } = await serverSince(days(40));
    const flicker = Array.from({ length: 20_400 }, (_, index): Row => {
      const at = before(now, minutes(1.5 * (20_400 - index)));
      return { feeder, fault: "buttonSilent", from: "acknowledged", to: "acknowledged", at, present: index % 2 === 0 };
    });
    insertChanges(server, flicker);
    const { view } = await viewOf(server);
    expect(view.texts.at(-1)).toBe("Only the newest 20000 changes are shown.");
    expect(view.days.length).toBeLessThan(22);
  }, 20_000);

  it("are refused for an unknown yard, and without a session", async () => {
    const server = await openTestServer();
    expect((await viewOf(server, "elsewhere")).status).toBe(404);
    const withoutSession = await server.app.inject({ url: `/api/v1/yards/${server.yard}/alarm-rates` });
    expect(withoutSession.statusCode).toBe(401);
  });
});
