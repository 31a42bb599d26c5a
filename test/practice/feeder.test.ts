import { describe, expect, it } from "vitest";
import type { Answer, SentOrder } from "../../server/contract/report.ts";
import {
  type Instant,
  instantOf,
  isoOf,
  minutes,
  after as plus,
  type Span,
  seconds,
} from "../../server/domain/instant.ts";
import { Feeder, type FeederMemory, type Hardware } from "../../server/practice/feeder.ts";
import { Spool, spoolMax } from "../../server/practice/model/spool.ts";
import { initialOrderState } from "../../server/practice/orderState.ts";
import { portionRun } from "../../server/practice/world.ts";

const start = instantOf("2026-01-15T09:00:00Z");
const at = (span: number): Instant => plus(start, span as Span);
const emptyMemory: FeederMemory = { spool: [], orderState: initialOrderState };

/** Test hardware: a motor whose runs are recorded, and no weather. */
function bench(memory = emptyMemory, boot = "b-1", bootedAt = start) {
  const runs: number[] = [];
  const bird = { sits: false };
  const hardware: Hardware = {
    fitted: { button: true, detector: true, chute: true, perch: true },
    isPerched: () => bird.sits,
    weigh: () => (bird.sits ? 850 : 800),
    runningMilliamps: () => 250,
    runMotor: (ranFor) => {
      runs.push(ranFor);
      return {
        meanMilliamps: 250,
        peakMilliamps: 600,
        fellGrams: 1.2 * (ranFor / portionRun),
        chuteCount: 3,
        lowestVolts: 4.98,
      };
    },
    read: () => ({
      airCelsius: -3,
      insideCelsius: 0,
      lidCelsius: -4,
      humidityPercent: 70,
      supplyVolts: 5.05,
      batteryVolts: 12.5,
      batteryCelsius: 0,
      chargeMilliamps: 0,
      signalDbm: -60,
    }),
  };
  return { feeder: new Feeder(hardware, memory, boot, bootedAt), hardware, bird, runs };
}

const pause = (id: string, until: Instant | null = null): SentOrder => ({
  id,
  kind: "pause",
  until: until === null ? null : isoOf(until),
});
const resume = (id: string): SentOrder => ({ id, kind: "resume", until: null });

/** The server has stored all that was sent so far. */
function answer(feeder: Feeder, when: Instant, orders: SentOrder[] = [], stored = true): void {
  const report = feeder.report(when);
  const last = report.events?.at(-1) as { seq: number } | undefined;
  const answer: Answer = {
    storedThrough: stored ? (last?.seq ?? null) : null,
    duplicates: 0,
    refused: [],
    unknown: [],
    serverTime: isoOf(when),
    nextReportSeconds: 5,
    orders,
  };
  feeder.handleAnswer(report.boot, answer, when);
}
const eventsOfKind = (feeder: Feeder, when: Instant, kind: string) =>
  (feeder.report(when).events ?? []).filter((event) => event.kind === kind);

