import { describe, expect, it } from "vitest";
import { type PracticeFault, practiceFaults } from "../../server/contract/api.ts";
import { hours, instantOf, minutes, seconds } from "../../server/domain/instant.ts";
import { isCivilDaylight } from "../../server/practice/model/light.ts";
import { startPractice } from "../../server/practice/run.ts";
import {
  canHaveFault,
  feederWithFault,
  larch,
  type PracticeSettings,
  practiceYard,
  rowan,
} from "../../server/practice/yard.ts";
import { ManualTimers, StubReportApi } from "./reportApi.stub.ts";

/** A quarter past nine on a dark November evening: an hour at which a new keeper tries things. */
const evening = instantOf("2026-11-25T20:15:00Z");

function begin(
  settings: PracticeSettings = rowan,
  options: { history?: number; seed?: number; behaviours?: StubReportApi["behaviour"] } = {},
) {
  const time = new ManualTimers(evening);
  const api = new StubReportApi(time.now);
  api.behaviour.push(...(options.behaviours ?? []));
  const troubles: string[] = [];
  const practice = startPractice({
    url: "http://127.0.0.1:1",
    key: "practice-key",
    settings,
    seed: options.seed ?? 7,
    now: time.now,
    fetch: api.fetch,
    timers: time,
    log: { info: () => {}, warning: (text) => troubles.push(text) },
    ...(options.history === undefined ? {} : { history: hours(options.history) }),
  });
  return { time, api, troubles, practice };
}

