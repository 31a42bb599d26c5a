import { describe, expect, it } from "vitest";
import type { FeederView, HomeView } from "../../server/contract/api.ts";
import { minutes } from "../../server/domain/instant.ts";
import { carriedOut, listenAddress, openLink, orderStatus, sendReport } from "../support/orders.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const setNotice = (server: TestServer, body: object) =>
  server.app.inject({
    method: "POST",
    url: `/api/v1/yards/${server.yard}/disease-notice`,
    headers: server.keeper,
    payload: body,
  });
const order = (server: TestServer, path: string, body: object) =>
  server.app.inject({ method: "POST", url: `/api/v1/${path}/orders`, headers: server.keeper, payload: body });
const inForce = { id: "notice-0001", inForce: true };
const lifted = { id: "notice-0002", inForce: false };
const yardOf = (answer: { json(): unknown }) => (answer.json() as HomeView).yards[0];
const feederOf = async (server: TestServer, id: string) =>
  (await server.app.inject({ url: `/api/v1/feeders/${id}`, headers: server.keeper })).json() as FeederView;

describe("a notice of a bird disease", () => {
  it("pauses every feeder of the yard until resumed, and says since when and by whom", async () => {
    const server = await openTestServer();
    const { feeder: rowan } = await server.addFeeder();
    const { feeder: larch } = await server.addFeeder({ name: "Larch" });
    const yard = yardOf(await setNotice(server, inForce));
    expect(yard?.diseaseNotice).toEqual({ at: "2026-01-15T09:00:00.000Z", by: "Keeper" });
    for (const { id } of [rowan, larch])
      expect((await feederOf(server, id)).pause.order).toMatchObject({ id: "notice-0001", kind: "pause", until: null });
    server.clock.advance(minutes(5));
    const again = yardOf(await setNotice(server, { id: "notice-0003", inForce: true }));
    expect(again?.diseaseNotice?.at).toBe("2026-01-15T09:00:00.000Z");
  });

  it("refuses what would end a pause, of one feeder or of all, now or later, and takes another pause", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    await setNotice(server, inForce);
    const until = "2026-01-15T10:00:00Z";
    for (const path of [`feeders/${feeder.id}`, `yards/${server.yard}`])
      for (const body of [
        { id: "resume-0001", kind: "resume" },
        { id: "pause-0002", kind: "pause", until },
      ]) {
        const refused = await order(server, path, body);
        expect(refused.statusCode).toBe(409);
        expect(refused.json().detail).toContain("bird-disease notice is in force");
      }
    expect((await feederOf(server, feeder.id)).pause.order?.id).toBe("notice-0001");
    expect((await order(server, `feeders/${feeder.id}`, { id: "pause-0003", kind: "pause" })).statusCode).toBe(200);
  });

  it("pauses a feeder that is added while it is in force", async () => {
    const server = await openTestServer();
    await setNotice(server, inForce);
    const { feeder, key } = await server.addFeeder();
    expect(feeder.pause.order).toMatchObject({ kind: "pause", until: null });
    const answer = await server.report(key, { boot: "b-1", sentUptimeMs: 1_000, events: [] });
    expect((answer.body as { orders: { kind: string }[] }).orders.map(({ kind }) => kind)).toEqual(["pause"]);
  });

  it("reaches a feeder at once over its live link, and is confirmed as any pause", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder();
    const link = await openLink(await listenAddress(server), key);
    await setNotice(server, inForce);
    expect(await link.next()).toMatchObject({ orders: [{ id: "notice-0001", kind: "pause" }] });
    await server.report(key, sendReport(60_000, true, [carriedOut(1, 30_000, "notice-0001")]));
    expect(orderStatus(await feederOf(server, feeder.id))).toBe("confirmed");
  });

  it("resumes nothing when it is lifted, and lets a keeper resume then", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    await setNotice(server, inForce);
    expect(yardOf(await setNotice(server, lifted))?.diseaseNotice).toBeNull();
    expect((await feederOf(server, feeder.id)).pause.order).toMatchObject({ id: "notice-0001", kind: "pause" });
    expect((await order(server, `feeders/${feeder.id}`, { id: "resume-0001", kind: "resume" })).statusCode).toBe(200);
  });

  it("names a field that is wrong", async () => {
    const server = await openTestServer();
    const refused = await setNotice(server, { id: "notice-0001", inForce: "yes" });
    expect(refused.statusCode).toBe(400);
    expect(refused.json().errors[0].field).toBe("inForce");
  });
});
