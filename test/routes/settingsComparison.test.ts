import { describe, expect, it } from "vitest";
import type { SettingsComparisonView } from "../../server/contract/api.ts";
import { days, instant, instantOf } from "../../server/domain/instant.ts";
import type { ComparisonOutcome, ComparisonRequest, SettingsComparer } from "../../server/ports.ts";
import { liveMinutes } from "../support/feederDays.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const compare = (server: TestServer, feeder: string, payload: object, headers = server.keeper) =>
  requestAs(server, "POST", `/api/v1/feeders/${feeder}/settings/comparison`, headers, payload);

async function view(server: TestServer, feeder: string, payload: object): Promise<SettingsComparisonView> {
  const answer = await compare(server, feeder, payload);
  if (answer.statusCode !== 200) throw new Error(`expected a comparison, got ${answer.body}`);
  return answer.json();
}

/** A feeder that reports for some hours, is silent for two, and reports again. */
async function openWithSilence() {
  const server = await openTestServer();
  const { feeder } = await server.addFeeder({ reportEverySeconds: 600 });
  await liveMinutes(server, feeder.id, { count: 300 });
  await liveMinutes(server, feeder.id, { count: 120, silent: true });
  await liveMinutes(server, feeder.id, { count: 60 });
  return { server, feeder: feeder.id };
}

const slower = { settings: { reportEverySeconds: 3_600 } };

/** A comparer that answers at once. */
const answering = (outcome: ComparisonOutcome): SettingsComparer => ({ compare: async () => outcome });

