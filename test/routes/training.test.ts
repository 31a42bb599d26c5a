import { describe, expect, it } from "vitest";
import type { TrainingView } from "../../server/contract/trainingView.ts";
import { hours, instantOf, isoOf } from "../../server/domain/instant.ts";
import { stillIdOf, stillsOfEvents } from "../../server/flows/stillsOfEvents.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { requestAs } from "../support/people.ts";
import { jpegPicture } from "../support/pictures.ts";
import { programmeChangeExample } from "../support/programmeChangeExample.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };

async function openYard() {
  const server = await openTestServer();
  await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, {
    place,
    zone: "Europe/Stockholm",
  });
  const { feeder, key } = await server.addFeeder({ portionGrams: 2 });
  return { server, feeder: feeder.id, key };
}

const read = async (server: TestServer): Promise<TrainingView> =>
  (await requestAs(server, "GET", `/api/v1/yards/${server.yard}/training`, server.keeper)).json();

async function change(server: TestServer, body: object): Promise<TrainingView> {
  const url = `/api/v1/yards/${server.yard}/training/changes`;
  const answer = await requestAs(server, "POST", url, server.keeper, body);
  if (answer.statusCode !== 200) throw new Error(answer.body);
  return answer.json();
}

const start = (stage: string, more: object = {}) => ({
  ...{ id: `start-${stage}`, reason: "next step", content: { kind: "stageStarted", stage, changesPlans: true } },
  ...more,
});

const feedingOf = async (server: TestServer, feeder: string) =>
  (await requestAs(server, "GET", `/api/v1/feeders/${feeder}`, server.keeper)).json().settings.feeding;

/** The server is at 10:00 local time when it opens, and a day passes with each. */
class Birds {
  #boot = 0;
  readonly #server: TestServer;
  readonly #key: string;
  constructor(server: TestServer, key: string) {
    this.#server = server;
    this.#key = key;
  }

  /** Twelve bouts of visits from eight o'clock on, a press in so many of them, and so many presses unpaid. */
  async day({ withPress, unpaid = 0 }: { readonly withPress: number; readonly unpaid?: number }): Promise<void> {
    this.#boot += 1;
    this.#server.clock.advance(hours(24));
    const events: object[] = [];
    for (let bout = 0; bout < 12; bout += 1) {
      const uptimeMs = bout * 600_000;
      events.push({ seq: events.length + 1, uptimeMs, kind: "visit" });
      if (bout >= withPress) continue;
      events.push({ seq: events.length + 1, uptimeMs: uptimeMs + 5_000, kind: "press" });
      if (bout < unpaid) continue;
      const portion = { cause: "press", paysFor: events.length, motorMs: 900, chuteCount: 3 };
      events.push({ seq: events.length + 1, uptimeMs: uptimeMs + 6_200, kind: "portion", ...portion });
    }
    const answer = await this.#server.report(this.#key, { boot: `b-${this.#boot}`, sentUptimeMs: 7_200_000, events });
    expect(answer.status).toBe(200);
  }
}

