import { describe, expect, it } from "vitest";
import type { HomeView } from "../../server/contract/api.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer } from "../support/testServer.ts";
import { type RouteRights, rightsTable } from "./rights/table.ts";
import { checkAllowed, checkRefusals, unknownRoutes } from "./rights/walk.ts";
import { openRightsFixture } from "./rights/world.ts";

/** Who may do what, on every route, by every kind of caller. The expectation is `rights/table.ts`. */

describe("every route", () => {
  it("is in the table of who may use it, refuses everybody else, and answers those that it should", async () => {
    const world = await openRightsFixture();
    expect(unknownRoutes(world.routes, rightsTable)).toEqual([]);
    const refused = await checkRefusals(world, rightsTable);
    expect(refused.problems).toEqual([]);
    const passed = await checkAllowed(world, rightsTable);
    expect(passed.problems).toEqual([]);
    // Every caller used every kind of route.
    expect(refused.requestCount).toBeGreaterThan(400);
    expect(passed.requestCount).toBeGreaterThan(200);
  }, 60_000);
});

describe("the walk itself", () => {
  it("finds what is planted: a route without a row, one that leaks, one that stores before it refuses", async () => {
    const world = await openRightsFixture((app) => {
      app.get("/api/v1/planted/:yard", async () => ({ yards: await world.server.store.yards.yards() }));
      app.post("/api/v1/planted/:feeder", async (request, reply) => {
        const { feeder } = request.params as { feeder: string };
        const row = await world.server.store.yards.feeder(feeder);
        if (row !== null) await world.server.store.keepers.openFirstSignIn(`${request.id}`, world.server.clock.now());
        return reply.status(404).send({ detail: "There is no such feeder." });
      });
      app.get("/api/v1/planted/exists/:feeder", async (request, reply) => {
        const { feeder } = request.params as { feeder: string };
        const row = await world.server.store.yards.feeder(feeder);
        return reply.status(404).send({ detail: row === null ? "There is no such feeder." : "It isn't yours." });
      });
    });
    expect(unknownRoutes(world.routes, rightsTable)).toEqual([
      "GET /api/v1/planted/:yard has no row in the table",
      "POST /api/v1/planted/:feeder has no row in the table",
      "GET /api/v1/planted/exists/:feeder has no row in the table",
    ]);
    const ofKeepers: RouteRights = { who: ["keeper"] };
    const found = async (rows: Readonly<Record<string, RouteRights>>) =>
      (await checkRefusals(world, rows)).problems.join("\n");
    const leaking = await found({ "GET /api/v1/planted/:yard": ofKeepers });
    expect(leaking).toMatch(/by nobody .*: answered 200, not 401/);
    expect(leaking).toMatch(/by a keeper of another yard .*: the answer holds the orchard/);
    const storing = await found({ "POST /api/v1/planted/:feeder": ofKeepers });
    expect(storing).toMatch(/by a keeper of another yard .*: was refused, and FirstSignIn changed/);
    const existenceLeak = await found({ "GET /api/v1/planted/exists/:feeder": ofKeepers });
    expect(existenceLeak).toMatch(/by a keeper of another yard .*: shows by .* that it exists/);
  }, 60_000);

  it("finds a row that allows too little or too much", async () => {
    const world = await openRightsFixture();
    const cleaned = "POST /api/v1/feeders/:feeder/cleaned";
    expect((await checkRefusals(world, { [cleaned]: { who: ["keeper"] } })).problems.join("\n")).toMatch(
      /by a helper of the yard .*: answered 200, not 403/,
    );
    const key = "POST /api/v1/feeders/:feeder/key";
    expect((await checkAllowed(world, { [key]: { who: ["keeper", "helper"] } })).problems.join("\n")).toMatch(
      /by a helper of the yard .*: answered 403, not 2xx/,
    );
  }, 60_000);
});

describe("a person who no longer belongs to a yard", () => {
  it("sees none of it on the home page, and gets a reason for what only keepers may do", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const bo = await joinByInvite(server, "Bo", "helper");
    const refused = await requestAs(server, "POST", `/api/v1/feeders/${feeder.id}/key`, bo);
    expect(refused.json().detail).toContain("Only a keeper of this yard can change that.");
    const id = (await requestAs(server, "GET", "/api/v1/me", bo)).json().id;
    await requestAs(server, "DELETE", `/api/v1/yards/${server.yard}/people/${id}`, server.keeper);
    const home = await requestAs(server, "GET", "/api/v1/home", bo);
    if (home.statusCode === 200) expect((home.json() as HomeView).yards).toEqual([]);
    const added = await requestAs(server, "POST", "/api/v1/feeders", bo, { yard: server.yard, name: "Larch" });
    expect([400, 401]).toContain(added.statusCode);
    expect((await server.runPeriodicCheck(feeder.id)).settings.name).toBe(feeder.settings.name);
  });
});