describe("a feeder's program", () => {
  it("pays a deposit with one portion and names the deposit that it pays for", () => {
    const { feeder } = bench();
    feeder.detectCap(0.8, at(1_000));
    feeder.tick(at(1_000 + portionRun));
    expect(feeder.report(at(5_000)).events).toEqual([
      { seq: 1, uptimeMs: 1_000, kind: "deposit", metal: true, signal: 0.8, chute: true },
      expect.objectContaining({ seq: 2, uptimeMs: 1_900, kind: "portion", cause: "deposit", paysFor: 1, motorMs: 900 }),
    ]);
  });

  it("stores an event until the server confirms that it is stored", () => {
    const { feeder } = bench();
    feeder.pressPerch(at(10));
    answer(feeder, at(20), [], false);
    expect(feeder.spooled).toBe(1);
    answer(feeder, at(30));
    expect(feeder.spooled).toBe(0);
  });

  it("stores what happens while a report is under way", () => {
    const { feeder } = bench();
    feeder.pressPerch(at(10));
    const report = feeder.report(at(20));
    feeder.pressPerch(at(25));
    const answer = {
      duplicates: 0,
      refused: [],
      unknown: [],
      serverTime: isoOf(at(30)),
      nextReportSeconds: 5,
      orders: [],
    };
    feeder.handleAnswer(report.boot, { ...answer, storedThrough: 1 }, at(30));
    expect(feeder.report(at(40)).events).toEqual([{ seq: 2, uptimeMs: 25, kind: "visit" }]);
  });

  it("limits the portions for a bird that drums on the button", () => {
    const { feeder, runs } = bench();
    for (let press = 0; press < 50; press++) feeder.pressButton(at(press));
    for (let step = 1; step < 60; step++) feeder.tick(at(step * 1_000));
    expect(runs.length).toBe(4); // the one that ran and three that waited
  });

  it("pays for every cap, however many presses wait", () => {
    const { feeder, runs } = bench();
    for (let press = 0; press < 50; press++) feeder.pressButton(at(press));
    feeder.detectCap(0.8, at(60));
    for (let step = 1; step < 60; step++) feeder.tick(at(step * 1_000));
    expect(runs.length).toBe(5);
    expect(eventsOfKind(feeder, at(60_000), "portion").at(-1)).toMatchObject({ cause: "deposit", paysFor: 51 });
  });

  it("reports no weight that was taken before the last portion fell", () => {
    const { feeder, bird } = bench();
    feeder.tick(at(500));
    feeder.pressButton(at(1_000));
    bird.sits = true;
    feeder.tick(at(1_000 + portionRun));
    expect(feeder.report(at(2_000)).readings).not.toHaveProperty("hopperGrams");
    bird.sits = false;
    expect(feeder.report(at(3_000)).readings).toMatchObject({ hopperGrams: 800 });
  });

  it("reports the weight as it was before the bird sat down", () => {
    const { feeder, bird } = bench();
    feeder.tick(at(1_000));
    bird.sits = true;
    expect(feeder.report(at(2_000)).readings).toMatchObject({ hopperGrams: 800 });
  });

  it("switches off a motor with the current of a stalled one", () => {
    const { hardware, runs } = bench();
    const feeder = new Feeder({ ...hardware, runningMilliamps: () => 760 }, emptyMemory, "b-1", start);
    feeder.pressButton(at(0));
    feeder.tick(at(2_000));
    expect(runs).toEqual([400]);
  });
});

describe("a feeder's orders", () => {
  it("stops the motor in the middle of its run and then confirms the pause", () => {
    const { feeder, runs } = bench();
    feeder.pressButton(at(1_000));
    answer(feeder, at(1_300), [pause("p-1")]);
    expect(feeder.isMotorOn).toBe(false);
    expect(runs).toEqual([300]);
    expect(feeder.report(at(1_400)).readings).toMatchObject({ paused: true });
    expect(feeder.report(at(1_400)).events).toEqual([
      expect.objectContaining({ kind: "portion", motorMs: 300, paysFor: 1 }),
      { seq: 3, uptimeMs: 1_300, kind: "order", order: "p-1", outcome: "done", problem: null },
    ]);
  });

  it("records presses and caps while paused, and pays none of them after the resume", () => {
    const { feeder, runs } = bench();
    answer(feeder, at(1_000), [pause("p-1")]);
    feeder.pressButton(at(2_000));
    feeder.detectCap(0.9, at(3_000));
    feeder.giveFreeFood(at(4_000));
    expect(eventsOfKind(feeder, at(5_000), "press").length + eventsOfKind(feeder, at(5_000), "deposit").length).toBe(2);
    answer(feeder, at(6_000), [resume("r-1")]);
    for (let step = 7; step < 60; step++) feeder.tick(at(step * 1_000));
    expect(runs).toEqual([]);
    feeder.pressButton(at(61_000));
    feeder.tick(at(62_000));
    expect(runs).toEqual([900]);
  });

  it("changes nothing when the same order is delivered again", () => {
    const { feeder } = bench();
    answer(feeder, at(1_000), [pause("p-1")]);
    const before = feeder.memory();
    answer(feeder, at(2_000), [pause("p-1")], false);
    answer(feeder, at(3_000), [pause("p-1")], false);
    expect(feeder.memory()).toEqual(before);
    expect(eventsOfKind(feeder, at(4_000), "order").length).toBe(1);
  });

  it("follows the newest, also when an older one comes late", () => {
    const { feeder } = bench();
    answer(feeder, at(1_000), [pause("p-1"), resume("r-1")]);
    expect(feeder.isPaused).toBe(false);
    answer(feeder, at(2_000), [pause("p-1")]);
    expect(feeder.isPaused).toBe(false);
    answer(feeder, at(3_000), [resume("r-1"), pause("p-2")]);
    expect(feeder.isPaused).toBe(true);
    answer(feeder, at(4_000), [resume("r-1")]);
    expect(feeder.isPaused).toBe(true);
  });

  it("ends a pause by itself at its end", () => {
    const { feeder } = bench();
    answer(feeder, at(1_000), [pause("p-1", at(minutes(10)))]);
    expect(feeder.dueAt()).toBe(at(minutes(10)));
    feeder.tick(at(minutes(10) - 1));
    expect(feeder.isPaused).toBe(true);
    feeder.tick(at(minutes(10)));
    expect(feeder.isPaused).toBe(false);
  });

  it("refuses a pause that was over before it arrived", () => {
    const { feeder } = bench();
    answer(feeder, at(minutes(10)), [pause("p-1", at(minutes(9)))]);
    expect(feeder.isPaused).toBe(false);
    expect(eventsOfKind(feeder, at(minutes(11)), "order")).toEqual([expect.objectContaining({ outcome: "refused" })]);
  });

  it("stays paused through a power cut, and past the end until it knows the time again", () => {
    const { feeder } = bench();
    answer(feeder, at(1_000), [pause("p-1", at(minutes(10)))]);
    const again = bench(feeder.memory(), "b-2", at(minutes(2))).feeder;
    expect(again.isPaused).toBe(true);
    again.tick(at(minutes(11))); // it can't know that: it has no clock of its own
    expect(again.isPaused).toBe(true);
    answer(again, at(minutes(12)));
    again.tick(at(minutes(12)));
    expect(again.isPaused).toBe(false);
  });
});

