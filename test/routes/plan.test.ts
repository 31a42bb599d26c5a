import { describe, expect, it } from "vitest";
import type { PlanView } from "../../server/contract/planView.ts";
import type { Answer } from "../../server/contract/report.ts";
import { days, hours, instantOf, minutes } from "../../server/domain/instant.ts";
import { addLocalDays, localDateOf } from "../../server/domain/localTime.ts";
import { texts } from "../../server/text/index.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };

async function openWithFeeder({ withPlace = true } = {}) {
  const server = await openTestServer();
  if (withPlace) {
    const answer = await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { place });
    expect(answer.statusCode).toBe(200);
  }
  const { feeder, key } = await server.addFeeder({ portionGrams: 2 });
  return { server, feeder: feeder.id, key };
}

async function ask<Body>(server: TestServer, method: "GET" | "POST" | "PATCH", path: string, body?: object) {
  const answer = await requestAs(server, method, path, server.keeper, body);
  if (answer.statusCode !== 200) throw new Error(`expected 200, got ${answer.body}`);
  return answer.json() as Body;
}

let uptime = 0;
async function report(server: TestServer, key: string, planVersion: number | null = null): Promise<Answer> {
  uptime += 60_000;
  server.clock.advance(minutes(1));
  const answer = await server.report(key, { boot: "b-1", sentUptimeMs: uptime, readings: { planVersion } });
  expect(answer.status).toBe(200);
  return answer.body;
}

const enter = (server: TestServer, feeder: string, changes: object = {}) =>
  ask(server, "PATCH", `/api/v1/feeders/${feeder}`, { feeding: { ...feedingExample, ...changes } });
const plan = (server: TestServer, feeder: string) => ask<PlanView>(server, "GET", `/api/v1/feeders/${feeder}/plan`);