describe("a practice run", () => {
  it("reports about every five seconds with the feeder's key, in the contract's format", async () => {
    const { time, api, practice } = begin(rowan, { history: 0 });
    await time.pass(minutes(2));
    await practice.stop();
    expect(api.authorization).toBe("Bearer practice-key");
    expect(api.reports.length).toBeGreaterThanOrEqual(23);
    expect(api.reports.length).toBeLessThanOrEqual(25);
  });

  it("shows two visits a minute to a person who has just come, also at night", async () => {
    const { time, api, practice } = begin(rowan, { history: 0 });
    expect(isCivilDaylight(practiceYard.place, evening)).toBe(false);
    await time.pass(minutes(10));
    await practice.stop();
    const visits = api.all().filter((event) => event.kind === "visit").length;
    expect(visits).toBeGreaterThanOrEqual(16);
    expect(visits).toBeLessThanOrEqual(25);
  });

  it("has few visits when nobody has chosen anything for a while, and more at the next choice", async () => {
    const { time, api, practice } = begin(rowan, { history: 0 });
    const visitsIn = async (span: number) => {
      const before = api.all().filter((event) => event.kind === "visit").length;
      await time.pass(span);
      return api.all().filter((event) => event.kind === "visit").length - before;
    };
    await time.pass(minutes(20));
    const calm = await visitsIn(hours(1));
    expect(calm).toBeGreaterThanOrEqual(8);
    expect(calm).toBeLessThanOrEqual(17);
    practice.setFault("scaleDead");
    expect(await visitsIn(minutes(10))).toBeGreaterThanOrEqual(16);
    practice.setFault("buttonDead");
    // More than five seconds apart each: closer landings count as one.
    const flock = await visitsIn(minutes(2));
    expect(flock).toBeGreaterThanOrEqual(20);
    expect(flock).toBeLessThanOrEqual(24);
    await practice.stop();
  });

  it("continues its calm pattern while it is silent", async () => {
    const { time, practice } = begin(rowan, { history: 0 });
    practice.setFault("silent");
    await time.pass(minutes(20));
    const before = practice.memory().spool.length;
    await time.pass(hours(1));
    await practice.stop();
    expect(practice.memory().spool.length - before).toBeGreaterThan(15);
  });

  it("first reports a past of a day and a half, with birds by daylight, at most 2,000 events a report", async () => {
    const { time, api, practice } = begin();
    await time.pass(seconds(1));
    await practice.stop();
    const past = api.all().filter((event) => event.recordedAt < evening - minutes(1));
    expect(past.length).toBeGreaterThan(100);
    expect(past.length).toBeLessThan(900);
    expect(Math.min(...past.map((event) => event.recordedAt))).toBeGreaterThanOrEqual(evening - hours(36));
    expect(Math.max(...api.reports.map((report) => report.events?.length ?? 0))).toBeLessThanOrEqual(2_000);
    expect(api.reports[0]?.sentUptimeMs).toBe(hours(36));
    for (const visit of past.filter((event) => event.kind === "visit")) {
      expect(isCivilDaylight(practiceYard.place, visit.recordedAt as typeof evening)).toBe(true);
    }
  });

  it("reports some hundred events of past a day, in any season and with any seed", async () => {
    for (let seed = 1; seed <= 12; seed++) {
      const start = instantOf(`2026-${String(seed).padStart(2, "0")}-10T22:30:00Z`);
      const time = new ManualTimers(start);
      const api = new StubReportApi(time.now);
      const practice = startPractice({
        url: "http://127.0.0.1:1",
        key: "k",
        seed,
        now: time.now,
        fetch: api.fetch,
        timers: time,
        log: { info: () => {}, warning: () => {} },
        history: hours(24),
      });
      await time.pass(100);
      await practice.stop();
      const reported = api.reports[0]?.events?.length ?? 0;
      expect(reported, `seed ${seed}`).toBeGreaterThan(100); // a stormy day keeps one bout of three away
      expect(reported, `seed ${seed}`).toBeLessThan(800);
    }
  });

  it("leaves in the hopper exactly what follows from the refill and the portions of its past", async () => {
    const { time, api, practice } = begin(rowan, { seed: 4 });
    await time.pass(200);
    await practice.stop();
    const events = api.all();
    const refill = events.filter((event) => event.kind === "refill").at(-1);
    expect(refill).toMatchObject({ full: true });
    const portions = events.filter((event) => event.kind === "portion" && event.seq > (refill?.seq ?? 0)).length;
    expect(portions).toBeGreaterThan(4);
    const expected = rowan.hopperCapacityGrams - portions * rowan.portionGrams;
    const weighed = Number(api.reports[0]?.readings?.hopperGrams);
    // Portions spread by a gram each; the cell drifts by up to 10 g, and up to 60 g of snow may lie on the lid.
    expect(weighed - expected).toBeGreaterThan(-25);
    expect(weighed - expected).toBeLessThan(85);
  });

  it("loses nothing and invents nothing while the server is away or its answers get lost", async () => {
    const { time, api, troubles, practice } = begin(rowan, {
      history: 1,
      behaviours: ["lost", "answerLost", 503, 429, "answerLost"],
    });
    await time.pass(minutes(5));
    await practice.stop();
    const seqs = api
      .all()
      .map((event) => event.seq)
      .sort((a, b) => a - b);
    expect(seqs).toEqual(seqs.map((_, index) => index + 1));
    expect(troubles.length).toBe(5);
    expect(troubles[0]).toContain("connection refused");
    expect(troubles[3]).toMatch(/Next try in 2[0-5] s/); // Retry-After: 20 is respected
  });

  it("waits longer for a server that stays away, up to a minute", async () => {
    const { time, api, practice } = begin(rowan, {
      history: 0,
      behaviours: Array.from({ length: 1_000 }, () => "lost" as const),
    });
    await time.pass(hours(1));
    await practice.stop();
    expect(api.requestCount).toBeGreaterThan(45);
    expect(api.requestCount).toBeLessThan(70);
  });

  it("sends less at once after a report that was too large", async () => {
    const { time, api, practice } = begin(rowan, { behaviours: [413, 413, 413, 413] });
    await time.pass(minutes(2));
    await practice.stop();
    expect(Math.max(...api.reports.map((report) => report.events?.length ?? 0))).toBe(125);
    expect(practice.memory().spool.length).toBeLessThan(10);
  });

  it("reports at the interval that the server wants", async () => {
    const { time, api, practice } = begin(rowan, { history: 0 });
    api.nextReportSeconds = 60;
    await time.pass(minutes(10));
    await practice.stop();
    expect(api.reports.length).toBeLessThanOrEqual(11);
  });

  it("has no timer left when it is stopped", async () => {
    const { time, practice } = begin(rowan, { history: 0 });
    await time.pass(minutes(1));
    await practice.stop();
    await time.pass(minutes(1));
    expect(time.waiting).toBe(0);
  });

  it("does not report the same hours again after a restart", async () => {
    const time = new ManualTimers(evening);
    const api = new StubReportApi(time.now);
    const restart = (reportedUntil: typeof evening) =>
      startPractice({
        url: "http://127.0.0.1:1",
        key: "k",
        seed: 7,
        now: time.now,
        fetch: api.fetch,
        timers: time,
        log: { info: () => {}, warning: () => {} },
        reportedUntil,
        hopperGrams: 800,
      });
    const practice = restart(instantOf("2026-11-25T12:00:00Z"));
    await time.pass(100);
    await practice.stop();
    expect(api.reports[0]?.sentUptimeMs).toBe(evening - instantOf("2026-11-25T12:00:00Z"));
    expect(Math.min(...api.all().map((event) => event.recordedAt))).toBeGreaterThan(instantOf("2026-11-25T12:00:00Z"));
  });

  it("sleeps with the computer instead of feeding a night's birds at once", async () => {
    const { time, api, practice } = begin(rowan, { history: 0 });
    await time.pass(minutes(1));
    const before = api.all().length;
    time.sleep(hours(8));
    await time.pass(minutes(15));
    await practice.stop();
    const meanwhile = api.all().length - before;
    expect(meanwhile).toBeGreaterThan(2);
    expect(meanwhile).toBeLessThan(30);
  });
});

