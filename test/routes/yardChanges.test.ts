import { expect, it } from "vitest";
import type { HomeView } from "../../server/contract/api.ts";
import { requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** Changes of a yard together with what belongs to it. */

const home = async (server: TestServer, headers = server.keeper) =>
  (await requestAs(server, "GET", "/api/v1/home", headers)).json() as HomeView;

it("a zone reaches the yard and all of its feeders, or none of them", async () => {
  const server = await openTestServer();
  const names = Array.from({ length: 12 }, (_, number) => `Rowan ${number + 1}`);
  for (const name of names) await server.addFeeder({ name });
  server.connections.direct.exec(
    `CREATE TEMP TRIGGER stop BEFORE INSERT ON "LogLine" WHEN (SELECT count(*) FROM "LogLine") >= 17
     BEGIN SELECT RAISE(ABORT, 'planted'); END`,
  );
  const zones = async () => {
    const feeders = (await server.store.yards.feeders()).map(({ state }) => state.settings.zone);
    return new Set([...feeders, ...(await home(server)).yards.map(({ zone }) => zone)]);
  };
  const move = { zone: "Europe/Helsinki" };
  expect((await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, move)).statusCode).toBe(500);
  expect(await zones()).toEqual(new Set(["Europe/Stockholm"]));
  server.connections.direct.exec("DROP TRIGGER stop");
  expect((await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, move)).statusCode).toBe(200);
  expect(await zones()).toEqual(new Set(["Europe/Helsinki"]));
});

it("a feeder that is added while its yard moves has the yard's zone", async () => {
  let beforeNextWrite = async (): Promise<unknown> => undefined;
  const server = await openTestServer({
    around: (connections) => ({
      ...connections,
      async write(work) {
        const first = beforeNextWrite;
        beforeNextWrite = async () => undefined;
        await first();
        return connections.write(work);
      },
    }),
  });
  const zone = "Europe/Helsinki";
  beforeNextWrite = () => requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { zone });
  const { feeder } = await server.addFeeder();
  expect((await server.store.yards.feeder(feeder.id))?.state.settings.zone).toBe(zone);
});
