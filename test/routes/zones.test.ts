import { describe, expect, it } from "vitest";
import { minutes } from "../../server/domain/instant.ts";
import { sendDueDigests } from "../../server/flows/digest.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { zoneWarnings } from "../../server/flows/zones.ts";
import { plantState } from "../support/plantedState.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** Short names that ICU knows and Temporal refuses, since each means several zones (measured on node 20). */
const refusedByTemporal = [
  ...[
    "IST",
    "JST",
    "CST",
    "PST",
    "BST",
    "ACT",
    "AET",
    "AGT",
    "ART",
    "AST",
    "BET",
    "CAT",
    "CNT",
    "CTT",
    "EAT",
    "ECT",
    "IET",
  ],
  ...["MIT", "NET", "NST", "PLT", "PNT", "PRT", "SST", "VST"],
];
/** What Temporal accepts as a zone and a phone's `Intl` doesn't, or not on every phone. */
const refusedByPhones = ["+05:30", "+0530", "+05", "2020-01-01T00:00[UTC]", "2020-01-01T00:00:00+01:00"];
const noZones = ["", " ", "Mars/Olympus", " Europe/Stockholm", "Europe/Stockholm ", "Etc/Unknown", "Factory", "Z"];
const usable = ["UTC", "GMT", "EST", "MST", "HST", "CET", "EET", "Etc/GMT+5", "Asia/Kolkata", "Europe/Kyiv"];

const changeZone = (server: TestServer, zone: string) =>
  server.app.inject({
    method: "PATCH",
    url: `/api/v1/yards/${server.yard}`,
    headers: server.keeper,
    payload: { zone },
  });
const home = (server: TestServer) => server.app.inject({ url: "/api/v1/home", headers: server.keeper });
const report = (seq: number) => ({
  boot: "b-1",
  sentUptimeMs: seq * 60_000,
  readings: { hopperGrams: 400, airCelsius: -3 },
  events: [{ seq, uptimeMs: seq * 60_000 - 1_000, kind: "press" }],
});

describe("the zone of a yard", () => {
  it("is refused by its field where server or phones can't use it, and stays as it was", async () => {
    const server = await openTestServer();
    for (const zone of [...refusedByTemporal, ...refusedByPhones, ...noZones]) {
      const answer = await changeZone(server, zone);
      expect([zone, answer.statusCode, answer.json().errors?.[0]?.field]).toEqual([zone, 400, "zone"]);
      expect((await home(server)).json().yards[0]).toMatchObject({ zone: "Europe/Stockholm", unusableZone: null });
    }
  });

  it("is each one that a phone's list offers: reports, orders, digest and home go on in all of them", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const offered = [...Intl.supportedValuesOf("timeZone"), ...usable];
    expect(offered.length).toBeGreaterThan(400);
    const problems: string[] = [];
    // Each change is written to every feeder: a dozen are sent over HTTP, and all are read as stored zones.
    for (const [index, zone] of offered.entries()) {
      if (index % 35 !== 0 && !usable.includes(zone)) continue;
      server.clock.advance(minutes(1));
      const statuses = [
        (await changeZone(server, zone)).statusCode,
        (await server.report(key, report(index + 1))).status,
        (await home(server)).statusCode,
      ];
      if (statuses.some((status) => status !== 200)) problems.push(`${zone} ${statuses}`);
    }
    const { yardRequest } = await import("../../server/contract/api.ts");
    const { localTimeOf } = await import("../../server/domain/localTime.ts");
    for (const zone of offered) {
      if (!yardRequest.safeParse({ zone }).success) problems.push(`${zone} is refused`);
      localTimeOf(server.clock.now(), zone);
    }
    expect(problems).toEqual([]);
    expect((await server.runPeriodicCheck(feeder.id)).lastReportAt).not.toBeNull();
  });

  it("is refused at the first sign-in too", async () => {
    const server = await openTestServer();
    const payload = { token: "x", name: "Ada", passphrase: "birds before breakfast", zone: "IST" };
    const answer = await server.app.inject({ method: "POST", url: "/api/v1/first-sign-in", payload });
    expect(answer.json()).toMatchObject({ status: 400, errors: [{ field: "zone" }] });
  });
});

describe("a stored zone that can't be used", () => {
  it.each(["IST", ""])("is %j: UTC is used instead, the yard shows it, and nothing stops", async (zone) => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    // As an earlier version stored it: in the yard and in each feeder's settings.
    server.connections.direct.prepare(`UPDATE "Yard" SET "zone" = ?`).run(zone);
    plantState(server.connections, feeder.id, (text) => {
      const state = JSON.parse(text);
      return JSON.stringify({ ...state, settings: { ...state.settings, zone } });
    });
    for (let seq = 1; seq <= 3; seq += 1) {
      server.clock.advance(minutes(1));
      expect((await server.report(key, report(seq))).status).toBe(200);
    }
    const payload = { id: "order-0001", kind: "pause", until: null };
    const order = { method: "POST", headers: server.keeper, payload } as const;
    expect((await server.app.inject({ ...order, url: `/api/v1/feeders/${feeder.id}/orders` })).statusCode).toBe(200);
    server.clock.advance(minutes(300));
    await runPeriodicChecks(server.ports);
    await sendDueDigests(server.ports);
    const seen = await home(server);
    expect(seen.statusCode).toBe(200);
    expect(seen.json().yards[0]).toMatchObject({ zone: "UTC", unusableZone: zone });
    expect((await server.runPeriodicCheck(feeder.id)).alarms.map(({ fault }) => fault)).toContain("pauseOverdue");
    const today = `/api/v1/feeders/${feeder.id}/day?date=2026-01-15`;
    expect((await server.app.inject({ url: today, headers: server.keeper })).statusCode).toBe(200);

    expect(await zoneWarnings(server.store.yards)).toEqual([expect.stringContaining(JSON.stringify(zone))]);

    expect((await changeZone(server, "Europe/Helsinki")).statusCode).toBe(200);
    expect((await home(server)).json().yards[0]).toMatchObject({ zone: "Europe/Helsinki", unusableZone: null });
    expect(await zoneWarnings(server.store.yards)).toEqual([]);
  });
});
