import { describe, expect, it } from "vitest";
import type { FeederView } from "../../server/contract/api.ts";
import { days, isoOf, minutes } from "../../server/domain/instant.ts";
import { requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** A feeder that has reported a trouble, which is an alarm at once. */
async function inTrouble() {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder();
  const trouble = { seq: 1, uptimeMs: 1, kind: "trouble", words: "the lid is loose" };
  await server.report(key, { boot: "b-1", sentUptimeMs: 5, events: [trouble] });
  const at = (what: string) => `/api/v1/feeders/${feeder.id}/alarms/troubleReported/${what}`;
  const answer = async (what: string, body: object): Promise<FeederView> => {
    const answer = await requestAs(server, "POST", at(what), server.keeper, body);
    if (answer.statusCode !== 200) throw new Error(`expected 200, got ${answer.body}`);
    return answer.json();
  };
  return { server, feeder, answer };
}
const phaseOf = (view: FeederView) => view.alarms.find(({ fault }) => fault === "troubleReported")?.state;
const changes = async (server: TestServer, feeder: string) =>
  (await server.store.records.alarmChanges(feeder, 0 as never, (server.clock.now() + 1_000_000) as never)).length;

describe("a response to an alarm with the client's own id", () => {
  it("is done once, however often it is sent, and is answered with the present state", async () => {
    const { server, feeder, answer } = await inTrouble();
    const until = isoOf((server.clock.now() + days(1)) as never);
    const once = await answer("shelve", { id: "shelve-01", until });
    expect(phaseOf(once)).toBe("shelved");
    const before = [await changes(server, feeder.id), once.revision];
    server.clock.advance(minutes(1));
    const twice = await answer("shelve", { id: "shelve-01", until });
    expect(twice.alarms).toEqual(once.alarms);
    expect([await changes(server, feeder.id), twice.revision]).toEqual(before);
  });

  it("from a phone that was offline doesn't undo what was done since", async () => {
    const { server, answer } = await inTrouble();
    const until = isoOf((server.clock.now() + days(1)) as never);
    await answer("shelve", { id: "shelve-01", until });
    await answer("out-of-service", { id: "out-0001", reason: "the lid is at the smith's" });
    expect(phaseOf(await answer("shelve", { id: "shelve-01", until }))).toBe("outOfService");
    await answer("return-to-service", { id: "back-0001" });
    expect(phaseOf(await answer("out-of-service", { id: "out-0001", reason: "again" }))).not.toBe("outOfService");
  });

  it("is another one with another id, or without any", async () => {
    const { server, feeder, answer } = await inTrouble();
    await answer("acknowledge", { id: "seen-0001" });
    const before = await changes(server, feeder.id);
    const later = isoOf((server.clock.now() + days(2)) as never);
    expect(phaseOf(await answer("shelve", { id: "seen-0002", until: later }))).toBe("shelved");
    expect(await changes(server, feeder.id)).toBeGreaterThan(before);
    expect(phaseOf(await answer("acknowledge", {}))).toBeDefined();
  });

  it("with an invalid id is refused by field", async () => {
    const { server, feeder } = await inTrouble();
    const url = `/api/v1/feeders/${feeder.id}/alarms/troubleReported/acknowledge`;
    expect((await requestAs(server, "POST", url, server.keeper, { id: "1" })).json().errors[0].field).toBe("id");
  });
});
