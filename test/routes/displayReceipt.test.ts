import { describe, expect, it } from "vitest";
import type { PhonesView } from "../../server/contract/api.ts";
import { days, hours, isoOf, minutes, seconds } from "../../server/domain/instant.ts";
import { addPhone, deliverAll, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const phones = async (server: TestServer): Promise<PhonesView["phones"]> =>
  ((await requestAs(server, "GET", "/api/v1/phones", server.keeper)).json() as PhonesView).phones;
const shown = (server: TestServer, item: string | undefined, body: object = {}) =>
  requestAs(server, "POST", `/api/v1/notifications/${item}/display-receipt`, {}, body);
const sentItem = (server: TestServer) => server.push.sent.at(-1)?.item;

/** A server whose phone was sent a test just now. */
async function openWithTestPush() {
  const server = await openTestServer();
  await addPhone(server, server.keeper, "Pocket");
  await requestAs(server, "POST", "/api/v1/phones/test", server.keeper, {});
  return { server, item: sentItem(server) };
}

describe("a phone that shows a notification", () => {
  it("confirms it without a session, by the id from the push, and is reachable from then on", async () => {
    const { server, item } = await openWithTestPush();
    expect((await phones(server))[0]).toMatchObject({ lastDisplayedAt: null, reachability: { kind: "unconfirmed" } });
    server.clock.advance(minutes(2));
    expect((await shown(server, item, { at: isoOf((server.clock.now() - 60_000) as never) })).statusCode).toBe(204);
    expect((await phones(server))[0]).toMatchObject({
      lastDisplayedAt: "2026-01-15T09:01:00.000Z",
      reachability: { kind: "confirmed", text: "Showed a notification 1 minute ago." },
    });
    server.clock.advance(days(4));
    expect((await phones(server))[0]?.reachability.kind).toBe("unconfirmed");
  });

  it("may confirm it again, which changes nothing", async () => {
    const { server, item } = await openWithTestPush();
    await shown(server, item);
    server.clock.advance(hours(1));
    expect((await shown(server, item)).statusCode).toBe(204);
    expect((await phones(server))[0]?.lastDisplayedAt).toBe("2026-01-15T09:00:00.000Z");
  });

  it("isn't believed about a time in the future, or before the notification was made", async () => {
    for (const at of ["2031-01-01T00:00:00Z", "2001-01-01T00:00:00Z"]) {
      const { server, item } = await openWithTestPush();
      server.clock.advance(seconds(30));
      await shown(server, item, { at });
      const expected = at < "2026" ? "2026-01-15T09:00:00.000Z" : "2026-01-15T09:00:30.000Z";
      expect((await phones(server))[0]?.lastDisplayedAt).toBe(expected);
    }
  });

  it("refuses guessed ids, and limits the requests", async () => {
    const { server, item } = await openWithTestPush();
    expect((await shown(server, "0".repeat(32))).statusCode).toBe(404);
    expect((await shown(server, item, { at: "yesterday" })).json().errors[0].field).toBe("at");
    const statuses = [];
    for (let count = 0; count < 120; count += 1) statuses.push((await shown(server, "guess")).statusCode);
    expect([...new Set(statuses)]).toEqual([404, 429]);
  });

  it("stops the second attempt where the first seemed to fail and still arrived", async () => {
    const server = await openTestServer();
    await addPhone(server, server.keeper, "Pocket");
    const { key } = await server.addFeeder();
    server.push.answer = { kind: "tryLater", notBefore: null, text: "no answer within 10 s", mayHaveArrived: true };
    const trouble = { seq: 1, uptimeMs: 5, kind: "trouble", words: "the lid is loose" };
    await server.report(key, { boot: "b-1", sentUptimeMs: 5, events: [trouble] });
    expect(await deliverAll(server)).toMatchObject({ waiting: 1 });
    await shown(server, sentItem(server));
    server.push.answer = { kind: "accepted" };
    server.clock.advance(hours(1));
    expect(await deliverAll(server)).toMatchObject({ delivered: 0, waiting: 0, nextDueAt: null });
    expect(server.push.sent).toHaveLength(1);
  });
});