describe("a yard's training record", () => {
  it("offers ready stages, and no advice before one was started", async () => {
    const { server } = await openYard();
    const view = await read(server);
    expect(view.stages.map(({ id }) => id)).toEqual(["comeForFood", "pressForFood", "nudgeCap", "dropCap", "fetchCap"]);
    expect(view).toMatchObject({ advice: null, judgement: null, days: [], changes: [], periods: [] });
  });

  it("advises to move on once the birds press in most of their bouts, and says why; then the next stage begins anew", async () => {
    const { server, key } = await openYard();
    const birds = new Birds(server, key);
    await change(server, start("pressForFood"));
    expect((await read(server)).advice).toMatchObject({ kind: "notEnoughEvidence" });
    for (let day = 0; day < 4; day += 1) await birds.day({ withPress: 1 });
    expect((await read(server)).advice?.kind).not.toBe("moveOn");
    for (let day = 0; day < 9; day += 1) await birds.day({ withPress: 9 });
    const { advice, judgement, days } = await read(server);
    expect(advice).toMatchObject({ kind: "moveOn", to: { stage: "nudgeCap", name: "Nudge a cap in" } });
    expect(advice?.reasons[0]).toMatch(
      /^In 75 % of the bouts of visits of the last 3 days a bird pressed the button\./,
    );
    expect(judgement?.recent).toMatchObject({ days: 3, trials: 36, successes: 27 });
    expect(judgement?.kept).toMatchObject({ promised: 27, paid: 27, latencyMs: { p50: 1_200, worst: 1_200 } });
    expect(judgement?.changePoints).toHaveLength(1);
    expect(days.filter(({ counts }) => counts)).toHaveLength(12); // neither the day of the start nor today
    const next = await change(server, start("nudgeCap"));
    expect(next.advice).toMatchObject({ kind: "notEnoughEvidence" });
    expect(next.periods.map(({ stage, to }) => [stage, to !== null])).toEqual([
      ["pressForFood", true],
      ["nudgeCap", false],
    ]);
  });

  it("knows nothing of days without a report: a stage that was begun before the feeder was added has no evidence", async () => {
    const { server } = await openYard();
    const at = isoOf((server.clock.now() - hours(15 * 24)) as never);
    const { advice, judgement, days } = await change(server, start("pressForFood", { at }));
    expect(advice).toMatchObject({ kind: "wait", reasons: [expect.stringContaining("silent")] });
    expect(judgement?.judgedDays).toBe(0);
    expect(days.every(({ judgedShare, counts }) => judgedShare === 0 && !counts)).toBe(true);
  });

  it("advises to wait where promises are broken, and lists each with its outcome", async () => {
    const { server, feeder, key } = await openYard();
    const birds = new Birds(server, key);
    await change(server, start("pressForFood"));
    for (let day = 0; day < 5; day += 1) await birds.day({ withPress: 10, unpaid: 4 });
    const { advice, ledger } = await read(server);
    expect(advice).toMatchObject({ kind: "wait", pauseStage: false });
    expect(advice?.reasons).toContain("Only 60 % of what was promised was paid in the last days; you asked for 90 %.");
    expect(ledger).toHaveLength(20);
    expect(ledger[0]).toMatchObject({ feeder, act: "press", outcome: "noPortion", cause: null });
  });

  it("shows the still of a broken promise, by its feeder, boot and seq, until it is deleted", async () => {
    const { server, feeder, key } = await openYard();
    const { key: otherKey } = await server.addFeeder({ name: "Larch" });
    const birds = new Birds(server, key);
    await change(server, start("pressForFood"));
    await birds.day({ withPress: 3, unpaid: 3 }); // presses 2, 4 and 6
    const send = async (query: string, as: string) => {
      const headers = { authorization: `Bearer ${as}`, "content-type": "image/jpeg" };
      const answer = await requestAs(server, "POST", `/api/v1/stills?${query}`, headers, await jpegPicture(640, 480));
      expect(answer.statusCode).toBe(200);
    };
    await send("boot=b-1&seq=4", key);
    await send("boot=b-1&seq=2", otherKey); // of another feeder's event
    await send("boot=b-1&seq=3", key); // of a visit
    const stills = async () => (await read(server)).ledger.map(({ still }) => still);
    const [last, shown, first] = await stills();
    expect([last, first]).toEqual([null, null]);
    expect(shown).toEqual({
      id: stillIdOf(server.yard, feeder, { boot: "b-1", seq: 4 }),
      widthPixels: 640,
      heightPixels: 480,
    });
    await requestAs(server, "DELETE", `/api/v1/yards/${server.yard}/stills/${shown?.id}`, server.keeper);
    expect(await stills()).toEqual([null, null, null]);
  });

  it("shows no still of an earlier event where a boot's id was used again", async () => {
    const { server, feeder } = await openYard();
    const now = server.clock.now();
    const event = { boot: "b-1", seq: 4 };
    const id = stillIdOf(server.yard, feeder, event);
    const still = { id, yard: server.yard, feeder, event, at: now, addedAt: now, eventKind: "press", payment: null };
    const labels = { starred: false, who: null, brought: null, widthPixels: 640, heightPixels: 480, bytes: 9 };
    await server.store.stills.addStill({ ...still, ...labels }, { pictures: 9, bytes: 99 });
    const later = { feeder, event: { boot: "b-1#2", seq: 4 }, at: (now + 1) as typeof now };
    const found = await stillsOfEvents(server.store, server.yard, [later, { ...later, event, at: now }]);
    expect(found.map((each) => each?.id ?? null)).toEqual([null, id]);
  });

  it("lets a stage drive each feeder's plan, keeps ration and quiet times, and gives the plan back when undone", async () => {
    const { server, feeder } = await openYard();
    await requestAs(server, "PATCH", `/api/v1/feeders/${feeder}`, server.keeper, { feeding: feedingExample });
    const before = await feedingOf(server, feeder);
    const view = await change(server, start("dropCap"));
    expect(view.feedersWithoutPlan).toEqual([]);
    const during = await feedingOf(server, feeder);
    expect(during).toMatchObject({
      press: null,
      deposit: { ratio: { kind: "fixed", of: 1 } },
      free: { schedule: { kind: "variableTime", meanMinutes: 240 } },
      rationGrams: before.rationGrams,
      quietTimes: before.quietTimes,
    });
    const undo = await requestAs(
      server,
      "POST",
      `/api/v1/yards/${server.yard}/training/changes/start-dropCap/undo`,
      server.keeper,
    );
    expect((undo.json() as TrainingView).changes[0]).toMatchObject({ id: "start-dropCap", undone: { by: "Keeper" } });
    expect((undo.json() as TrainingView).periods).toEqual([]);
    expect(await feedingOf(server, feeder)).toEqual(before);
  });

  it("leaves a plan alone that was changed since, when a stage is undone", async () => {
    const { server, feeder } = await openYard();
    const url = `/api/v1/feeders/${feeder}`;
    await requestAs(server, "PATCH", url, server.keeper, { feeding: feedingExample });
    await change(server, start("dropCap"));
    const own = { ...(await feedingOf(server, feeder)), rationGrams: 17 };
    await requestAs(server, "PATCH", url, server.keeper, { feeding: { ...own, press: feedingExample.press } });
    const changed = await feedingOf(server, feeder);
    await requestAs(server, "POST", `/api/v1/yards/${server.yard}/training/changes/start-dropCap/undo`, server.keeper);
    expect(await feedingOf(server, feeder)).toEqual(changed);
  });

  it("names feeders without a plan: what a stage gives for doesn't reach them", async () => {
    const { server, feeder } = await openYard();
    const view = await change(server, start("dropCap"));
    expect(view.feedersWithoutPlan).toEqual(["Rowan"]);
    expect(await feedingOf(server, feeder)).toBeUndefined();
  });

  it("takes the same change twice as one", async () => {
    const { server } = await openYard();
    await change(server, programmeChangeExample);
    expect((await change(server, programmeChangeExample)).changes).toHaveLength(1);
  });

  it.each([
    ["at", { at: "2026-01-15T09:00:01Z" }, "must not lie in the future"],
    ["at", { at: "2024-01-15T09:00:00Z" }, "must lie within the last year"],
    ["content.stage", { content: { kind: "stageStarted", stage: "unknown", changesPlans: false } }, "no such stage"],
    ["reason", { reason: " " }, "must not be empty"],
    ["content.keptMin", { content: { kind: "keptMinChanged", keptMin: 1.1 } }, "must be at most 1"],
  ])("names the field %s of a change that can't be: %o", async (field, wrong, problem) => {
    const { server } = await openYard();
    const url = `/api/v1/yards/${server.yard}/training/changes`;
    const answer = await requestAs(server, "POST", url, server.keeper, { ...programmeChangeExample, ...wrong });
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors[0]).toMatchObject({ field, problem: expect.stringContaining(problem) });
    expect((await read(server)).changes).toEqual([]);
  });

  it("takes a change that was made at the feeder earlier, and keeps the order of the moments", async () => {
    const { server } = await openYard();
    const at = isoOf((server.clock.now() - hours(30)) as never);
    await change(server, start("pressForFood"));
    const { periods } = await change(server, start("comeForFood", { at }));
    expect(periods.map(({ stage }) => stage)).toEqual(["comeForFood", "pressForFood"]);
    expect(periods[0]?.from).toBe(isoOf(instantOf(at)));
  });
});
