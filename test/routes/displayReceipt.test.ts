import { describe, expect, it } from "vitest";
import type { PhonesView } from "../../server/contract/api.ts";
import { days, hours, isoOf, minutes, seconds } from "../../server/domain/instant.ts";
import { addPhone, deliverAll, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const phones = async (house: TestServer): Promise<PhonesView["phones"]> =>
  ((await requestAs(house, "GET", "/api/v1/phones", house.keeper)).json() as PhonesView).phones;
const shown = (house: TestServer, item: string | undefined, body: object = {}) =>
  requestAs(house, "POST", `/api/v1/notices/${item}/shown`, {}, body);
const sentItem = (house: TestServer) => house.push.sent.at(-1)?.item;

/** A house whose phone was sent a test just now. */
async function tested() {
  const house = await openTestServer();
  await addPhone(house, house.keeper, "Pocket");
  await requestAs(house, "POST", "/api/v1/phones/test", house.keeper, {});
  return { house, item: sentItem(house) };
}

describe("a phone that shows a notice", () => {
  it("says so without a session, by the id that it was handed, and is proved from then on", async () => {
    const { house, item } = await tested();
    expect((await phones(house))[0]).toMatchObject({ lastDisplayedAt: null, reachability: { kind: "unproved" } });
    house.clock.advance(minutes(2));
    expect((await shown(house, item, { at: isoOf((house.clock.now() - 60_000) as never) })).statusCode).toBe(204);
    expect((await phones(house))[0]).toMatchObject({
      lastDisplayedAt: "2026-01-15T09:01:00.000Z",
      reachability: { kind: "proved", text: "Showed a notification 1 minute ago." },
    });
    house.clock.advance(days(4));
    expect((await phones(house))[0]?.reachability.kind).toBe("unproved");
  });

  it("may say it again, which changes nothing", async () => {
    const { house, item } = await tested();
    await shown(house, item);
    house.clock.advance(hours(1));
    expect((await shown(house, item)).statusCode).toBe(204);
    expect((await phones(house))[0]?.lastDisplayedAt).toBe("2026-01-15T09:00:00.000Z");
  });

  it("is not believed about a moment that lies in the future, or before the notice was written", async () => {
    for (const at of ["2031-01-01T00:00:00Z", "2001-01-01T00:00:00Z"]) {
      const { house, item } = await tested();
      house.clock.advance(seconds(30));
      await shown(house, item, { at });
      const expected = at < "2026" ? "2026-01-15T09:00:00.000Z" : "2026-01-15T09:00:30.000Z";
      expect((await phones(house))[0]?.lastDisplayedAt).toBe(expected);
    }
  });

  it("is told to nobody who guesses, and not without end", async () => {
    const { house, item } = await tested();
    expect((await shown(house, "0".repeat(32))).statusCode).toBe(404);
    expect((await shown(house, item, { at: "yesterday" })).json().errors[0].field).toBe("at");
    const statuses = [];
    for (let count = 0; count < 120; count += 1) statuses.push((await shown(house, "guess")).statusCode);
    expect([...new Set(statuses)]).toEqual([404, 429]);
  });

  it("spares itself the second attempt where the first seemed to fail and yet arrived", async () => {
    const house = await openTestServer();
    await addPhone(house, house.keeper, "Pocket");
    const { key } = await house.addFeeder();
    house.push.answer = { kind: "tryLater", notBefore: null, text: "no answer within 10 s", mayHaveArrived: true };
    const trouble = { seq: 1, uptimeMs: 5, kind: "trouble", words: "the lid is loose" };
    await house.report(key, { boot: "b-1", sentUptimeMs: 5, events: [trouble] });
    expect(await deliverAll(house)).toMatchObject({ waiting: 1 });
    await shown(house, sentItem(house));
    house.push.answer = { kind: "accepted" };
    house.clock.advance(hours(1));
    expect(await deliverAll(house)).toMatchObject({ delivered: 0, waiting: 0, nextDueAt: null });
    expect(house.push.sent).toHaveLength(1);
  });
});