/** The evidence that the server has two minutes after a fault was chosen. */
async function shown(fault: PracticeFault, settings: PracticeSettings = rowan) {
  const { time, api, practice } = begin(settings, { history: 0 });
  await time.pass(minutes(3));
  const before = { seq: Math.max(...api.all().map((event) => event.seq)), reports: api.reports.length };
  const weighedBefore = Number(api.latest().readings?.hopperGrams);
  const counted = api.latest().readings?.counts;
  expect(practice.setFault(fault)).toBe(true);
  const failedAt = time.now();
  await time.pass(minutes(2));
  const events = api.all().filter((event) => event.recordedAt > failedAt + seconds(1));
  const portions = events.filter((event) => event.kind === "portion");
  const weighedAfter = Number(api.latest().readings?.hopperGrams);
  const result = { api, practice, time, events, portions, before, counted, weighedBefore, weighedAfter };
  return result;
}
const meanOf = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;

describe("a practice fault", () => {
  it("none: food falls, is counted and pays the deposit", async () => {
    const { api, practice, time } = await shown("none");
    await time.pass(minutes(10));
    await practice.stop();
    const portions = api.all().filter((event) => event.kind === "portion");
    expect(portions.length).toBeGreaterThanOrEqual(8);
    expect(meanOf(portions.map((portion) => portion.chuteCount ?? 0))).toBeGreaterThan(2);
    const paid = new Set(api.all().map((event) => (event.kind === "portion" ? event.paysFor : null)));
    const toPay = api.all().filter((event) => event.kind === "deposit" || event.kind === "press");
    const unpaid = toPay.filter((event) => !paid.has(event.seq) && event.recordedAt < evening + minutes(14.9));
    expect(unpaid).toEqual([]);
  });

  it("hopperEmpty: the last food fall, then the tray turns with little current and nothing falls", async () => {
    const { portions, weighedAfter, practice } = await shown("hopperEmpty");
    await practice.stop();
    expect(portions.length).toBeGreaterThanOrEqual(5);
    expect(portions.slice(-4).map((portion) => portion.chuteCount)).toEqual([0, 0, 0, 0]);
    expect(weighedAfter).toBeLessThan(90); // drift, a bird, snow
  });

  it("trayJammed: the motor turns, nothing falls and the scale stays", async () => {
    const { portions, weighedBefore, weighedAfter, practice } = await shown("trayJammed");
    await practice.stop();
    expect(portions.length).toBeGreaterThanOrEqual(5);
    expect(portions.every((portion) => portion.chuteCount === 0)).toBe(true);
    expect(meanOf(portions.map((portion) => portion.meanMilliamps))).toBeGreaterThan(200);
    expect(meanOf(portions.map((portion) => portion.meanMilliamps))).toBeLessThan(360);
    expect(Math.abs(weighedAfter - weighedBefore)).toBeLessThan(65);
  });

  it("stall: the motor draws three times as much and is cut off by the feeder", async () => {
    const { portions, practice } = await shown("motorStalled");
    await practice.stop();
    expect(portions.length).toBeGreaterThanOrEqual(5);
    expect(meanOf(portions.map((portion) => portion.meanMilliamps))).toBeGreaterThan(650);
    expect(portions.every((portion) => portion.motorMs <= 400)).toBe(true);
  });

  it("wireOff: the motor draws nothing", async () => {
    const { portions, practice } = await shown("wireOff");
    await practice.stop();
    expect(portions.length).toBeGreaterThanOrEqual(5);
    expect(portions.every((portion) => portion.meanMilliamps <= 5 && portion.chuteCount === 0)).toBe(true);
  });

  it("chuteBlind: food falls and nobody counts it", async () => {
    const { portions, practice, counted, api } = await shown("chuteBlind");
    const left = practice.memory();
    await practice.stop();
    expect(left).toBeDefined();
    expect(portions.length).toBeGreaterThanOrEqual(5);
    expect(portions.every((portion) => portion.chuteCount === 0)).toBe(true);
    expect(Number(api.latest().readings?.counts?.chute)).toBeLessThanOrEqual(Number(counted?.chute) + 4);
  });

  it("buttonDead: birds come and trade, and no press is reported", async () => {
    const { events, practice } = await shown("buttonDead");
    await practice.stop();
    expect(events.filter((event) => event.kind === "press")).toEqual([]);
    expect(events.filter((event) => event.kind === "visit").length).toBeGreaterThanOrEqual(6);
    expect(events.filter((event) => event.kind === "deposit").length).toBeGreaterThanOrEqual(1);
  });

  it("detectorDead: birds come and press, and no deposit is reported", async () => {
    const { events, practice } = await shown("detectorDead");
    await practice.stop();
    expect(events.filter((event) => event.kind === "deposit")).toEqual([]);
    expect(events.filter((event) => event.kind === "press").length).toBeGreaterThanOrEqual(2);
  });

  it("scaleDead: the weight is not reported", async () => {
    const { api, practice } = await shown("scaleDead");
    await practice.stop();
    expect(api.latest().readings).not.toHaveProperty("hopperGrams");
  });

  it("silent: no report comes, and after the fault is cleared all that happened meanwhile does", async () => {
    const { api, practice, time, before } = await shown("silent");
    expect(api.reports.length).toBeLessThanOrEqual(before.reports + 1);
    practice.clearFault();
    await time.pass(seconds(2));
    await practice.stop();
    expect(api.latest().events?.length).toBeGreaterThan(0);
    const seqs = api.all().map((event) => event.seq);
    expect(Math.max(...seqs)).toBe(seqs.length);
    expect(seqs.length).toBeGreaterThan(before.seq + 10);
  });

  it("ignoresOrders: a pause is neither carried out nor answered", async () => {
    const { api, practice, time } = await shown("ignoresOrders");
    api.orders = [{ id: "p-1", kind: "pause", until: null }];
    await time.pass(minutes(2));
    await practice.stop();
    expect(api.latest().readings?.paused).toBe(false);
    expect(api.all().filter((event) => event.kind === "order")).toEqual([]);
  });

  it("coldNight, weakBattery and chargingInFrost last until they are cleared", async () => {
    for (const [fault, settings] of [
      ["coldNight", rowan],
      ["weakBattery", larch],
      ["chargingInFrost", rowan],
    ] as const) {
      const { api, practice, time } = await shown(fault, settings);
      await time.pass(hours(1));
      expect(Number(api.latest().readings?.batteryCelsius), fault).toBeLessThan(0);
      practice.clearFault();
      await time.pass(seconds(10));
      await practice.stop();
      expect(Number(api.latest().readings?.airCelsius), fault).toBeGreaterThan(-6);
    }
  });

  it("is shown by one of the feeders, which is named", () => {
    expect(feederWithFault("weakBattery")).toBe("Larch");
    expect(feederWithFault("chargingInFrost")).toBe("Rowan");
  });

  it("is refused by a feeder that has no such part", () => {
    const { practice } = begin(larch, { history: 0 });
    expect(practice.setFault("chargingInFrost")).toBe(false);
    expect(practice.fault).toBe("none");
    expect(practice.setFault("weakBattery")).toBe(true);
    expect(practice.fault).toBe("weakBattery");
    return practice.stop();
  });

  it("can each be shown by one of the two feeders", () => {
    for (const fault of practiceFaults)
      expect(canHaveFault(rowan, fault) || canHaveFault(larch, fault), fault).toBe(true);
  });
});
