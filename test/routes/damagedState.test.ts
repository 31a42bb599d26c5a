import { inflateSync } from "node:zlib";
import { describe, expect, it } from "vitest";
import { minutes } from "../../server/domain/instant.ts";
import { sendDueDigests } from "../../server/flows/digest.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { repairDamaged } from "../../server/flows/repair.ts";
import { plantState } from "../support/plantedState.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** How a row can be damaged: each is put in the place of a sound state. */
const damages: [string, (state: string) => string, RegExp][] = [
  ["no JSON", (state) => state.slice(0, state.length / 2), /JSON/],
  ["empty", () => "", /JSON/],
  ["null", () => "null", /version/],
  ["of an unknown version", (state) => state.replace('"version":1', '"version":77'), /version/],
  ["without its hopper", damageBy((state) => delete state.hopper), /state\.hopper is missing/],
  ["without a number", damageBy((state) => delete state.hopper.estimate.level), /level is missing/],
  ["with no number in its place", damageBy((state) => (state.hopper.estimate.portion = Number.NaN)), /portion is null/],
  ["with a list cut short", damageBy((state) => state.hopper.appetite.eatenByPart.pop()), /23 entries, expected 24/],
];
// biome-ignore lint/suspicious/noExplicitAny: it is damaged on purpose
function damageBy(damage: (state: any) => unknown) {
  return (text: string) => {
    const state = JSON.parse(text);
    damage(state);
    return JSON.stringify(state);
  };
}

const log = () => {
  const lines: string[] = [];
  return {
    lines,
    warn: (message: string) => lines.push(message),
    error: (_: object, message: string) => lines.push(message),
  };
};
const report = (seq: number) => ({
  boot: "b-1",
  sentUptimeMs: seq * 60_000,
  readings: { hopperGrams: 400, airCelsius: -3 },
  events: [{ seq, uptimeMs: seq * 60_000 - 1_000, kind: "portion", cause: "press", motorMs: 900 }],
});
const home = (server: TestServer) => server.app.inject({ url: "/api/v1/home", headers: server.keeper });

/** Rowan, whose state is damaged, and Larch beside it, after ten minutes of reports. */
async function withDamage(damage: (state: string) => string) {
  const server = await openTestServer();
  const rowan = await server.addFeeder({ name: "Rowan", hopperCapacityGrams: 1_200 });
  const larch = await server.addFeeder({ name: "Larch" });
  for (let seq = 1; seq <= 10; seq += 1) {
    server.clock.advance(minutes(1));
    for (const { key } of [rowan, larch]) expect((await server.report(key, report(seq))).status).toBe(200);
  }
  await runPeriodicChecks(server.ports);
  const sound = (await server.store.yards.feeder(rowan.feeder.id))?.state;
  const damaged = plantState(server.connections, rowan.feeder.id, damage);
  return { server, rowan, larch, sound, damaged };
}

describe.each(damages)("a stored state that is %s", (_, damage, problem) => {
  it("is reported in a sentence, stops no other feeder, and is rebuilt from the record", async () => {
    const { server, rowan, larch, sound, damaged } = await withDamage(damage);
    // Before it is rebuilt, periodic checks, reports, digests and the home page of the other feeder go on.
    server.clock.advance(minutes(1));
    await expect(runPeriodicChecks(server.ports)).rejects.toThrow("1 feeders could not be checked");
    expect((await server.report(larch.key, report(11))).status).toBe(200);
    await sendDueDigests(server.ports);
    const [damagedFeeder] = await server.store.yards.damagedFeeders();
    expect(damagedFeeder).toMatchObject({
      id: rowan.feeder.id,
      name: "Rowan",
      problem: expect.stringMatching(problem),
    });
    const refused = await server.report(rowan.key, report(11));
    expect([refused.status, refused.headers["retry-after"]]).toEqual([503, "20"]);
    expect(refused.body).toMatchObject({ detail: expect.stringContaining("damaged and is being restored") });

    // That report had it rebuilt: nothing is missing, and the feeder sends again what it still has.
    const written = log();
    await repairDamaged(server.ports, written);
    expect(await server.store.yards.damagedFeeders()).toEqual([]);
    const row = await server.store.yards.feeder(rowan.feeder.id);
    const { nextCheckAt, ...same } = { nextCheckAt: 0, ...row?.state };
    expect({ ...same, hopperForecast: null }).toEqual({ ...sound, hopperForecast: null });
    expect((await server.report(rowan.key, report(11))).body).toMatchObject({ storedThrough: 11, duplicates: 0 });
    const storedDamage = server.connections.direct
      .prepare(`SELECT "damagedState" FROM "Feeder" WHERE "id" = ?`)
      .pluck();
    expect(inflateSync(storedDamage.get(rowan.feeder.id) as Buffer).toString()).toBe(damaged);
    expect((await server.runPeriodicCheck(rowan.feeder.id)).summary).toContain(
      "was damaged and was restored from its log",
    );
    expect((await server.runPeriodicCheck(larch.feeder.id)).summary).not.toContain("damaged");
    await runPeriodicChecks(server.ports);
  });
});

describe("a damaged feeder", () => {
  it("is named on the home page, which shows all others, and the request for it starts the rebuilding", async () => {
    const { server, larch } = await withDamage(() => "{");
    const seen = await home(server);
    expect(seen.statusCode).toBe(200);
    const [yard] = seen.json().yards;
    expect(yard.feeders.map(({ id }: { id: string }) => id)).toEqual([larch.feeder.id]);
    expect(yard.damagedFeeders).toMatchObject([
      { name: "Rowan", text: expect.stringContaining("is being restored from its log") },
    ]);
    await repairDamaged(server.ports, log());
    expect((await home(server)).json().yards[0]).toMatchObject({ damagedFeeders: [], feeders: [{}, {}] });
  });

  it("is rebuilt at the start, in a sentence of the log", async () => {
    const { server } = await withDamage(() => "{");
    const again = await server.restart();
    const written = log();
    await repairDamaged(again.ports, written);
    expect(written.lines).toEqual([
      expect.stringMatching(/^The stored state of feeder Rowan .* It is rebuilt from its log/),
    ]);
    expect((await home(again)).json().yards[0].damagedFeeders).toEqual([]);
  });

  it("makes an order for the whole yard fail as a whole, rather than leave out one feeder silently", async () => {
    const { server } = await withDamage(() => "{");
    const payload = { id: "order-0001", kind: "pause", until: null };
    const url = `/api/v1/yards/${server.yard}/orders`;
    const answer = await server.app.inject({ method: "POST", url, headers: server.keeper, payload });
    expect(answer.statusCode).toBe(503);
  });

  it("is rebuilt though lines of its record are damaged too, and the log has their number", async () => {
    const { server, rowan } = await withDamage(() => "{");
    server.connections.direct
      .prepare(`UPDATE "LogLine" SET "entry" = '{"by":"Keeper","settings":{"zone":7}}' WHERE "kind" = 1`)
      .run();
    const written = log();
    await repairDamaged(server.ports, written);
    expect(written.lines.join()).toContain("1 lines of the record could not be read");
    expect((await server.report(rowan.key, report(11))).body).toMatchObject({ storedThrough: 11, duplicates: 0 });
  });
});
