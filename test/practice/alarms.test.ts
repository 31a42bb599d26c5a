import { describe, expect, it } from "vitest";
import { type PracticeFault, practiceFaults } from "../../server/contract/api.ts";
import type { FaultKind } from "../../server/domain/faults.ts";
import { hours, type Instant, instantOf, minutes, seconds } from "../../server/domain/instant.ts";
import { startPractice } from "../../server/practice/run.ts";
import { feederWithFault, larch, type PracticeSettings, rowan } from "../../server/practice/yard.ts";
import { runs } from "../support/runs.ts";
import { InMemoryReportApi } from "./inMemoryReportApi.ts";
import { ManualTimers } from "./reportApi.stub.ts";

/** Any season and hour, and any moment of the choice within the minute of a periodic check. */
const starts = [
  "2026-11-25T20:15:00Z",
  "2026-01-20T00:15:13Z",
  "2026-04-23T21:15:26Z",
  "2026-06-21T07:15:39Z",
  "2026-08-23T05:15:52Z",
].map(instantOf);

/** A practice feeder with its simulated past, reporting to the server's own contract and domain. */
async function practise(settings: PracticeSettings = rowan, start = starts[0] as Instant, seed = 7) {
  const time = new ManualTimers(start);
  const api = new InMemoryReportApi(settings, time.now);
  const troubles: string[] = [];
  const practice = startPractice({
    url: "http://127.0.0.1:1",
    key: "k",
    settings,
    seed,
    now: time.now,
    fetch: api.fetch,
    timers: time,
    log: { info: () => {}, warning: (text) => troubles.push(text) },
  });
  /** The periodic check runs at each full minute, as on the server. */
  const pass = async (span: number) => {
    const end = time.now() + span;
    while (time.now() < end) {
      await time.pass(Math.min(end, nextMinute(time.now())) - time.now());
      if (time.now() % minutes(1) === 0) api.minutePasses();
    }
  };
  await pass(seconds(20));
  return { time, api, practice, pass, troubles };
}
const nextMinute = (at: number) => (Math.floor(at / minutes(1)) + 1) * minutes(1);

/** The alarm that a fault must raise, and within how many seconds. */
const expectedAlarm: {
  readonly [fault in Exclude<PracticeFault, "none">]: readonly [FaultKind, withinSeconds: number];
} = {
  hopperEmpty: ["foodOut", 60],
  trayJammed: ["trayJammed", 60],
  feedBridged: ["feedBridged", 60],
  motorStalled: ["motorStalled", 30],
  wireOff: ["motorNotTurning", 30],
  chuteBlind: ["chuteBlind", 30],
  buttonDead: ["buttonSilent", 120],
  detectorDead: ["detectorSilent", 120],
  scaleDead: ["scaleSilent", 90],
  // At least ninety seconds without a report count as silence, and the periodic check, once a minute, detects it.
  silent: ["feederSilent", 151],
  coldNight: ["iceLock", 60], // a quarter of a minute of dew, then one of ice
  weakBattery: ["batteryFreezing", 40],
  chargingInFrost: ["chargingInFrost", 30],
  ignoresOrders: ["pauseOverdue", 70], // a minute to answer in is the order's own
};

/** Chooses a fault and observes for five minutes: what was raised, and how many seconds later. */
async function observeFault(fault: Exclude<PracticeFault, "none">, start: Instant, seed: number) {
  const { time, api, practice, pass } = await practise(feederWithFault(fault) === "Rowan" ? rowan : larch, start, seed);
  expect(api.changes).toEqual([]);
  const chosenAt = time.now();
  practice.setFault(fault);
  if (fault === "ignoresOrders") api.order("pause-1", "pause");
  await pass(minutes(5));
  await practice.stop();
  const raised = api.changes.filter(({ to }) => to === "unacknowledged");
  return { api, raised: raised.map(({ fault, at }) => ({ kind: fault, after: (at - chosenAt) / 1_000 })) };
}

describe("a practice feeder with the real domain", () => {
  for (const fault of practiceFaults) {
    if (fault === "none") continue;
    const [alarm, within] = expectedAlarm[fault];
    it(`raises ${alarm} for "${fault}", and nothing else, within ${within} seconds`, {
      timeout: 30_000,
    }, async () => {
      for (const [index, start] of starts.entries()) {
        const { api, raised } = await observeFault(fault, start, index + 1);
        const label = `seed ${index + 1}`;
        expect(raised, label).toEqual([{ kind: alarm, after: expect.any(Number) }]);
        expect(raised[0]?.after, label).toBeLessThanOrEqual(within);
        expect(api.standing(), label).toEqual([alarm]);
      }
    });
  }

  it("raises a dead button's alarm within two and a half minutes also right after another was cleared", async () => {
    const { time, api, practice, pass } = await practise();
    practice.setFault("buttonDead");
    await pass(minutes(2));
    practice.clearFault();
    await pass(minutes(1));
    expect(api.standing()).toEqual([]);
    const chosenAt = time.now();
    practice.setFault("buttonDead");
    await pass(seconds(150));
    await practice.stop();
    expect(api.standing()).toEqual(["buttonSilent"]);
    expect(api.changes.at(-1)?.at).toBeGreaterThan(chosenAt);
  });

  it("ends the ice alarm when the cold night is cleared, in any season, and raises the next one", {
    timeout: 30_000,
  }, async () => {
    for (const start of [starts[1], starts[3]]) {
      const { api, practice, pass } = await practise(rowan, start);
      practice.setFault("coldNight");
      await pass(minutes(1));
      expect(api.standing()).toEqual(["iceLock"]);
      practice.clearFault();
      await pass(seconds(10));
      expect(api.state.cold.frost).toMatchObject({ found: null, wetness: { wet: null } });
      await pass(minutes(61));
      expect(api.standing()).toEqual([]);
      practice.setFault("coldNight");
      await pass(minutes(1));
      await practice.stop();
      expect(api.standing()).toEqual(["iceLock"]);
    }
  });

  for (const [settings, seed, hoursLong] of [
    [rowan, 7, runs(12)],
    [larch, 8, runs(8)],
  ] as const) {
    it(`raises nothing for ${hoursLong} hours while ${settings.name} is healthy`, { timeout: 180_000 }, async () => {
      const { api, practice, pass, troubles } = await practise(settings, starts[0], seed);
      await pass(hours(hoursLong));
      await practice.stop();
      expect(api.changes).toEqual([]);
      expect(troubles).toEqual([]);
      expect(api.effects.filter((effect) => effect.kind === "refillDetected")).toEqual([]);
    });
  }

  it("gives a level and a forecast from its past alone", async () => {
    const { api, practice } = await practise();
    await practice.stop();
    expect(api.state.hopper.isKnown).toBe(true);
    expect(api.state.latestReadings?.readings.hopper).toBeGreaterThan(500);
  });

  it("confirms a pause within one report, and a resume", async () => {
    const { api, practice, time } = await practise();
    api.order("pause-1", "pause");
    await time.pass(seconds(12));
    expect(api.state.orders.newest).toMatchObject({ id: "pause-1", status: "confirmed" });
    expect(api.state.orders.lastStatement).toMatchObject({ paused: true });
    await time.pass(hours(1));
    expect(practice.isPaused).toBe(true);
    api.order("resume-1", "resume");
    await time.pass(seconds(12));
    expect(api.state.orders.newest).toMatchObject({ id: "resume-1", status: "confirmed" });
    expect(practice.isPaused).toBe(false);
    await practice.stop();
  });
});
