import { expect, it } from "vitest";
import type { StillsView } from "../../server/contract/stillView.ts";
import { days } from "../../server/domain/instant.ts";
import { removeOldStills } from "../../server/flows/stills.ts";
import { requestAs } from "../support/people.ts";
import { jpegPicture } from "../support/pictures.ts";
import { openTestServer } from "../support/testServer.ts";

it("keeps stills for as long as their yard wants, from 7 days to a year, and says so", async () => {
  const server = await openTestServer();
  const { key } = await server.addFeeder();
  const headers = { authorization: `Bearer ${key}`, "content-type": "image/jpeg" };
  const path = `/api/v1/yards/${server.yard}`;
  await requestAs(server, "POST", "/api/v1/stills?boot=b-1&seq=1", headers, await jpegPicture());
  const keep = (stillsKeptDays: number) => requestAs(server, "PATCH", path, server.keeper, { stillsKeptDays });
  expect((await keep(6)).json().errors).toMatchObject([{ field: "stillsKeptDays" }]);
  expect((await keep(366)).statusCode).toBe(400);
  expect((await keep(90)).statusCode).toBe(200);
  const view = (await requestAs(server, "GET", `${path}/stills`, server.keeper)).json() as StillsView;
  expect([view.keptDays, view.stills.length]).toEqual([90, 1]);
  server.clock.advance(days(25));
  await keep(20);
  expect(await removeOldStills(server.ports)).toBe(1);
});
