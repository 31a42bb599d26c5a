import { describe, expect, it } from "vitest";
import type { HomeView, PeopleView } from "../../server/contract/api.ts";
import { addPhone, joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const post = (server: TestServer, url: string, payload: object, headers = server.keeper) =>
  requestAs(server, "POST", `/api/v1${url}`, headers, payload);
const alder = {
  name: "Alder Croft",
  zone: "Europe/Stockholm",
  place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 },
};

describe("a second yard", () => {
  it("is made by a keeper, who is its keeper, beside the first", async () => {
    const server = await openTestServer();
    const made = await post(server, "/yards", alder);
    expect(made.statusCode).toBe(201);
    const { id } = made.json().yard;
    const home = (await requestAs(server, "GET", "/api/v1/home", server.keeper)).json() as HomeView;
    expect(home.yards).toMatchObject([
      { name: "My yard" },
      { ...alder, id, role: "keeper", peopleCount: 1, practice: false },
    ]);
    const { feeder } = await server.addFeeder({ yard: id, name: "Larch" });
    expect(feeder.yard).toBe(id);
  });

  it("is made by no helper, and needs a name and a zone", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    expect((await post(server, "/yards", alder, bo)).statusCode).toBe(403);
    const wrong = await post(server, "/yards", { name: " ", zone: "Somewhere" });
    expect(wrong.json().errors.map(({ field }: { field: string }) => field)).toEqual(["name", "zone"]);
  });

  it("is refused beyond twenty", async () => {
    const server = await openTestServer();
    for (let n = 2; n <= 20; n += 1) expect((await post(server, "/yards", alder)).statusCode).toBe(201);
    expect((await post(server, "/yards", alder)).statusCode).toBe(409);
  });
});

describe("deleting a yard", () => {
  it("asks for its name, and deletes its feeders, their record and its people's access", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    await addPhone(server, bo, "Bo's phone");
    const { feeder, key } = await server.addFeeder();
    await server.report(key, { boot: "b-1", readings: { hopperGrams: 100 }, events: [] });
    const remove = (name: string, headers = server.keeper) =>
      post(server, `/yards/${server.yard}/remove`, { name }, headers);
    expect((await remove("My yard", bo)).statusCode).toBe(403);
    const wrong = await remove("Your yard");
    expect([wrong.statusCode, wrong.json().errors]).toEqual([
      400,
      [{ field: "name", problem: "is not the name of this yard, My yard" }],
    ]);
    expect((await server.runPeriodicCheck(feeder.id)).name).toBe("Rowan");

    expect((await remove(" my YARD ")).statusCode).toBe(204);
    expect((await server.report(key, { boot: "b-1", events: [] })).status).toBe(401);
    expect((await requestAs(server, "GET", "/api/v1/me", bo)).statusCode).toBe(401);
    const { reader } = server.connections;
    const counts = [
      reader.yard.count(),
      reader.feeder.count(),
      reader.feederHead.count({ where: { feederNo: { gt: 0 } } }),
      reader.logLine.count(),
      reader.snapshot.count(),
      reader.invite.count(),
    ];
    expect(await Promise.all(counts)).toEqual(counts.map(() => 0));
    // The person who deleted it stays, and can make another.
    expect((await requestAs(server, "GET", "/api/v1/home", server.keeper)).json().yards).toEqual([]);
    expect((await post(server, "/yards", alder)).statusCode).toBe(201);
  });

  it("keeps people who belong to another yard as well, and the other yard unchanged", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "keeper");
    const { id } = (await post(server, "/yards", alder, bo)).json().yard;
    await server.addFeeder();
    const { feeder } = await requestAs(server, "POST", "/api/v1/feeders", bo, { yard: id, name: "Larch" }).then((a) =>
      a.json(),
    );
    await post(server, `/yards/${server.yard}/remove`, { name: "My yard" });
    const home = (await requestAs(server, "GET", "/api/v1/home", bo)).json() as HomeView;
    expect(home.yards.map((yard) => [yard.id, yard.feeders.map((each) => each.id)])).toEqual([[id, [feeder.id]]]);
    // Without a yard of their own, nobody makes one on a server that has yards.
    expect((await post(server, "/yards", alder)).statusCode).toBe(403);
  });
});

describe("an invitation", () => {
  it("is listed with its end, and withdrawn by a keeper of its yard: its link no longer works then", async () => {
    const server = await openTestServer();
    const bo = await joinByInvite(server, "Bo", "helper");
    const { token } = (await post(server, `/yards/${server.yard}/invites`, { role: "helper" })).json();
    const { token: other } = (await post(server, `/yards/${server.yard}/invites`, { role: "keeper" })).json();
    const people = async (headers = server.keeper) =>
      (await requestAs(server, "GET", `/api/v1/yards/${server.yard}/people`, headers)).json() as PeopleView;
    expect((await people(bo)).invites).toEqual([]);
    const open = (await people()).invites;
    expect(open).toMatchObject([
      { role: "helper", madeAt: "2026-01-15T09:00:00.000Z", expiresAt: "2026-01-22T09:00:00.000Z" },
      { role: "keeper" },
    ]);
    expect(JSON.stringify(open)).not.toContain(token);
    const url = (id: string) => `/api/v1/yards/${server.yard}/invites/${id}`;
    const helpers = open.find(({ role }) => role === "helper")?.id ?? "";
    expect((await requestAs(server, "DELETE", url(helpers), bo)).statusCode).toBe(403);
    const withdrawn = await requestAs(server, "DELETE", url(helpers), server.keeper);
    expect([withdrawn.statusCode, withdrawn.json().invites]).toMatchObject([200, [{ role: "keeper" }]]);
    expect((await requestAs(server, "DELETE", url(helpers), server.keeper)).statusCode).toBe(404);
    const cilla = { name: "Cilla", passphrase: "a chair beside the window" };
    expect((await post(server, "/join", { token, ...cilla }, {} as never)).statusCode).toBe(404);
    expect((await post(server, "/join", { token: other, ...cilla }, {} as never)).statusCode).toBe(200);
  });
});