describe("what a feeder's last days would have brought with other settings", () => {
  it("is counted for both, with what only one has", async () => {
    const { server, feeder } = await openWithSilence();
    const found = await view(server, feeder, slower);
    expect(found).toMatchObject({ present: { urgent: 1 }, proposed: { urgent: 0 }, begun: "firstLine" });
    expect(found.onlyPresent).toEqual([expect.objectContaining({ fault: "feederSilent", priority: "urgent" })]);
    expect(found.onlyProposed).toEqual([]);
    const silent = found.alarms.find(({ fault }) => fault === "feederSilent");
    expect(silent).toMatchObject({ title: "no reports", present: { urgent: 1 }, proposed: { firstAt: null } });
  });

  it("is for the present settings what really rang", async () => {
    const { server, feeder } = await openWithSilence();
    const changes = await server.store.records.alarmChanges(feeder, instant(0), server.clock.now());
    const [raised] = changes.filter(({ fault, to }) => fault === "feederSilent" && to === "unacknowledged");
    const { onlyPresent } = await view(server, feeder, slower);
    const apart = Math.abs(instantOf(onlyPresent[0]?.at ?? "") - Number(raised?.at));
    expect(apart).toBeLessThanOrEqual(10 * 60_000); // this server checked only once in ten minutes
  });

  it("changes nothing", async () => {
    const { server, feeder } = await openWithSilence();
    const before = await server.store.yards.feeder(feeder);
    await view(server, feeder, slower);
    expect(await server.store.yards.feeder(feeder)).toEqual(before);
  });

  it("counts only from when the readings are still stored, and goes on from the state of that moment", async () => {
    const { server, feeder } = await openWithSilence();
    await liveMinutes(server, feeder, { count: 5 * 1_440, every: 30 });
    await liveMinutes(server, feeder, { count: 480, silent: true });
    await liveMinutes(server, feeder, { count: 60 });
    const { packs } = server.store;
    const silences = ({ alarms }: SettingsComparisonView) =>
      alarms.find(({ fault }) => fault === "feederSilent")?.present;
    const whole = silences(await view(server, feeder, slower));
    expect(whole?.urgent).toBe(2);
    while (await packs.packNext(server.clock.now()));
    while (await packs.thinNext(instant(server.clock.now() - days(3))));
    const thinned = await view(server, feeder, slower);
    expect(thinned).toMatchObject({ begun: "storedState", isIncomplete: false });
    expect(thinned.from).toBe(thinned.readingsDroppedUntil);
    expect(thinned.replayedFrom).toBe(thinned.from);
    expect(silences(thinned)).toMatchObject({ urgent: 1, firstAt: whole?.lastAt });
  });

  it("is for keepers of its yard", async () => {
    const { server, feeder } = await openWithSilence();
    expect((await compare(server, feeder, slower, await joinByInvite(server, "Bo", "helper"))).statusCode).toBe(403);
    expect((await compare(server, "none", slower)).statusCode).toBe(404);
    expect((await compare(server, feeder, slower, { "x-pieward": "1" })).statusCode).toBe(401);
  });

  it.each([
    [{ settings: { portionGrams: -1 } }, "settings.portionGrams"],
    [{ settings: { colour: "blue" } }, "settings.colour"],
    [{ settings: { foodKind: "other" } }, "settings.food"],
    [{ settings: {}, days: 93 }, "days"],
    [{ settings: {}, days: 0 }, "days"],
    [{}, "settings"],
  ])("names the field that is wrong in %j", async (payload, field) => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const answer = await compare(server, feeder.id, payload);
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors.map((error: { field: string }) => error.field)).toEqual([field]);
  });

  it.each([
    ["busy", 429, /Another comparison is running/],
    ["tookTooLong", 422, /fewer days/],
    ["tookTooMuchMemory", 422, /fewer days/],
    ["cancelled", 503, /cancelled/],
  ] as const)("says in words why there is none: %s", async (kind, status, text) => {
    const server = await openTestServer({ settingsComparer: answering({ kind }) });
    const { feeder } = await server.addFeeder();
    const answer = await compare(server, feeder.id, slower);
    expect(answer.statusCode).toBe(status);
    expect(answer.json().detail).toMatch(text);
    expect(answer.headers["retry-after"]).toBe(kind === "busy" ? "20" : undefined);
  });

  it("takes thirty days unless told otherwise, and of the settings only what differs", async () => {
    const requests: ComparisonRequest[] = [];
    const settingsComparer: SettingsComparer = {
      async compare(request) {
        requests.push(request);
        return { kind: "busy" };
      },
    };
    const server = await openTestServer({ settingsComparer });
    const { feeder } = await server.addFeeder({ warnAheadDays: 2, reportEverySeconds: 60 });
    await compare(server, feeder.id, { settings: { warnAheadDays: 5, reportEverySeconds: 60 } });
    await compare(server, feeder.id, { settings: {}, days: 92 });
    expect(requests.map(({ from, to }) => to - from)).toEqual([days(30), days(92)]);
    expect(requests[0]?.overrides).toEqual([{ warnAheadDays: 2 }, { warnAheadDays: 5 }]);
    expect(requests[1]?.overrides).toEqual([{}, {}]);
  });

  it("ends when its client leaves", async () => {
    let reached: (signal: AbortSignal) => void = () => undefined;
    const begun = new Promise<AbortSignal>((resolve) => {
      reached = resolve;
    });
    const settingsComparer: SettingsComparer = {
      compare: (_, signal) =>
        new Promise((resolve) => {
          reached(signal);
          signal.addEventListener("abort", () => resolve({ kind: "cancelled" }));
        }),
    };
    const server = await openTestServer({ settingsComparer });
    const { feeder } = await server.addFeeder();
    const address = await server.app.listen({ port: 0, host: "127.0.0.1" });
    const leaving = new AbortController();
    const answer = fetch(`${address}/api/v1/feeders/${feeder.id}/settings/comparison`, {
      method: "POST",
      headers: { ...server.keeper, "content-type": "application/json" },
      body: JSON.stringify(slower),
      signal: leaving.signal,
    }).catch((error: Error) => error.name);
    const signal = await begun;
    expect(signal.aborted).toBe(false);
    leaving.abort();
    expect(await answer).toBe("AbortError");
    await new Promise((resolve) => (signal.aborted ? resolve(null) : signal.addEventListener("abort", resolve)));
  });
});