describe("a feeding plan", () => {
  it("goes out with each answer until the feeder says that it follows it, and not again", async () => {
    const { server, feeder, key } = await openWithFeeder();
    expect((await report(server, key)).plan).toBeUndefined();
    await enter(server, feeder);
    expect(await plan(server, feeder)).toMatchObject({ version: 1, confirmedVersion: null, problem: null });
    const { plan: sent } = await report(server, key);
    expect(sent).toMatchObject({ version: 1, portionsEach: 1, frostBelowCelsius: -10, paysDepositsOverRation: true });
    expect(sent?.days).toHaveLength(14);
    expect(sent?.press).toEqual({ ratios: [1], betweenSeconds: 2 });
    expect((await report(server, key)).plan).toEqual(sent); // its answer may have been lost
    expect((await report(server, key, 1)).plan).toBeUndefined();
    expect(await plan(server, feeder)).toMatchObject({ version: 1, confirmedVersion: 1 });
  });

  it("is taken back where the keeper removes it, until the feeder says that it follows none", async () => {
    const { server, feeder, key } = await openWithFeeder();
    await enter(server, feeder);
    await report(server, key);
    await report(server, key, 1);
    await ask(server, "PATCH", `/api/v1/feeders/${feeder}`, { feeding: null });
    expect(await plan(server, feeder)).toMatchObject({ version: null, confirmedVersion: 1, days: [] });
    expect((await report(server, key, 1)).plan).toBeNull();
    expect((await report(server, key, 1)).plan).toBeNull(); // its answer may have been lost
    expect(await report(server, key)).not.toHaveProperty("plan");
    expect(await plan(server, feeder)).toMatchObject({ version: null, confirmedVersion: null });
    await enter(server, feeder); // a new one never has an old one's number
    expect((await report(server, key)).plan).toMatchObject({ version: 2 });
  });

  it("that is removed before the feeder took it is no alarm", async () => {
    const { server, feeder, key } = await openWithFeeder();
    await enter(server, feeder);
    for (let minute = 0; minute < 30; minute += 1) await report(server, key);
    const alarms = async () =>
      (await server.runPeriodicCheck(feeder)).alarms.filter(({ state }) => state === "unacknowledged");
    expect((await alarms()).map(({ fault }) => fault)).toEqual(["planNotTaken"]);
    await ask(server, "PATCH", `/api/v1/feeders/${feeder}`, { feeding: null });
    await report(server, key);
    expect(await alarms()).toEqual([]);
  });

  it("has for the feeder the very times that the keeper sees", async () => {
    const { server, feeder, key } = await openWithFeeder();
    await enter(server, feeder);
    const { plan: sent } = await report(server, key);
    const { days: seen } = await plan(server, feeder);
    const [today] = sent?.days ?? [];
    if (today === undefined) throw new Error("expected a day");
    expect(today.free.length).toBeGreaterThan(0);
    expect(today.free.map((after) => 1_000 * (today.from + after))).toEqual(seen[0]?.free.map(instantOf));
    expect(today.portionsMax).toBe(seen[0]?.portionsMax);
  });

  it("is shown with what the season needs, hard frost before all else", async () => {
    const { server, feeder, key } = await openWithFeeder();
    const seasonText = async () => (await plan(server, feeder)).seasonText;
    await report(server, key);
    const before = await seasonText();
    expect(before).toBe(texts.season.reminders.salt); // December
    server.clock.advance(minutes(1));
    await server.report(key, { boot: "b-1", sentUptimeMs: 3_600_000, readings: { airCelsius: -12 } });
    expect(await seasonText()).toBe(texts.season.reminders.hardFrost);
    server.clock.advance(hours(4)); // what was felt then says nothing of now
    expect(await seasonText()).toBe(before);
  });

  it("is previewed with other rules, and changes by that in nothing", async () => {
    const { server, feeder } = await openWithFeeder();
    await enter(server, feeder);
    const before = await server.store.yards.feeder(feeder);
    const path = `/api/v1/feeders/${feeder}/plan/preview`;
    const preview = await ask<PlanView>(server, "POST", path, { ...feedingExample, rationGrams: 8 });
    expect(preview.version).toBe(2);
    expect(preview.days[0]?.portionsMax).toBe(4);
    expect(preview.days[0]?.stretchedMinutes).toBeGreaterThan(50);
    expect(await server.store.yards.feeder(feeder)).toEqual(before);
    await enter(server, feeder, { rationGrams: 8 });
    expect((await plan(server, feeder)).days).toEqual(preview.days);
  });

  it("is made anew with the days, so that the feeder has a week at any time", async () => {
    const { server, feeder, key } = await openWithFeeder();
    await enter(server, feeder);
    let followed: number | null = null;
    for (let day = 0; day < 30; day += 1) {
      const { plan: sent } = await report(server, key, followed);
      if (sent) followed = sent.version;
      const last = (await plan(server, feeder)).days.at(-1);
      expect(Date.parse(`${last?.date}T00:00:00Z`) - server.clock.now()).toBeGreaterThan(days(7));
      server.clock.advance(days(1));
    }
    expect(followed).toBeGreaterThan(5);
    expect(followed).toBeLessThan(10);
  });

  it("stays as it is, seed and all, where other settings change", async () => {
    const { server, feeder } = await openWithFeeder();
    const { seed: _seed, ...unseeded } = feedingExample;
    await ask(server, "PATCH", `/api/v1/feeders/${feeder}`, { feeding: unseeded });
    const first = await plan(server, feeder);
    await ask(server, "PATCH", `/api/v1/feeders/${feeder}`, { warnAheadDays: 3 });
    expect(await plan(server, feeder)).toEqual(first);
    await ask(server, "PATCH", `/api/v1/feeders/${feeder}`, { feeding: unseeded });
    expect((await plan(server, feeder)).days).toEqual(first.days);
  });

  it("can't be made where nobody knows where the feeder stands, and says so", async () => {
    const { server, feeder, key } = await openWithFeeder({ withPlace: false });
    await enter(server, feeder);
    expect(await plan(server, feeder)).toMatchObject({
      version: null,
      days: [],
      problem: expect.stringContaining("place"),
    });
    expect((await report(server, key)).plan).toBeUndefined();
    await ask(server, "PATCH", `/api/v1/yards/${server.yard}`, { place });
    expect((await report(server, key)).plan?.version).toBe(1);
  });

  it.each([
    [
      "feeding.free.schedule.meanMinutes",
      { free: { ...feedingExample.free, schedule: { kind: "variableTime", meanMinutes: 5 } } },
    ],
    [
      "feeding.free.schedule.byMinutes",
      { free: { ...feedingExample.free, schedule: { kind: "jitter", meanMinutes: 20, byMinutes: 18 } } },
    ],
    ["feeding.rationGrams", { rationGrams: 0 }],
    ["feeding.press.ratio.of", { press: { ratio: { kind: "fixed", of: 0 }, atLeastSecondsBetween: 0 } }],
    ["feeding.quietTimes.0.to", { quietTimes: [{ from: "12:00", to: "12:00" }] }],
    ["feeding.quietTimes.0.from", { quietTimes: [{ from: "25:00", to: "12:00" }] }],
  ])("with a wrong %s is refused by that name, and nothing is stored", async (field, changes) => {
    const { server, feeder } = await openWithFeeder();
    const body = { feeding: { ...feedingExample, ...changes } };
    const answer = await requestAs(server, "PATCH", `/api/v1/feeders/${feeder}`, server.keeper, body);
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors.map((one: { field: string }) => one.field)).toContain(field);
    expect((await plan(server, feeder)).version).toBeNull();
  });
});