describe("a feeder's plan", () => {
  const from = start / 1_000 - 3_600;
  const each = { ratios: [1], betweenSeconds: 0 };
  const plan = {
    ...{
      version: 4,
      portionsEach: 1,
      frostBelowCelsius: null,
      paysDepositsOverRation: true,
      press: each,
      deposit: each,
    },
    days: [{ from, to: from + 86_400, portionsMax: 50, free: [3_600 + 60, 3_600 + 600], frost: [] }],
  };
  const answerWith = (feeder: Feeder, when: Instant, orders: SentOrder[] = []) => {
    const report = feeder.report(when);
    const last = report.events?.at(-1) as { seq: number } | undefined;
    const stored = { storedThrough: last?.seq ?? null, duplicates: 0, refused: [], unknown: [], nextReportSeconds: 5 };
    feeder.handleAnswer(report.boot, { ...stored, serverTime: isoOf(when), orders, plan }, when);
  };

  it("is confirmed, wakes it for free food, and is on its disk", () => {
    const { feeder } = bench();
    answerWith(feeder, at(1_000));
    expect(feeder.report(at(1_100)).readings).toMatchObject({ planVersion: 4 });
    expect(feeder.dueAt()).toBe(at(60_000));
    feeder.tick(at(60_000));
    feeder.tick(at(62_000));
    expect(eventsOfKind(feeder, at(63_000), "portion")).toMatchObject([{ cause: "timer" }]);
    const again = bench(feeder.memory(), "b-2", at(minutes(2))).feeder;
    expect(again.planVersion).toBe(4);
    again.tick(at(minutes(11)));
    expect(again.isMotorOn).toBe(false); // it doesn't know the time yet
    again.pressButton(at(minutes(12)));
    expect(again.isMotorOn).toBe(true);
  });

  it("promises and gives nothing while paused, and makes nothing up afterwards", () => {
    const { feeder, runs } = bench();
    answerWith(feeder, at(1_000), [pause("p-1")]);
    feeder.pressButton(at(2_000));
    feeder.detectCap(0.9, at(3_000));
    feeder.tick(at(61_000));
    expect(feeder.report(at(62_000)).events).toMatchObject([{ kind: "order" }, { earns: false }, { earns: false }]);
    answerWith(feeder, at(63_000), [resume("r-1")]);
    feeder.tick(at(65_000));
    expect(runs).toEqual([]);
  });
});

describe("a feeder's spool", () => {
  it("first reports the events of an earlier boot, under that boot and without an uptime", () => {
    const { feeder } = bench();
    feeder.pressPerch(at(10));
    const again = bench(feeder.memory(), "b-2", at(minutes(1))).feeder;
    again.pressPerch(at(minutes(2)));
    expect(again.report(at(minutes(3)))).toEqual({
      boot: "b-1",
      sentUptimeMs: null,
      events: [{ seq: 1, uptimeMs: 10, kind: "visit" }],
    });
    answer(again, at(minutes(3)));
    expect(again.report(at(minutes(4)))).toMatchObject({
      boot: "b-2",
      sentUptimeMs: minutes(3),
      events: [{ seq: 1, uptimeMs: seconds(60), kind: "visit" }],
    });
  });

  it("drops the oldest when it is full, and counts them", () => {
    const spool = new Spool([]);
    for (let seq = 1; seq <= spoolMax + 3; seq++) spool.add("b-1", { seq, uptimeMs: seq, kind: "visit" });
    expect(spool.length).toBe(spoolMax);
    expect(spool.oldest(1)?.events[0]?.seq).toBe(4);
    expect(spool.takeDropped()).toBe(3);
    expect(spool.takeDropped()).toBe(0);
  });
});
