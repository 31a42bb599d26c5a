import { describe, expect, it, onTestFinished } from "vitest";
import type { PlanView } from "../../server/contract/planView.ts";
import { hours, minutes, type Span, seconds } from "../../server/domain/instant.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { startPractice } from "../../server/practice/run.ts";
import { larch, type PracticeSettings, practiceYard, rowan } from "../../server/practice/yard.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { requestAs } from "../support/people.ts";
import { openTestServer } from "../support/testServer.ts";
import { ManualTimers } from "./reportApi.stub.ts";

/** A practice feeder with the real server, whose keeper makes a plan. */
async function practise(settings: PracticeSettings = rowan) {
  const server = await openTestServer();
  await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { place: practiceYard.place });
  const { name, food, foodKind, grainsPerPortion, ...measures } = settings;
  const asEntered = { food, foodKind, grainsPerPortion, ...measures, reportEverySeconds: 30 };
  const { feeder, key } = await server.addFeeder({ name, ...asEntered });
  const time = new ManualTimers(server.clock.now());
  let underWay: Promise<unknown> = Promise.resolve();
  const fetch = async (_url: unknown, init?: RequestInit) => {
    server.clock.advance((time.now() - server.clock.now()) as Span);
    const answered = server.report(key, String(init?.body));
    underWay = answered;
    const { status, body } = await answered;
    return new Response(JSON.stringify(body), { status });
  };
  const troubles: string[] = [];
  const practice = startPractice({
    ...{ url: "http://127.0.0.1:1", key, settings, seed: 7, now: time.now, timers: time, history: hours(0) },
    fetch: fetch as typeof globalThis.fetch,
    log: { info: () => undefined, warning: (text) => troubles.push(text) },
  });
  onTestFinished(() => practice.stop());
  /** Answers of the real server take real turns of the event loop. */
  const pass = async (span: Span) => {
    for (let passed = 0; passed < span; passed += 5_000) {
      await time.pass(5_000);
      await underWay;
      if (time.now() % minutes(1) === 0) {
        server.clock.advance((time.now() - server.clock.now()) as Span);
        await runPeriodicChecks(server.ports);
      }
    }
  };
  const feed = async (feeding: object | null) => {
    const answer = await requestAs(server, "PATCH", `/api/v1/feeders/${feeder.id}`, server.keeper, { feeding });
    expect(answer.statusCode, answer.body).toBe(200);
  };
  const planView = async (): Promise<PlanView> =>
    (await requestAs(server, "GET", `/api/v1/feeders/${feeder.id}/plan`, server.keeper)).json();
  const events = async () =>
    (await server.store.records.events(feeder.id, 0 as never, (time.now() + 1) as never, 10_000)).map(
      ({ recordedAt, body }) => ({
        recordedAt,
        ...(JSON.parse(body) as { kind: string; cause?: string; earns?: boolean; paysFor?: number | null }),
      }),
    );
  const alarms = async () => (await server.runPeriodicCheck(feeder.id)).alarms.map(({ fault }) => fault);
  return { server, practice, time, pass, feed, planView, events, alarms, troubles };
}

const rules = {
  ...feedingExample,
  free: {
    eachGrams: 7.5,
    schedule: { kind: "jitter", meanMinutes: 15, byMinutes: 3 },
    afterDawnMinutes: 0,
    beforeDuskMinutes: 0,
  },
  press: { ratio: { kind: "fixed", of: 3 }, atLeastSecondsBetween: 0 },
  deposit: { ratio: { kind: "fixed", of: 1 }, atLeastSecondsBetween: 0 },
  ...{ rationGrams: 1_000, quietTimes: [], frostFloor: null },
};

describe("a practice feeder whose keeper makes a plan", () => {
  it.each([rowan, larch])(
    "confirms it at once, and $name carries it out as planned",
    { timeout: 60_000 },
    async (settings) => {
      const { pass, feed, planView, events, alarms, troubles, time } = await practise(settings);
      await pass(seconds(20));
      await feed(rules);
      await pass(seconds(40));
      expect((await planView()).confirmedVersion).toBe(1);
      const confirmedAt = time.now();
      await pass(minutes(45));

      const plan = await planView();
      const due = plan.days.flatMap(({ free }) => free.map((at) => Date.parse(at)));
      const planned = due.filter((at) => at > confirmedAt && at < time.now() - seconds(20));
      const since = (await events()).filter(({ recordedAt }) => recordedAt > confirmedAt);
      const free = since.filter(({ kind, cause }) => kind === "portion" && cause === "timer");
      expect(planned.length).toBeGreaterThanOrEqual(2);
      expect(free).toHaveLength(planned.length);
      for (const [index, at] of planned.entries())
        expect(Math.abs((free[index]?.recordedAt ?? 0) - at)).toBeLessThan(seconds(10));

      // Before it had the plan it promised nothing.
      const presses = (await events()).filter(({ kind, earns }) => kind === "press" && earns !== undefined);
      expect(presses.length).toBeGreaterThan(6);
      expect(presses.map(({ earns }) => earns)).toEqual(presses.map((_, index) => index % 3 === 2));
      const deposits = since.filter(({ kind }) => kind === "deposit");
      expect(deposits.map(({ earns }) => earns)).toEqual(deposits.map(() => true));
      expect(await alarms()).toEqual([]);
      expect(troubles).toEqual([]);
    },
  );

  it("gives nothing that the ration forbids, and pays each act again without a plan", {
    timeout: 60_000,
  }, async () => {
    const { pass, feed, planView, events, alarms, time } = await practise();
    await pass(seconds(20));
    await feed({ ...rules, rationGrams: 15, paysDepositsOverRation: false });
    await pass(minutes(25));
    const portions = async (from: number) =>
      (await events()).filter(({ kind, recordedAt }) => kind === "portion" && recordedAt > from).length;
    const sated = time.now();
    await pass(minutes(20));
    expect(await portions(sated)).toBe(0);
    await feed(null);
    await pass(seconds(40));
    expect((await planView()).confirmedVersion).toBeNull();
    const free = time.now();
    await pass(minutes(30));
    expect(await portions(free)).toBeGreaterThan(2);
    expect((await events()).at(-1)?.recordedAt).toBeGreaterThan(free);
    expect(await alarms()).toEqual([]);
  });
});