describe("the ration for the birds that come", () => {
  const ration = (server: TestServer, feeder: string, body: object) =>
    requestAs(server, "POST", `/api/v1/feeders/${feeder}/plan/ration`, server.keeper, body);

  it("is a share of what they burn (check value ration-cap: a fifth for a bird of 220 g is 3.4 g of peanuts)", async () => {
    const { server, feeder } = await openWithFeeder();
    const birds = [{ species: "magpie", count: 10 }];
    const answer = await ration(server, feeder, { birds, food: "peanutHalves", share: 0.2 });
    expect(answer.json()).toEqual({
      grams: 34,
      text: expect.stringContaining("these 10 birds: 20 % of what they burn"),
    });
  });

  it.each([
    ["energyKilojoulesPerGram", { food: "other" }, "see its label"],
    ["share", { share: 0.5 }, "at most 0.2"],
    ["birds", { birds: [] }, "at least one"],
    ["birds.0.species", { birds: [{ species: "ostrich", count: 1 }] }, ""],
  ])("names the field %s", async (field, wrong, problem) => {
    const { server, feeder } = await openWithFeeder();
    const usual = { birds: [{ species: "rook", count: 1 }], food: "maize" };
    const answer = await ration(server, feeder, { ...usual, ...wrong });
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors[0]).toMatchObject({ field, problem: expect.stringContaining(problem) });
  });

  it("tapers off day by day, ends in a plan that gives nothing, and can be withdrawn", async () => {
    const { server, feeder, key } = await openWithFeeder();
    const today = localDateOf(server.clock.now(), "Europe/Stockholm");
    const taper = { from: addLocalDays(today, 1), days: 21 };
    const preview = await ask<PlanView>(server, "POST", `/api/v1/feeders/${feeder}/plan/preview`, {
      ...feedingExample,
      taper,
    });
    const shares = preview.days.map(({ share }) => share);
    expect(shares).toHaveLength(23); // also those that no feeder has been told yet
    expect(shares.every((share, index) => index === 0 || share < (shares[index - 1] as number))).toBe(true);
    expect([shares[0], shares.at(-1)]).toEqual([1, 0]);

    await enter(server, feeder, { taper });
    const first = await report(server, key);
    expect(first.plan?.days).toHaveLength(14);
    expect(first.plan?.days.map(({ portionsMax }) => portionsMax).at(-1)).toBe(12); // of 30 after 13 of 22 steps
    expect(first.plan?.deposit).not.toBeNull();
    for (let day = 0; day < 22; day += 1) {
      server.clock.advance(days(1));
      await server.runPeriodicCheck(feeder);
    }
    const last = await report(server, key, first.plan?.version ?? null);
    expect(last.plan).toMatchObject({ press: null, deposit: null });
    expect(last.plan?.days.every(({ free, portionsMax }) => free.length === 0 && portionsMax === 0)).toBe(true);
    expect(last.plan?.days.every(({ frost }) => frost.length === 10)).toBe(true); // hard frost asks for no reason

    await enter(server, feeder, {});
    const usual = await report(server, key, last.plan?.version ?? null);
    expect(usual.plan?.days.every(({ free, portionsMax }) => free.length > 0 && portionsMax === 30)).toBe(true);
    expect(usual.plan?.deposit).not.toBeNull();
  });

  it.each([
    [{ from: "2027-02-30", days: 14 }, "feeding.taper.from"],
    [{ from: "2027-02-28", days: 6 }, "feeding.taper.days"],
    [{ from: "2027-02-28", days: 29 }, "feeding.taper.days"],
    [{ from: "2027-02-28", days: 7.5 }, "feeding.taper.days"],
  ])("refuses to taper by %o, and names the field", async (taper, field) => {
    const { server, feeder } = await openWithFeeder();
    const answer = await requestAs(server, "PATCH", `/api/v1/feeders/${feeder}`, server.keeper, {
      feeding: { ...feedingExample, taper },
    });
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors).toMatchObject([{ field }]);
  });
});
